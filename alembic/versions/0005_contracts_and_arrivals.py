"""Contracts, and what was found when coffee arrived."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

ADDED_TO_ONLY = (
    "arrival_count",
    "arrival_weight",
    "arrival_inspection",
    "arrival_exception",
    "arrival_exception_sack",
    "arrival_photo",
    "receipt_close",
)
"""Tables whose rows are never changed and never deleted."""


def upgrade() -> None:
    """Make the tables and the new columns, then guard the tables."""
    _contracts()
    _columns()
    _counts_and_weights()
    _inspections()
    _exceptions()
    _photos()
    _closes()
    if op.get_bind().dialect.name == "postgresql":
        _guard_postgresql()
    else:
        _guard_sqlite()


def _contracts() -> None:
    op.create_table(
        "purchase_contract",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("reference", sa.String(length=40), nullable=False),
        sa.Column("supplier_id", sa.Integer(), nullable=False),
        sa.Column("quantity_g", sa.BigInteger(), nullable=False),
        sa.Column("tolerance_pct", sa.String(length=40), nullable=True),
        sa.Column("price", sa.String(length=40), nullable=True),
        sa.Column("currency", sa.String(length=3), nullable=True),
        sa.Column("price_unit", sa.String(length=2), nullable=True),
        sa.Column("weight_basis", sa.String(length=10), nullable=False),
        sa.Column("franchise_pct", sa.String(length=40), nullable=True),
        sa.Column("arrival_moisture_limit_pct", sa.String(length=40), nullable=True),
        sa.Column("shipped_from", sa.Date(), nullable=True),
        sa.Column("shipped_until", sa.Date(), nullable=True),
        sa.Column("lead_time_days", sa.Integer(), nullable=True),
        sa.Column("expected_on", sa.Date(), nullable=True),
        sa.Column("form", sa.String(length=10), nullable=False),
        sa.Column("weigh_days", sa.Integer(), nullable=True),
        sa.Column("quality_days", sa.Integer(), nullable=True),
        sa.Column("technical_days", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["supplier_id"], ["supplier.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("reference"),
    )
    op.create_index("ix_purchase_contract_supplier_id", "purchase_contract", ["supplier_id"])


def _columns() -> None:
    # In words that both databases know: SQLite takes a reference only together with its column.
    op.execute(
        "ALTER TABLE delivery ADD COLUMN contract_id INTEGER REFERENCES purchase_contract (id)"
    )
    op.create_index("ix_delivery_contract_id", "delivery", ["contract_id"])
    op.add_column("delivery", sa.Column("discharged_on", sa.Date(), nullable=True))
    for name in ("shipped_g", "tare_sample_g"):
        op.add_column("green_lot", sa.Column(name, sa.BigInteger(), nullable=True))
    for name in ("invoiced_sacks", "tare_empties"):
        op.add_column("green_lot", sa.Column(name, sa.Integer(), nullable=True))
    for name in ("gross_g", "tare_g"):
        op.add_column("sack", sa.Column(name, sa.BigInteger(), nullable=True))


def _counts_and_weights() -> None:
    counted = (
        "invoiced", "sound", "slack", "torn", "wet", "mouldy", "missing", "over",
    )  # fmt: skip
    _fact_of_a_lot("arrival_count", *(_needed(name, sa.Integer()) for name in counted), _note())
    _fact_of_a_lot(
        "arrival_weight",
        _needed("landed_g", sa.BigInteger()),
        _needed("from_book", sa.Boolean()),
        *(sa.Column(name, sa.BigInteger(), nullable=True)
          for name in ("shipped_g", "gross_g", "tare_g")),
        _needed("bulk", sa.Boolean()),
        sa.Column("place", sa.String(length=200), nullable=True),
        _note(),
        sa.CheckConstraint("landed_g > 0", name="ck_arrival_weight_above_zero"),
    )  # fmt: skip


def _inspections() -> None:
    signs = (
        "musty_smell", "foreign_smell", "live_insects", "wet_marks", "mould", "husks_or_pods",
    )  # fmt: skip
    _fact_of_a_lot(
        "arrival_inspection",
        *(_needed(name, sa.Boolean()) for name in signs),
        _note(),
        sa.Column("hold_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["hold_id"], ["hold.id"]),
    )


def _exceptions() -> None:
    _fact_of_a_lot(
        "arrival_exception",
        _needed("kind", sa.String(length=10)),
        _needed("sacks", sa.Integer()),
        sa.Column("grams", sa.BigInteger(), nullable=True),
        sa.Column("location_id", sa.Integer(), nullable=True),
        sa.Column("disposition", sa.String(length=200), nullable=True),
        _note(),
        sa.ForeignKeyConstraint(["location_id"], ["location.id"]),
    )
    op.create_table(
        "arrival_exception_sack",
        _needed("exception_id", sa.Integer()),
        _needed("sack_id", sa.Integer()),
        sa.ForeignKeyConstraint(["exception_id"], ["arrival_exception.id"]),
        sa.ForeignKeyConstraint(["sack_id"], ["sack.unit_id"]),
        sa.PrimaryKeyConstraint("exception_id", "sack_id"),
    )
    op.create_index("ix_arrival_exception_sack_sack_id", "arrival_exception_sack", ["sack_id"])


def _photos() -> None:
    op.create_table(
        "arrival_photo",
        _needed("id", sa.Integer()),
        _needed("exception_id", sa.Integer()),
        _needed("entry_id", sa.Integer()),
        _needed("media_type", sa.String(length=20)),
        *(_needed(name, sa.Integer()) for name in ("width", "height", "size_bytes")),
        _needed("sha256", sa.String(length=64)),
        _needed("content", sa.LargeBinary()),
        sa.ForeignKeyConstraint(["exception_id"], ["arrival_exception.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_arrival_photo_exception_id", "arrival_photo", ["exception_id", "id"])
    op.create_index("ix_arrival_photo_entry_id", "arrival_photo", ["entry_id"])


def _closes() -> None:
    op.create_table(
        "receipt_close",
        _needed("delivery_id", sa.Integer()),
        _needed("entry_id", sa.Integer()),
        _note(),
        sa.ForeignKeyConstraint(["delivery_id"], ["delivery.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("delivery_id"),
    )
    op.create_index("ix_receipt_close_entry_id", "receipt_close", ["entry_id"])


def _fact_of_a_lot(name: str, *more: sa.schema.SchemaItem) -> None:
    op.create_table(
        name,
        _needed("id", sa.Integer()),
        _needed("lot_id", sa.Integer()),
        _needed("entry_id", sa.Integer()),
        *more,
        sa.ForeignKeyConstraint(["lot_id"], ["green_lot.unit_id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(f"ix_{name}_lot_id", name, ["lot_id", "id"])
    op.create_index(f"ix_{name}_entry_id", name, ["entry_id"])


def _needed(name: str, kind: sa.types.TypeEngine[object]) -> sa.Column[object]:
    return sa.Column(name, kind, nullable=False)


def _note() -> sa.Column[str]:
    return sa.Column("note", sa.String(length=2000), nullable=True)


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
