"""Colours of roasts, and what a tasting decides."""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

ADDED_TO_ONLY = ("roast_colour",)
"""Tables whose rows are never changed and never deleted."""


def upgrade() -> None:
    """Make the table, guard it, and widen roasts, styles and cuppings."""
    _colours()
    for table, column in (
        ("roast", sa.Column("roasted_moisture_milli", sa.Integer())),
        ("roast", sa.Column("drop_milli", sa.Integer())),
        ("roast", sa.Column("total_s", sa.Integer())),
        ("style", sa.Column("colour_scale", sa.String(length=100))),
        ("style", sa.Column("colour_form", sa.String(length=10))),
        ("style", sa.Column("drop_milli", sa.Integer())),
        ("style", sa.Column("drop_tolerance_milli", sa.Integer())),
        ("style", sa.Column("total_s", sa.Integer())),
        ("style", sa.Column("total_tolerance_s", sa.Integer())),
        ("cupping", sa.Column("reason", sa.Text())),
        ("cupping", sa.Column("cuppers", sa.Text())),
        ("cupping", sa.Column("at_most_milli", sa.Integer())),
    ):
        op.add_column(table, column)
    if op.get_bind().dialect.name == "postgresql":
        _guard_postgresql()
    else:
        _guard_sqlite()


def _colours() -> None:
    op.create_table(
        "roast_colour",
        sa.Column("unit_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("scale", sa.String(length=100), nullable=True),
        sa.Column("form", sa.String(length=10), nullable=True),
        sa.Column("shades", sa.Text(), nullable=False),
        sa.Column("instrument", sa.String(length=200), nullable=True),
        sa.Column("instrument_id", sa.Integer(), nullable=True),
        sa.Column("calibration", sa.String(length=10), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["unit_id"], ["roast.unit_id"]),
        sa.ForeignKeyConstraint(["instrument_id"], ["instrument.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("unit_id", "number"),
    )
    op.create_index("ix_roast_colour_entry_id", "roast_colour", ["entry_id"])
    op.create_index("ix_roast_colour_instrument_id", "roast_colour", ["instrument_id"])


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
