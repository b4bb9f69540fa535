"""Orders of customers, planned batches and what they reserve."""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None

ADDED_TO_ONLY = (
    "order_cancellation",
    "reservation",
    "reservation_lot",
    "reservation_use",
    "reservation_release",
    "planned_batch",
)
"""Tables whose rows are never changed and never deleted."""


def upgrade() -> None:
    """Make the tables and the new columns, then guard the tables of facts."""
    _standing_orders()
    _orders()
    _reservations()
    _planned_batches()
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


def _reservations() -> None:
    op.create_table(
        "reservation",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("purpose", sa.String(length=300), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_reservation_entry_id", "reservation", ["entry_id"])
    op.create_table(
        "reservation_lot",
        sa.Column("reservation_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("grams", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["reservation_id"], ["reservation.id"]),
        sa.ForeignKeyConstraint(["lot_id"], ["green_lot.unit_id"]),
        sa.PrimaryKeyConstraint("reservation_id", "lot_id"),
        sa.CheckConstraint("grams > 0", name="ck_reservation_lot_above_zero"),
    )
    op.create_index("ix_reservation_lot_lot_id", "reservation_lot", ["lot_id"])
    op.create_table(
        "reservation_use",
        sa.Column("reservation_id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["reservation_id"], ["reservation.id"]),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"]),
        sa.PrimaryKeyConstraint("reservation_id", "unit_id"),
    )
    op.create_index("ix_reservation_use_unit_id", "reservation_use", ["unit_id"])
    op.create_table(
        "reservation_release",
        sa.Column("reservation_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=2000), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["reservation_id"], ["reservation.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("reservation_id"),
    )


def _planned_batches() -> None:
    op.create_table(
        "planned_batch",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("planned_for", sa.Date(), nullable=False),
        sa.Column("style_id", sa.Integer(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=True),
        sa.Column("charge_g", sa.BigInteger(), nullable=False),
        sa.Column("reservation_id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["style_id"], ["style.id"]),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"]),
        sa.ForeignKeyConstraint(["reservation_id"], ["reservation.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("reservation_id"),
    )
    op.create_index("ix_planned_batch_planned_for", "planned_batch", ["planned_for"])
    op.create_index("ix_planned_batch_entry_id", "planned_batch", ["entry_id"])


def _columns() -> None:
    # Written out, since Alembic adds the reference by a second statement that SQLite does not know.
    op.execute("ALTER TABLE dispatch ADD COLUMN order_id INTEGER REFERENCES customer_order (id)")
    op.create_index("ix_dispatch_order_id", "dispatch", ["order_id"])
    op.add_column("dispatch", sa.Column("warnings", sa.Text()))
    op.add_column("product", sa.Column("recipe", sa.String(length=200)))
    op.add_column("product", sa.Column("style", sa.String(length=200)))
    op.add_column("style", sa.Column("green", sa.JSON()))


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
