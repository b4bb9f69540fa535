"""Orders of customers, planned batches and what they reserve."""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None

ADDED_TO_ONLY = ("order_cancellation",)
"""Tables whose rows are never changed and never deleted."""


def upgrade() -> None:
    """Make the tables and the new columns, then guard the tables of facts."""
    _standing_orders()
    _orders()
    _columns()
    if op.get_bind().dialect.name == "postgresql":
        _guard_postgresql()
    else:
        _guard_sqlite()


def _standing_orders() -> None:
    op.create_table(
        "standing_order",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=False),
        sa.Column("reference", sa.String(length=200), nullable=True),
        sa.Column("lines", sa.JSON(), nullable=False),
        sa.Column("weekdays", sa.JSON(), nullable=False),
        sa.Column("every_weeks", sa.Integer(), nullable=False),
        sa.Column("starts_on", sa.Date(), nullable=False),
        sa.Column("ends_on", sa.Date(), nullable=True),
        sa.Column("paused", sa.JSON(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["customer_id"], ["customer.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("code"),
    )
    op.create_index("ix_standing_order_customer_id", "standing_order", ["customer_id"])


def _orders() -> None:
    op.create_table(
        "customer_order",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=False),
        sa.Column("reference", sa.String(length=200), nullable=True),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("standing_order_id", sa.Integer(), nullable=True),
        sa.Column("called_for", sa.Date(), nullable=True),
        sa.ForeignKeyConstraint(["customer_id"], ["customer.id"]),
        sa.ForeignKeyConstraint(["standing_order_id"], ["standing_order.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("code"),
        sa.UniqueConstraint("standing_order_id", "called_for", name="uq_customer_order_called_for"),
    )
    op.create_index("ix_customer_order_customer_id", "customer_order", ["customer_id"])
    op.create_index("ix_customer_order_due_on", "customer_order", ["due_on"])
    op.create_table(
        "customer_order_line",
        sa.Column("order_id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("bags", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["order_id"], ["customer_order.id"]),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"]),
        sa.PrimaryKeyConstraint("order_id", "product_id"),
        sa.CheckConstraint("bags > 0", name="ck_customer_order_line_bags"),
    )
    op.create_table(
        "order_cancellation",
        sa.Column("order_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=2000), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["order_id"], ["customer_order.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("order_id"),
    )


def _columns() -> None:
    # Written out, since Alembic adds the reference by a second statement that SQLite does not know.
    op.execute("ALTER TABLE dispatch ADD COLUMN order_id INTEGER REFERENCES customer_order (id)")
    op.create_index("ix_dispatch_order_id", "dispatch", ["order_id"])
    op.add_column("dispatch", sa.Column("warnings", sa.Text()))


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
