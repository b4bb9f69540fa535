"""What replaced what, and acts that never were."""

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None

ADDED_TO_ONLY = ("correction", "act_void")
"""Tables whose rows are never changed and never deleted."""

VOIDED = ("clean_down", "place_clean_down", "check_weighing", "cupping")
"""Acts that move no coffee and can be voided."""


def upgrade() -> None:
    """Make the tables, let an adjustment name the one it reverses, then guard them."""
    _corrections()
    _act_voids()
    # Written out, since Alembic adds the reference by a second statement that SQLite does not know.
    op.execute("ALTER TABLE adjustment ADD COLUMN reverses_id INTEGER REFERENCES adjustment (id)")
    op.create_index("ix_adjustment_reverses_id", "adjustment", ["reverses_id"], unique=True)
    op.create_index("ix_entry_recorded", "entry", ["recorded_at", "id"])
    if op.get_bind().dialect.name == "postgresql":
        _guard_postgresql()
    else:
        _guard_sqlite()


def _corrections() -> None:
    op.create_table(
        "correction",
        sa.Column("old_unit_id", sa.Integer(), nullable=False),
        sa.Column("new_unit_id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=2000), nullable=False),
        sa.CheckConstraint("new_unit_id > old_unit_id", name="ck_correction_forward"),
        sa.ForeignKeyConstraint(["old_unit_id"], ["unit.id"]),
        sa.ForeignKeyConstraint(["new_unit_id"], ["unit.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("old_unit_id"),
    )
    op.create_index("ix_correction_new_unit_id", "correction", ["new_unit_id"])


def _act_voids() -> None:
    one = " + ".join(f"CASE WHEN {act}_id IS NULL THEN 0 ELSE 1 END" for act in VOIDED)
    op.create_table(
        "act_void",
        sa.Column("entry_id", sa.Integer(), nullable=False),
        *(sa.Column(f"{act}_id", sa.Integer(), nullable=True) for act in VOIDED),
        sa.Column("reason", sa.String(length=2000), nullable=False),
        sa.CheckConstraint(f"{one} = 1", name="ck_act_void_of_one"),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        *(sa.ForeignKeyConstraint([f"{act}_id"], [f"{act}.id"]) for act in VOIDED),
        sa.PrimaryKeyConstraint("entry_id"),
        *(sa.UniqueConstraint(f"{act}_id") for act in VOIDED),
    )


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
        _refuse_replacing(table, "no_replace", keys)
    _refuse_replacing("adjustment", "no_second_reversal", [["reverses_id"]])


def _refuse_replacing(table: str, name: str, keys: list[list[str]]) -> None:
    same = " OR ".join(
        "(" + " AND ".join(f"{column} = NEW.{column}" for column in key) + ")" for key in keys
    )
    op.execute(
        f"CREATE TRIGGER {table}_{name} BEFORE INSERT ON {table} "  # noqa: S608 - our own names
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
