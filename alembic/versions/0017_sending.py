"""Cases, crates and sales over the counter."""

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None

ADDED_TO_ONLY = (
    "logistic_unit", "case_change", "case_line", "dispatch_case", "pick", "pick_wanted",
    "pick_line", "pick_end", "sale", "crate_movement",
)  # fmt: skip
"""Tables whose rows are never changed and never deleted."""


def upgrade() -> None:
    """Make the tables, then guard them."""
    op.add_column("customer", sa.Column("address", sa.Text()))
    op.add_column(
        "customer",
        sa.Column("kind", sa.String(length=12), nullable=False, server_default="business"),
    )
    _cases()
    _what_is_in_cases()
    _picks()
    _pick_lines()
    _sales()
    _crates()
    if op.get_bind().dialect.name == "postgresql":
        _guard_postgresql()
    else:
        _guard_sqlite()


def _cases() -> None:
    op.create_table(
        "logistic_unit",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("code"),
    )
    op.create_index("ix_logistic_unit_entry_id", "logistic_unit", ["entry_id"])
    op.create_table(
        "dispatch_case",
        sa.Column("dispatch_id", sa.Integer(), nullable=False),
        sa.Column("case_id", sa.Integer(), nullable=False),
        sa.Column("named", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["dispatch_id"], ["dispatch.unit_id"]),
        sa.ForeignKeyConstraint(["case_id"], ["logistic_unit.id"]),
        sa.PrimaryKeyConstraint("dispatch_id", "case_id"),
    )
    op.create_index("ix_dispatch_case_case_id", "dispatch_case", ["case_id"])


def _what_is_in_cases() -> None:
    op.create_table(
        "case_change",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("case_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["case_id"], ["logistic_unit.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_case_change_case_id", "case_change", ["case_id"])
    op.create_index("ix_case_change_entry_id", "case_change", ["entry_id"])
    op.create_table(
        "case_line",
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("pack_id", sa.Integer(), nullable=True),
        sa.Column("inner_id", sa.Integer(), nullable=True),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.CheckConstraint("(pack_id IS NULL) <> (inner_id IS NULL)", name="ck_case_line_one"),
        sa.CheckConstraint("count <> 0", name="ck_case_line_not_zero"),
        sa.ForeignKeyConstraint(["change_id"], ["case_change.id"]),
        sa.ForeignKeyConstraint(["pack_id"], ["unit.id"]),
        sa.ForeignKeyConstraint(["inner_id"], ["logistic_unit.id"]),
        sa.PrimaryKeyConstraint("change_id", "number"),
    )
    op.create_index("ix_case_line_pack_id", "case_line", ["pack_id"])
    op.create_index("ix_case_line_inner_id", "case_line", ["inner_id"])


def _picks() -> None:
    op.create_table(
        "pick",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=True),
        sa.Column("order_id", sa.Integer(), nullable=True),
        sa.Column("as_suggested", sa.Boolean(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("kept_until", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("as_suggested OR reason IS NOT NULL", name="ck_pick_reason"),
        sa.ForeignKeyConstraint(["customer_id"], ["customer.id"]),
        sa.ForeignKeyConstraint(["order_id"], ["customer_order.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_pick_entry_id", "pick", ["entry_id"])
    op.create_table(
        "pick_end",
        sa.Column("pick_id", sa.Integer(), nullable=False),
        sa.Column("dispatch_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "(dispatch_id IS NULL) <> (reason IS NULL)", name="ck_pick_end_sent_or_cancelled"
        ),
        sa.ForeignKeyConstraint(["pick_id"], ["pick.id"]),
        sa.ForeignKeyConstraint(["dispatch_id"], ["dispatch.unit_id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("pick_id"),
    )
    op.create_index("ix_pick_end_dispatch_id", "pick_end", ["dispatch_id"])


def _pick_lines() -> None:
    op.create_table(
        "pick_wanted",
        sa.Column("pick_id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("bags", sa.Integer(), nullable=False),
        sa.CheckConstraint("bags > 0", name="ck_pick_wanted_above_zero"),
        sa.ForeignKeyConstraint(["pick_id"], ["pick.id"]),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"]),
        sa.PrimaryKeyConstraint("pick_id", "product_id"),
    )
    op.create_table(
        "pick_line",
        sa.Column("pick_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("pack_id", sa.Integer(), nullable=False),
        sa.Column("bags", sa.Integer(), nullable=False),
        sa.CheckConstraint("bags > 0", name="ck_pick_line_above_zero"),
        sa.ForeignKeyConstraint(["pick_id"], ["pick.id"]),
        sa.ForeignKeyConstraint(["pack_id"], ["unit.id"]),
        sa.PrimaryKeyConstraint("pick_id", "number"),
    )
    op.create_index("ix_pick_line_pack_id", "pick_line", ["pack_id"])


def _sales() -> None:
    op.create_table(
        "sale",
        sa.Column("dispatch_id", sa.Integer(), nullable=False),
        sa.Column("sold_on", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(["dispatch_id"], ["dispatch.unit_id"]),
        sa.PrimaryKeyConstraint("dispatch_id"),
    )
    op.create_index("ix_sale_sold_on", "sale", ["sold_on"])


def _crates() -> None:
    op.create_table(
        "crate_kind",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("name_key", sa.String(length=600), nullable=False),
        sa.Column("tare_g", sa.BigInteger(), nullable=True),
        sa.Column("deposit", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name_key"),
    )
    op.create_table(
        "crate_movement",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind_id", sa.Integer(), nullable=False),
        sa.Column("act", sa.String(length=8), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=True),
        sa.Column("house", sa.Integer(), nullable=False),
        sa.Column("away", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("house <> 0 OR away <> 0", name="ck_crate_movement_not_zero"),
        sa.CheckConstraint("away = 0 OR customer_id IS NOT NULL", name="ck_crate_movement_whose"),
        sa.ForeignKeyConstraint(["kind_id"], ["crate_kind.id"]),
        sa.ForeignKeyConstraint(["customer_id"], ["customer.id"]),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    for column in ("kind_id", "customer_id", "unit_id", "entry_id"):
        op.create_index(f"ix_crate_movement_{column}", "crate_movement", [column])


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
