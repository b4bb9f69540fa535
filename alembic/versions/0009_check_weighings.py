"""Checks of the weight of bags."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

ADDED_TO_ONLY = ("check_weighing",)
"""Tables whose rows are never changed and never deleted."""


def upgrade() -> None:
    """Make the table, then guard it."""
    op.create_table(
        "check_weighing",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("pack_id", sa.Integer(), nullable=False),
        sa.Column("plan", sa.String(length=12), nullable=False),
        sa.Column("batch_bags", sa.Integer(), nullable=False),
        sa.Column("tare_mg", sa.BigInteger(), nullable=False),
        sa.Column("net_mg", sa.Text(), nullable=False),
        sa.Column("instrument", sa.String(length=200), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("hold_id", sa.Integer(), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["pack_id"], ["pack.unit_id"]),
        sa.ForeignKeyConstraint(["hold_id"], ["hold.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_check_weighing_pack_id", "check_weighing", ["pack_id"])
    op.create_index("ix_check_weighing_entry_id", "check_weighing", ["entry_id"])
    if op.get_bind().dialect.name == "postgresql":
        _guard_postgresql()
    else:
        _guard_sqlite()


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
