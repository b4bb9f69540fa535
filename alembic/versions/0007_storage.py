"""The tree of places, pick lists and stock counts."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

ADDED_TO_ONLY = (
    "pick_list",
    "pick_list_lot",
    "pick_list_line",
    "stock_count",
    "stock_count_sack",
    "stock_count_line",
    "stock_count_close",
    "stock_count_decision",
)
"""Tables whose rows are never changed and never deleted."""


def upgrade() -> None:
    """Let places stand in places, make the tables, then guard them."""
    _tree()
    _pick_lists()
    _counts()
    _counted()
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


def _tree() -> None:
    """A place may stand in another; what stands where is added up by a narrow index."""
    # Written out, since Alembic adds a reference to a table of SQLite only in its newest versions.
    op.execute("ALTER TABLE location ADD COLUMN parent_id INTEGER REFERENCES location (id)")
    op.add_column("location", sa.Column("above_shoulder", sa.Boolean(), nullable=True))
    op.create_index("ix_location_parent_id", "location", ["parent_id"])
    op.create_index(
        "ix_unit_standing",
        "unit",
        ["location_id", "left_g"],
        sqlite_where=sa.text("left_g > 0"),
        postgresql_where=sa.text("left_g > 0"),
    )


def _pick_lists() -> None:
    op.create_table(
        "pick_list",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("grams", sa.BigInteger(), nullable=False),
        sa.Column("as_suggested", sa.Boolean(), nullable=False),
        sa.Column("reason", sa.String(length=2000), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("as_suggested OR reason IS NOT NULL", name="ck_pick_list_reason"),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_pick_list_entry_id", "pick_list", ["entry_id"])
    op.create_table(
        "pick_list_lot",
        sa.Column("pick_list_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["pick_list_id"], ["pick_list.id"]),
        sa.ForeignKeyConstraint(["lot_id"], ["green_lot.unit_id"]),
        sa.PrimaryKeyConstraint("pick_list_id", "lot_id"),
    )
    op.create_index("ix_pick_list_lot_lot_id", "pick_list_lot", ["lot_id", "pick_list_id"])
    op.create_table(
        "pick_list_line",
        sa.Column("pick_list_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("sack_id", sa.Integer(), nullable=False),
        sa.Column("location_id", sa.Integer(), nullable=True),
        sa.Column("grams", sa.BigInteger(), nullable=False),
        sa.Column("there_g", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("grams > 0 AND grams <= there_g", name="ck_pick_list_line_grams"),
        sa.ForeignKeyConstraint(["pick_list_id"], ["pick_list.id"]),
        sa.ForeignKeyConstraint(["sack_id"], ["sack.unit_id"]),
        sa.ForeignKeyConstraint(["location_id"], ["location.id"]),
        sa.PrimaryKeyConstraint("pick_list_id", "number"),
    )


def _counts() -> None:
    """What is to be counted, and the sacks that the book says are there."""
    op.create_table(
        "stock_count",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("location_id", sa.Integer(), nullable=True),
        sa.Column("lot_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(length=2000), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "(location_id IS NULL) <> (lot_id IS NULL)", name="ck_stock_count_one_subject"
        ),
        sa.ForeignKeyConstraint(["location_id"], ["location.id"]),
        sa.ForeignKeyConstraint(["lot_id"], ["green_lot.unit_id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_stock_count_entry_id", "stock_count", ["entry_id"])
    op.create_table(
        "stock_count_sack",
        sa.Column("count_id", sa.Integer(), nullable=False),
        sa.Column("sack_id", sa.Integer(), nullable=False),
        sa.Column("location_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["count_id"], ["stock_count.id"]),
        sa.ForeignKeyConstraint(["sack_id"], ["sack.unit_id"]),
        sa.ForeignKeyConstraint(["location_id"], ["location.id"]),
        sa.PrimaryKeyConstraint("count_id", "sack_id"),
    )


def _counted() -> None:
    """What was counted, that counting ended, and what somebody else decided."""
    op.create_table(
        "stock_count_line",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("count_id", sa.Integer(), nullable=False),
        sa.Column("sack_id", sa.Integer(), nullable=False),
        sa.Column("location_id", sa.Integer(), nullable=True),
        sa.Column("counted_g", sa.BigInteger(), nullable=True),
        sa.Column("book_g", sa.BigInteger(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("counted_g >= 0", name="ck_stock_count_line_counted"),
        sa.ForeignKeyConstraint(["count_id"], ["stock_count.id"]),
        sa.ForeignKeyConstraint(["sack_id"], ["sack.unit_id"]),
        sa.ForeignKeyConstraint(["location_id"], ["location.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_stock_count_line_count_id", "stock_count_line", ["count_id", "sack_id"])
    op.create_index("ix_stock_count_line_entry_id", "stock_count_line", ["entry_id"])
    op.create_table(
        "stock_count_close",
        sa.Column("count_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["count_id"], ["stock_count.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("count_id"),
    )
    op.create_table(
        "stock_count_decision",
        sa.Column("count_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("approved", sa.Boolean(), nullable=False),
        sa.Column("reason", sa.String(length=2000), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("approved OR reason IS NOT NULL", name="ck_stock_count_decision_reason"),
        sa.ForeignKeyConstraint(["count_id"], ["stock_count.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("count_id"),
    )
