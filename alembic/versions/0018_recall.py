"""Recall cases and drills."""

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None

ADDED_TO_ONLY = (
    "recall_case",
    "recall_step",
    "recall_scope",
    "recall_scope_unit",
    "recall_scope_line",
    "recall_stop",
    "recall_notice",
    "recall_acknowledgement",
    "recall_report",
    "drill_pick",
    "drill",
    "drill_report",
    "drill_sign_off",
)
"""Tables whose rows are never changed and never deleted."""


def upgrade() -> None:
    """Make the tables, then guard them."""
    _cases()
    _scopes()
    _scope_lines()
    _working_off()
    _reports()
    _drills()
    if op.get_bind().dialect.name == "postgresql":
        _guard_postgresql()
    else:
        _guard_sqlite()


def _number() -> sa.Column[int]:
    return sa.Column("id", sa.Integer(), autoincrement=False, nullable=False)


def _to(name: str, target: str) -> list[sa.schema.SchemaItem]:
    """Make a column that must name a row of another table."""
    return [
        sa.Column(name, sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint([name], [target]),
    ]


def _perhaps_to(name: str, target: str) -> list[sa.schema.SchemaItem]:
    return [
        sa.Column(name, sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint([name], [target]),
    ]


def _entry_index(table: str) -> None:
    op.create_index(f"ix_{table}_entry_id", table, ["entry_id"])


def _cases() -> None:
    op.create_table(
        "recall_case",
        _number(),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("drill", sa.Boolean(), nullable=False),
        sa.Column("trigger_kind", sa.String(length=20), nullable=False),
        sa.Column("trigger_text", sa.Text(), nullable=False),
        sa.Column("hazard", sa.Text(), nullable=True),
        *_to("entry_id", "entry.id"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("code"),
    )
    _entry_index("recall_case")
    op.create_table(
        "recall_step",
        _number(),
        *_to("case_id", "recall_case.id"),
        sa.Column("step", sa.String(length=12), nullable=False),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("jurisdiction", sa.String(length=40), nullable=True),
        sa.Column("recall_class", sa.String(length=40), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        *_to("entry_id", "entry.id"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_recall_step_case_id", "recall_step", ["case_id", "id"])
    _entry_index("recall_step")


def _scopes() -> None:
    op.create_table(
        "recall_scope",
        _number(),
        *_to("case_id", "recall_case.id"),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("direction", sa.String(length=8), nullable=False),
        sa.Column("starts", sa.Text(), nullable=False),
        *_to("at_entry", "entry.id"),
        sa.Column("balance", sa.Text(), nullable=False),
        *_to("entry_id", "entry.id"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_recall_scope_case_id", "recall_scope", ["case_id", "number"], unique=True)
    _entry_index("recall_scope")
    op.create_table(
        "recall_scope_unit",
        *_to("scope_id", "recall_scope.id"),
        *_to("unit_id", "unit.id"),
        sa.Column("place", sa.String(length=10), nullable=False),
        sa.Column("left_g", sa.BigInteger(), nullable=False),
        sa.Column("suspect_g", sa.BigInteger(), nullable=True),
        sa.Column("bags", sa.Integer(), nullable=True),
        sa.Column("bags_left", sa.Integer(), nullable=True),
        sa.Column("contact", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("scope_id", "unit_id"),
    )
    op.create_index("ix_recall_scope_unit_unit_id", "recall_scope_unit", ["unit_id"])


def _scope_lines() -> None:
    op.create_table(
        "recall_scope_line",
        *_to("scope_id", "recall_scope.id"),
        *_to("dispatch_id", "dispatch.unit_id"),
        *_to("pack_id", "unit.id"),
        *_to("customer_id", "customer.id"),
        sa.Column("place", sa.String(length=10), nullable=False),
        sa.Column("bags", sa.Integer(), nullable=False),
        sa.Column("grams", sa.BigInteger(), nullable=False),
        sa.Column("suspect_g", sa.BigInteger(), nullable=True),
        sa.Column("returned_bags", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("scope_id", "dispatch_id", "pack_id"),
    )
    op.create_table(
        "recall_stop",
        _number(),
        *_to("case_id", "recall_case.id"),
        *_to("scope_id", "recall_scope.id"),
        *_perhaps_to("hold_id", "hold.id"),
        sa.Column("possible_contact", sa.Boolean(), nullable=False),
        *_to("entry_id", "entry.id"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_recall_stop_case_id", "recall_stop", ["case_id"])
    _entry_index("recall_stop")


def _working_off() -> None:
    for table, how in (
        ("recall_notice", [sa.Column("how", sa.String(length=8), nullable=False)]),
        ("recall_acknowledgement", []),
    ):
        op.create_table(
            table,
            _number(),
            *_to("case_id", "recall_case.id"),
            *_to("customer_id", "customer.id"),
            *how,
            sa.Column("note", sa.Text(), nullable=True),
            *_to("entry_id", "entry.id"),
            sa.PrimaryKeyConstraint("id"),
        )
        op.create_index(f"ix_{table}_case_id", table, ["case_id", "customer_id"])
        _entry_index(table)


def _reports() -> None:
    op.create_table(
        "recall_report",
        _number(),
        *_to("case_id", "recall_case.id"),
        *_to("customer_id", "customer.id"),
        sa.Column("held_bags", sa.Integer(), nullable=False),
        sa.Column("returned_bags", sa.Integer(), nullable=False),
        sa.Column("destroyed_bags", sa.Integer(), nullable=False),
        sa.Column("sold_bags", sa.Integer(), nullable=False),
        sa.Column("booked_back_bags", sa.Integer(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        *_to("entry_id", "entry.id"),
        sa.CheckConstraint(
            "held_bags >= 0 AND returned_bags >= 0 AND destroyed_bags >= 0 AND sold_bags >= 0",
            name="ck_recall_report_bags",
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_recall_report_case_id", "recall_report", ["case_id", "customer_id"])
    _entry_index("recall_report")


def _drills() -> None:
    op.create_table(
        "drill_pick",
        _number(),
        sa.Column("seed", sa.BigInteger(), nullable=False),
        *_to("at_entry", "entry.id"),
        *_perhaps_to("lot_id", "green_lot.unit_id"),
        *_perhaps_to("pack_id", "pack.unit_id"),
        sa.Column("lots", sa.Integer(), nullable=False),
        sa.Column("packs", sa.Integer(), nullable=False),
        *_to("entry_id", "entry.id"),
        sa.PrimaryKeyConstraint("id"),
    )
    _entry_index("drill_pick")
    op.create_table(
        "drill",
        *_to("case_id", "recall_case.id"),
        *_perhaps_to("lot_id", "green_lot.unit_id"),
        *_perhaps_to("pack_id", "pack.unit_id"),
        *_perhaps_to("pick_id", "drill_pick.id"),
        sa.PrimaryKeyConstraint("case_id"),
    )
    for table, words in (
        ("drill_report", ("figures", "gaps", "own_gaps")),
        ("drill_sign_off", ()),
    ):
        op.create_table(
            table,
            *_to("case_id", "recall_case.id"),
            *(sa.Column(name, sa.Text(), nullable=False) for name in words),
            *(() if words else (sa.Column("note", sa.Text(), nullable=True),)),
            *_to("entry_id", "entry.id"),
            sa.PrimaryKeyConstraint("case_id"),
        )
        _entry_index(table)


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
