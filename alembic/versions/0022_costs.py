"""Costs of green, and their voids."""

import sqlalchemy as sa
from alembic import op

revision = "0022"
down_revision = "0021"
branch_labels = None
depends_on = None

ADDED_TO_ONLY = ("cost_line", "cost_line_void")
"""Tables whose rows are never changed and never deleted."""


def upgrade() -> None:
    """Make the tables, then guard them."""
    _lines()
    _voids()
    if op.get_bind().dialect.name == "postgresql":
        _guard_postgresql()
    else:
        _guard_sqlite()


def _lines() -> None:
    op.create_table(
        "cost_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=True),
        sa.Column("delivery_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("amount", sa.String(length=40), nullable=True),
        sa.Column("price", sa.String(length=40), nullable=True),
        sa.Column("price_unit", sa.String(length=2), nullable=True),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("note", sa.String(length=2000), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("(lot_id IS NULL) <> (delivery_id IS NULL)", name="ck_cost_line_of_one"),
        sa.CheckConstraint(
            "(amount IS NULL) <> (price IS NULL)", name="ck_cost_line_amount_or_price"
        ),
        sa.CheckConstraint(
            "(price IS NULL) = (price_unit IS NULL)", name="ck_cost_line_price_unit"
        ),
        sa.ForeignKeyConstraint(["lot_id"], ["green_lot.unit_id"]),
        sa.ForeignKeyConstraint(["delivery_id"], ["delivery.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    for column in ("lot_id", "delivery_id", "entry_id"):
        op.create_index(f"ix_cost_line_{column}", "cost_line", [column])


def _voids() -> None:
    op.create_table(
        "cost_line_void",
        sa.Column("cost_line_id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=2000), nullable=False),
        sa.ForeignKeyConstraint(["cost_line_id"], ["cost_line.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("cost_line_id"),
    )
    op.create_index("ix_cost_line_void_entry_id", "cost_line_void", ["entry_id"])


def _guard_sqlite() -> None:
    for table in ADDED_TO_ONLY:
        for act in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} BEGIN "
                f"SELECT RAISE(ABORT, '{table} is append-only'); END"
            )
        # INSERT OR REPLACE deletes what stands in its way without asking the triggers above.
        inspector = sa.inspect(op.get_bind())
        keys = [inspector.get_pk_constraint(table)["constrained_columns"]]
        keys += [unique["column_names"] for unique in inspector.get_unique_constraints(table)]
        same = " OR ".join(
            "(" + " AND ".join(f"{column} = NEW.{column}" for column in key) + ")" for key in keys
        )
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
