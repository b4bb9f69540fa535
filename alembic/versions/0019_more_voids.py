"""Voids of colours, of crates that travelled alone, and of lots of packing material."""

import sqlalchemy as sa
from alembic import op

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None

BEFORE = ("clean_down", "place_clean_down", "check_weighing", "cupping")
"""Acts that could be voided before, each named by its number."""

MORE = {
    "colour_entry": "entry",
    "crates_entry": "entry",
    "material_change": "material_change",
    "material_lot": "material_lot",
}
"""Acts that can be voided now, and the table in which each is found."""

ONE = " + ".join(f"CASE WHEN {act}_id IS NULL THEN 0 ELSE 1 END" for act in (*BEFORE, *MORE))


def upgrade() -> None:
    """Let a void name more, and keep its guards."""
    if op.get_bind().dialect.name == "postgresql":
        _widen_postgresql()
    else:
        _make_anew_sqlite()


def _widen_postgresql() -> None:
    for act, table in MORE.items():
        op.add_column("act_void", sa.Column(f"{act}_id", sa.Integer(), nullable=True))
        op.create_foreign_key(None, "act_void", table, [f"{act}_id"], ["id"])
        op.create_unique_constraint(None, "act_void", [f"{act}_id"])
    op.drop_constraint("ck_act_void_of_one", "act_void", type_="check")
    op.create_check_constraint("ck_act_void_of_one", "act_void", f"{ONE} = 1")


def _make_anew_sqlite() -> None:
    """Make the table anew: SQLite cannot change a check. Its triggers go with the old one."""
    targets = {act: act for act in BEFORE} | MORE
    op.create_table(
        "act_void_new",
        sa.Column("entry_id", sa.Integer(), nullable=False),
        *(sa.Column(f"{act}_id", sa.Integer(), nullable=True) for act in targets),
        sa.Column("reason", sa.String(length=2000), nullable=False),
        sa.CheckConstraint(f"{ONE} = 1", name="ck_act_void_of_one"),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        *(sa.ForeignKeyConstraint([f"{act}_id"], [f"{to}.id"]) for act, to in targets.items()),
        sa.PrimaryKeyConstraint("entry_id"),
        *(sa.UniqueConstraint(f"{act}_id") for act in targets),
    )
    kept = ", ".join(["entry_id", *(f"{act}_id" for act in BEFORE), "reason"])
    op.execute(f"INSERT INTO act_void_new ({kept}) SELECT {kept} FROM act_void")  # noqa: S608
    op.drop_table("act_void")
    op.rename_table("act_void_new", "act_void")
    for act in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER act_void_no_{act.lower()} BEFORE {act} ON act_void BEGIN "
            "SELECT RAISE(ABORT, 'act_void is append-only'); END"
        )
    # INSERT OR REPLACE deletes what stands in its way without asking the triggers above.
    keys = ["entry_id", *(f"{act}_id" for act in targets)]
    same = " OR ".join(f"{key} = NEW.{key}" for key in keys)
    op.execute(
        "CREATE TRIGGER act_void_no_replace BEFORE INSERT ON act_void "  # noqa: S608 - our own names
        f"WHEN EXISTS (SELECT 1 FROM act_void WHERE {same}) BEGIN "
        "SELECT RAISE(ABORT, 'act_void is append-only'); END"
    )
