"""Print orders of labels."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

ADDED_TO_ONLY = ("label_order", "label_line")
"""Tables whose rows are never changed and never deleted."""


def upgrade() -> None:
    """Make the tables, then guard them."""
    _orders()
    _lines()
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


def _orders() -> None:
    op.create_table(
        "label_order",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("size", sa.String(length=10), nullable=False),
        sa.Column("sheet", sa.String(length=10), nullable=True),
        sa.Column("start_at", sa.Integer(), nullable=False),
        sa.Column("copies", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_label_order_entry_id", "label_order", ["entry_id"])


def _lines() -> None:
    op.create_table(
        "label_line",
        sa.Column("order_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=True),
        sa.Column("location_id", sa.Integer(), nullable=True),
        sa.Column("reprint", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "(unit_id IS NULL) <> (location_id IS NULL)", name="ck_label_line_one_subject"
        ),
        sa.CheckConstraint("reprint >= 0", name="ck_label_line_reprint"),
        sa.ForeignKeyConstraint(["order_id"], ["label_order.id"]),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"]),
        sa.ForeignKeyConstraint(["location_id"], ["location.id"]),
        sa.PrimaryKeyConstraint("order_id", "number"),
    )
    op.create_index("ix_label_line_unit_id", "label_line", ["unit_id", "order_id"])
    op.create_index("ix_label_line_location_id", "label_line", ["location_id", "order_id"])
