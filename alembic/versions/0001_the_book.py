"""The book: its tables, and the triggers that keep it append-only."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

ADDED_TO_ONLY = (
    "entry",
    "flow",
    "adjustment",
    "keyed_answer",
    "hold",
    "hold_unit",
    "hold_release",
    "delivery",
    "green_lot",
    "sack",
    "move",
    "reading",
    "roast",
    "cupping",
    "blend",
    "pack",
    "dispatch",
    "dispatch_line",
    "returned",
    "machine_run",
    "clean_down",
)
"""Tables whose rows are never changed and never deleted."""

UNIT_STAYS = ("id", "code", "kind", "made_g", "born_entry_id")


def upgrade() -> None:
    """Make every table, then guard the book."""
    _cards()
    _people()
    _book()
    _holds()
    _green()
    _production()
    _sending()
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
    op.execute(
        "CREATE TRIGGER unit_no_delete BEFORE DELETE ON unit BEGIN "
        "SELECT RAISE(ABORT, 'unit is append-only'); END"
    )
    inspector = sa.inspect(op.get_bind())
    for table in (*ADDED_TO_ONLY, "unit"):
        # INSERT OR REPLACE deletes what stands in its way without asking the triggers above.
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
    op.execute(
        f"CREATE TRIGGER unit_facts_stay BEFORE UPDATE OF {', '.join(UNIT_STAYS)} ON unit BEGIN "
        "SELECT RAISE(ABORT, 'the facts of a unit stay'); END"
    )
    op.execute(
        "CREATE TRIGGER unit_voided_once BEFORE UPDATE OF voided_entry_id ON unit "
        "WHEN OLD.voided_entry_id IS NOT NULL BEGIN "
        "SELECT RAISE(ABORT, 'a unit is voided once'); END"
    )


def _guard_postgresql() -> None:
    op.execute(
        "CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = 'restrict_violation'; "
        "END $$"
    )
    for table in ADDED_TO_ONLY:
        op.execute(
            f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        )
    op.execute(
        "CREATE TRIGGER unit_no_delete BEFORE DELETE ON unit "
        "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
    )
    changed = " OR ".join(f"OLD.{column} IS DISTINCT FROM NEW.{column}" for column in UNIT_STAYS)
    op.execute(
        "CREATE TRIGGER unit_facts_stay BEFORE UPDATE ON unit FOR EACH ROW "
        f"WHEN ({changed} OR (OLD.voided_entry_id IS NOT NULL AND "
        "OLD.voided_entry_id IS DISTINCT FROM NEW.voided_entry_id)) "
        "EXECUTE FUNCTION refuse_change()"
    )
    for table in (*ADDED_TO_ONLY, "unit"):
        op.execute(
            f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )


def _cards() -> None:
    """What can be edited."""
    op.create_table(
        "supplier",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("name_key", sa.String(length=600), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name_key"),
    )
    op.create_table(
        "customer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("name_key", sa.String(length=600), nullable=False),
        sa.Column("contact", sa.String(length=500), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name_key"),
    )
    op.create_table(
        "location",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("capacity_g", sa.BigInteger(), nullable=True),
        sa.Column("site", sa.String(length=200), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("code"),
    )
    op.create_table(
        "machine",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("capacity_g", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("code"),
    )
    op.create_table(
        "product",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("sku", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("nominal_g", sa.BigInteger(), nullable=False),
        sa.Column("gtin", sa.String(length=14), nullable=True),
        sa.Column("shelf_life_days", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("sku"),
    )


def _people() -> None:
    """Who signs in."""
    op.create_table(
        "user_account",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=100), nullable=False),
        sa.Column("roles", sa.String(), nullable=False),
        sa.Column("password_hash", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name"),
    )
    op.create_table(
        "token",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=100), nullable=False),
        sa.Column("roles", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("sha256"),
    )


def _book() -> None:
    """The journal, units, flows and adjustments."""
    op.create_table(
        "entry",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("happened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.String(length=100), nullable=False),
        sa.Column("facts", sa.Text(), nullable=False),
        sa.Column("idempotency_key", sa.String(length=255), nullable=True),
        sa.Column("fingerprint", sa.String(length=64), nullable=True),
        sa.Column("reverses_id", sa.Integer(), nullable=True),
        sa.Column("previous_sha256", sa.String(length=64), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(
            ["reverses_id"],
            ["entry.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("who", "idempotency_key", name="uq_entry_who_key"),
    )
    op.create_index("ix_entry_happened_at", "entry", ["happened_at"])
    op.create_index("ix_entry_reverses", "entry", ["reverses_id"])
    op.create_table(
        "keyed_answer",
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("etag", sa.String(length=30), nullable=True),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["entry.id"],
        ),
        sa.PrimaryKeyConstraint("entry_id"),
    )
    op.create_table(
        "unit",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("kind", sa.String(length=10), nullable=False),
        sa.Column("made_g", sa.BigInteger(), nullable=False),
        sa.Column("left_g", sa.BigInteger(), nullable=False),
        sa.Column("location_id", sa.Integer(), nullable=True),
        sa.Column("born_entry_id", sa.Integer(), nullable=False),
        sa.Column("voided_entry_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("left_g >= 0", name="ck_unit_left_not_below_zero"),
        sa.CheckConstraint("made_g > 0", name="ck_unit_made_above_zero"),
        sa.ForeignKeyConstraint(
            ["born_entry_id"],
            ["entry.id"],
        ),
        sa.ForeignKeyConstraint(
            ["location_id"],
            ["location.id"],
        ),
        sa.ForeignKeyConstraint(
            ["voided_entry_id"],
            ["entry.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("code"),
    )
    op.create_index("ix_unit_born_entry_id", "unit", ["born_entry_id"])
    op.create_index("ix_unit_kind_id", "unit", ["kind", "id"])
    op.create_index("ix_unit_location_id", "unit", ["location_id", "id"])
    op.create_table(
        "flow",
        sa.Column("source_id", sa.Integer(), nullable=False),
        sa.Column("target_id", sa.Integer(), nullable=False),
        sa.Column("grams", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("grams > 0", name="ck_flow_above_zero"),
        sa.CheckConstraint("target_id > source_id", name="ck_flow_forward"),
        sa.ForeignKeyConstraint(
            ["source_id"],
            ["unit.id"],
        ),
        sa.ForeignKeyConstraint(
            ["target_id"],
            ["unit.id"],
        ),
        sa.PrimaryKeyConstraint("source_id", "target_id"),
    )
    op.create_index("ix_flow_backward", "flow", ["target_id", "source_id", "grams"])
    op.create_index("ix_flow_forward", "flow", ["source_id", "target_id", "grams"])
    op.create_table(
        "adjustment",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("grams", sa.BigInteger(), nullable=False),
        sa.Column("reason", sa.String(length=20), nullable=False),
        sa.Column("note", sa.String(length=2000), nullable=True),
        sa.CheckConstraint("grams <> 0", name="ck_adjustment_not_zero"),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["entry.id"],
        ),
        sa.ForeignKeyConstraint(
            ["unit_id"],
            ["unit.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_adjustment_entry_id", "adjustment", ["entry_id"])
    op.create_index("ix_adjustment_unit_id", "adjustment", ["unit_id"])


def _holds() -> None:
    """What is stopped."""
    op.create_table(
        "hold",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=2000), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["entry.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "hold_unit",
        sa.Column("hold_id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["hold_id"],
            ["hold.id"],
        ),
        sa.ForeignKeyConstraint(
            ["unit_id"],
            ["unit.id"],
        ),
        sa.PrimaryKeyConstraint("hold_id", "unit_id"),
    )
    op.create_index("ix_hold_unit_unit_id", "hold_unit", ["unit_id"])
    op.create_table(
        "hold_release",
        sa.Column("hold_id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=2000), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["entry.id"],
        ),
        sa.ForeignKeyConstraint(
            ["hold_id"],
            ["hold.id"],
        ),
        sa.PrimaryKeyConstraint("hold_id"),
    )


def _green() -> None:
    """Arrivals, lots, sacks, moves and readings."""
    op.create_table(
        "delivery",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("supplier_id", sa.Integer(), nullable=True),
        sa.Column("reference", sa.String(length=200), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["entry.id"],
        ),
        sa.ForeignKeyConstraint(
            ["supplier_id"],
            ["supplier.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("code"),
    )
    op.create_index("ix_delivery_entry_id", "delivery", ["entry_id"])
    op.create_index("ix_delivery_supplier_id", "delivery", ["supplier_id"])
    op.create_table(
        "green_lot",
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("delivery_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=500), nullable=False),
        sa.Column("origin", sa.String(length=2), nullable=False),
        sa.Column("crop_year", sa.String(length=100), nullable=True),
        sa.Column("process", sa.String(length=200), nullable=True),
        sa.Column("ico_mark", sa.String(length=100), nullable=True),
        sa.Column("advised_g", sa.BigInteger(), nullable=True),
        sa.Column("certificate", sa.String(length=500), nullable=True),
        sa.Column("cost_per_kg", sa.String(length=40), nullable=True),
        sa.Column("currency", sa.String(length=3), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["delivery_id"],
            ["delivery.id"],
        ),
        sa.ForeignKeyConstraint(
            ["unit_id"],
            ["unit.id"],
        ),
        sa.PrimaryKeyConstraint("unit_id"),
    )
    op.create_index("ix_green_lot_delivery_id", "green_lot", ["delivery_id"])
    op.create_table(
        "sack",
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("condition", sa.String(length=10), nullable=False),
        sa.ForeignKeyConstraint(
            ["lot_id"],
            ["green_lot.unit_id"],
        ),
        sa.ForeignKeyConstraint(
            ["unit_id"],
            ["unit.id"],
        ),
        sa.PrimaryKeyConstraint("unit_id"),
    )
    op.create_index("ix_sack_lot_id", "sack", ["lot_id", "number"])
    op.create_table(
        "move",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("from_id", sa.Integer(), nullable=True),
        sa.Column("to_id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("from_id IS NULL OR from_id <> to_id", name="ck_move_elsewhere"),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["entry.id"],
        ),
        sa.ForeignKeyConstraint(
            ["from_id"],
            ["location.id"],
        ),
        sa.ForeignKeyConstraint(
            ["to_id"],
            ["location.id"],
        ),
        sa.ForeignKeyConstraint(
            ["unit_id"],
            ["unit.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_move_entry_id", "move", ["entry_id"])
    op.create_index("ix_move_to_id", "move", ["to_id", "id"])
    op.create_index("ix_move_unit_id", "move", ["unit_id", "id"])
    op.create_table(
        "reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=True),
        sa.Column("location_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("value_milli", sa.BigInteger(), nullable=False),
        sa.Column("instrument", sa.String(length=200), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "(unit_id IS NULL) <> (location_id IS NULL)", name="ck_reading_one_subject"
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["entry.id"],
        ),
        sa.ForeignKeyConstraint(
            ["location_id"],
            ["location.id"],
        ),
        sa.ForeignKeyConstraint(
            ["unit_id"],
            ["unit.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_reading_entry_id", "reading", ["entry_id"])
    op.create_index("ix_reading_location_id", "reading", ["location_id", "kind", "id"])
    op.create_index("ix_reading_unit_id", "reading", ["unit_id", "kind", "id"])


def _production() -> None:
    """Roasts, cuppings, blends and packs."""
    op.create_table(
        "roast",
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("style", sa.String(length=200), nullable=True),
        sa.Column("charge_g", sa.BigInteger(), nullable=False),
        sa.Column("passed", sa.Boolean(), nullable=False),
        sa.Column("checks", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["unit_id"],
            ["unit.id"],
        ),
        sa.PrimaryKeyConstraint("unit_id"),
    )
    op.create_table(
        "machine_run",
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("ran_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["machine_id"],
            ["machine.id"],
        ),
        sa.ForeignKeyConstraint(
            ["unit_id"],
            ["unit.id"],
        ),
        sa.PrimaryKeyConstraint("unit_id"),
    )
    op.create_index("ix_machine_run_order", "machine_run", ["machine_id", "ran_at", "unit_id"])
    op.create_table(
        "clean_down",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("cleaned_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("note", sa.String(length=2000), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["entry.id"],
        ),
        sa.ForeignKeyConstraint(
            ["machine_id"],
            ["machine.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_clean_down_order", "clean_down", ["machine_id", "cleaned_at"])
    op.create_table(
        "cupping",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("verdict", sa.String(length=10), nullable=False),
        sa.Column("score_milli", sa.Integer(), nullable=True),
        sa.Column("notes", sa.String(length=2000), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["entry.id"],
        ),
        sa.ForeignKeyConstraint(
            ["unit_id"],
            ["unit.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_cupping_unit_id", "cupping", ["unit_id"])
    op.create_table(
        "blend",
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("recipe", sa.String(length=200), nullable=True),
        sa.ForeignKeyConstraint(
            ["unit_id"],
            ["unit.id"],
        ),
        sa.PrimaryKeyConstraint("unit_id"),
    )
    op.create_table(
        "pack",
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("bags", sa.Integer(), nullable=False),
        sa.Column("nominal_g", sa.BigInteger(), nullable=False),
        sa.Column("lot_mark", sa.String(length=40), nullable=False),
        sa.Column("best_before", sa.Date(), nullable=True),
        sa.Column("film_roll", sa.String(length=100), nullable=True),
        sa.ForeignKeyConstraint(
            ["product_id"],
            ["product.id"],
        ),
        sa.ForeignKeyConstraint(
            ["unit_id"],
            ["unit.id"],
        ),
        sa.PrimaryKeyConstraint("unit_id"),
    )
    op.create_index("ix_pack_lot_mark", "pack", ["lot_mark"])
    op.create_index("ix_pack_product_id", "pack", ["product_id"])


def _sending() -> None:
    """Dispatches and returns."""
    op.create_table(
        "dispatch",
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=False),
        sa.Column("reference", sa.String(length=200), nullable=True),
        sa.ForeignKeyConstraint(
            ["customer_id"],
            ["customer.id"],
        ),
        sa.ForeignKeyConstraint(
            ["unit_id"],
            ["unit.id"],
        ),
        sa.PrimaryKeyConstraint("unit_id"),
    )
    op.create_index("ix_dispatch_customer_id", "dispatch", ["customer_id"])
    op.create_table(
        "dispatch_line",
        sa.Column("dispatch_id", sa.Integer(), nullable=False),
        sa.Column("pack_id", sa.Integer(), nullable=False),
        sa.Column("bags", sa.Integer(), nullable=False),
        sa.Column("grams", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["dispatch_id"],
            ["dispatch.unit_id"],
        ),
        sa.ForeignKeyConstraint(
            ["pack_id"],
            ["unit.id"],
        ),
        sa.PrimaryKeyConstraint("dispatch_id", "pack_id"),
    )
    op.create_index("ix_dispatch_line_pack_id", "dispatch_line", ["pack_id"])
    op.create_table(
        "returned",
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("dispatch_id", sa.Integer(), nullable=False),
        sa.Column("pack_id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("bags", sa.Integer(), nullable=False),
        sa.Column("nominal_g", sa.BigInteger(), nullable=False),
        sa.Column("reason", sa.String(length=2000), nullable=False),
        sa.ForeignKeyConstraint(
            ["dispatch_id"],
            ["dispatch.unit_id"],
        ),
        sa.ForeignKeyConstraint(
            ["pack_id"],
            ["unit.id"],
        ),
        sa.ForeignKeyConstraint(
            ["product_id"],
            ["product.id"],
        ),
        sa.ForeignKeyConstraint(
            ["unit_id"],
            ["unit.id"],
        ),
        sa.PrimaryKeyConstraint("unit_id"),
    )
    op.create_index("ix_returned_dispatch_id", "returned", ["dispatch_id"])
    op.create_index("ix_returned_pack_id", "returned", ["pack_id"])
