"""Packaging materials, and dates on bags."""

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None

ADDED_TO_ONLY = (
    "material_lot", "material_use", "material_change", "material_hold", "material_release",
)  # fmt: skip
"""Tables whose rows are never changed and never deleted."""


def upgrade() -> None:
    """Make the tables, guard them, and let products and packs say how they are dated."""
    _materials()
    _uses()
    _changes()
    op.add_column("product", sa.Column("shelf_life_months", sa.Integer()))
    op.add_column(
        "product",
        sa.Column("date_form", sa.String(length=5), nullable=False, server_default="auto"),
    )
    op.add_column("pack", sa.Column("date_form", sa.String(length=5)))
    op.add_column("pack", sa.Column("warnings", sa.Text()))
    if op.get_bind().dialect.name == "postgresql":
        _guard_postgresql()
    else:
        _guard_sqlite()


def _materials() -> None:
    op.create_table(
        "material",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("kind", sa.String(length=10), nullable=False),
        sa.Column("unit", sa.String(length=10), nullable=False),
        sa.Column("has_valve", sa.Boolean(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("code"),
    )
    op.create_table(
        "material_lot",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=False),
        sa.Column("supplier_id", sa.Integer(), nullable=True),
        sa.Column("supplier_name", sa.String(length=200), nullable=True),
        sa.Column("reference", sa.String(length=200), nullable=True),
        sa.Column("received_milli", sa.BigInteger(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["material_id"], ["material.id"]),
        sa.ForeignKeyConstraint(["supplier_id"], ["supplier.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("code"),
    )
    op.create_index("ix_material_lot_material_id", "material_lot", ["material_id"])
    op.create_index("ix_material_lot_entry_id", "material_lot", ["entry_id"])


def _uses() -> None:
    op.create_table(
        "material_use",
        sa.Column("pack_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("used_milli", sa.BigInteger(), nullable=True),
        sa.Column("issued_milli", sa.BigInteger(), nullable=True),
        sa.Column("spoiled_milli", sa.BigInteger(), nullable=False),
        sa.Column("returned_milli", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["pack_id"], ["pack.unit_id"]),
        sa.ForeignKeyConstraint(["lot_id"], ["material_lot.id"]),
        sa.PrimaryKeyConstraint("pack_id", "lot_id"),
    )
    op.create_index("ix_material_use_lot_id", "material_use", ["lot_id", "pack_id"])


def _changes() -> None:
    op.create_table(
        "material_change",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("change_milli", sa.BigInteger(), nullable=False),
        sa.Column("counted_milli", sa.BigInteger(), nullable=True),
        sa.Column("reason", sa.String(length=2000), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["lot_id"], ["material_lot.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "material_hold",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=2000), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["lot_id"], ["material_lot.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "material_release",
        sa.Column("hold_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=2000), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["hold_id"], ["material_hold.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("hold_id"),
    )
    for table, column in (
        ("material_change", "lot_id"), ("material_change", "entry_id"),
        ("material_hold", "lot_id"), ("material_hold", "entry_id"),
        ("material_release", "entry_id"),
    ):  # fmt: skip
        op.create_index(f"ix_{table}_{column}", table, [column])


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
