"""Styles of roasts, and versions of cards."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

ADDED_TO_ONLY = ("card_version",)
"""Tables whose rows are never changed and never deleted."""


def upgrade() -> None:
    """Make the tables, guard the versions, and let a roast name one."""
    _styles()
    _versions()
    # Written out, since Alembic adds the reference by a second statement that SQLite does not know.
    op.execute("ALTER TABLE roast ADD COLUMN style_id INTEGER REFERENCES style (id)")
    op.add_column("roast", sa.Column("style_version", sa.Integer()))
    op.add_column("roast", sa.Column("warnings", sa.Text()))
    if op.get_bind().dialect.name == "postgresql":
        _guard_postgresql()
    else:
        _guard_sqlite()


def _styles() -> None:
    op.create_table(
        "style",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("name_key", sa.String(length=600), nullable=False),
        sa.Column("loss_milli", sa.Integer(), nullable=True),
        sa.Column("loss_tolerance_milli", sa.Integer(), nullable=True),
        sa.Column("colour_milli", sa.BigInteger(), nullable=True),
        sa.Column("colour_tolerance_milli", sa.BigInteger(), nullable=True),
        sa.Column("machine", sa.String(length=32), nullable=True),
        sa.Column("batch_g", sa.BigInteger(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["machine"], ["machine.code"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name_key"),
    )


def _versions() -> None:
    op.create_table(
        "card_version",
        sa.Column("noun", sa.String(length=40), nullable=False),
        sa.Column("card_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("said", sa.Text(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("noun", "card_id", "version"),
    )
    op.create_index("ix_card_version_entry_id", "card_version", ["entry_id"])


def _guard_sqlite() -> None:
    for table in ADDED_TO_ONLY:
        for act in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} BEGIN "
                f"SELECT RAISE(ABORT, '{table} is append-only'); END"
            )
        # INSERT OR REPLACE deletes what stands in its way without asking the triggers above.
        key = sa.inspect(op.get_bind()).get_pk_constraint(table)["constrained_columns"]
        same = " AND ".join(f"{column} = NEW.{column}" for column in key)
        op.execute(
            f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "  # noqa: S608 - our own names
            f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {same}) BEGIN "
            f"SELECT RAISE(ABORT, '{table} is append-only'); END"
        )


def _guard_postgresql() -> None:
    for table in ADDED_TO_ONLY:
        op.execute(
            f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        )
        op.execute(
            f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )
