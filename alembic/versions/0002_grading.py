"""Samples, gradings and cuppings of green lots, and their voids."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

ADDED_TO_ONLY = ("sample", "sample_part", "grading", "lot_cupping", "grading_void")
"""Tables whose rows are never changed and never deleted."""


def upgrade() -> None:
    """Make the tables, then guard them."""
    _samples()
    _gradings()
    _cuppings()
    _voids()
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
        inspector = sa.inspect(op.get_bind())
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


def _samples() -> None:
    """Samples, and what they took out of which sack."""
    op.create_table(
        "sample",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=True),
        sa.Column("subject_id", sa.Integer(), nullable=True),
        sa.Column("typical_of", sa.String(length=200), nullable=True),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("grams", sa.BigInteger(), nullable=True),
        sa.Column("increments", sa.Integer(), nullable=True),
        sa.Column("drawn_with", sa.String(length=200), nullable=True),
        sa.Column("purpose", sa.String(length=2000), nullable=True),
        sa.Column("lot_sacks", sa.Integer(), nullable=True),
        sa.Column("sacks_to_sample", sa.Integer(), nullable=True),
        sa.Column("plan_why", sa.String(length=200), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "(lot_id IS NULL) <> (typical_of IS NULL)", name="ck_sample_of_a_lot_or_typical"
        ),
        sa.CheckConstraint("(lot_id IS NULL) = (subject_id IS NULL)", name="ck_sample_subject"),
        sa.ForeignKeyConstraint(["lot_id"], ["green_lot.unit_id"]),
        sa.ForeignKeyConstraint(["subject_id"], ["unit.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_sample_lot_id", "sample", ["lot_id"])
    op.create_table(
        "sample_part",
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("sack_id", sa.Integer(), nullable=False),
        sa.Column("grams", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("grams > 0", name="ck_sample_part_above_zero"),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"]),
        sa.ForeignKeyConstraint(["sack_id"], ["sack.unit_id"]),
        sa.PrimaryKeyConstraint("sample_id", "sack_id"),
    )
    op.create_index("ix_sample_part_sack_id", "sample_part", ["sack_id"])


def _gradings() -> None:
    op.create_table(
        "grading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=True),
        sa.Column("found", sa.Text(), nullable=False),
        sa.Column("judged", sa.Text(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["lot_id"], ["green_lot.unit_id"]),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_grading_lot_id", "grading", ["lot_id"])
    op.create_index("ix_grading_sample_id", "grading", ["sample_id"])


def _cuppings() -> None:
    op.create_table(
        "lot_cupping",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=True),
        sa.Column("form", sa.String(length=200), nullable=False),
        sa.Column("form_version", sa.String(length=100), nullable=False),
        sa.Column("score_centi", sa.Integer(), nullable=False),
        sa.Column("tasters", sa.Integer(), nullable=False),
        sa.Column("on_form", sa.Text(), nullable=True),
        sa.Column("taster", sa.String(length=200), nullable=False),
        sa.Column("notes", sa.String(length=2000), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["lot_id"], ["green_lot.unit_id"]),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_lot_cupping_lot_id", "lot_cupping", ["lot_id"])
    op.create_index("ix_lot_cupping_sample_id", "lot_cupping", ["sample_id"])


def _voids() -> None:
    one = " + ".join(
        f"CASE WHEN {each} IS NULL THEN 0 ELSE 1 END"
        for each in ("sample_id", "grading_id", "lot_cupping_id")
    )
    op.create_table(
        "grading_void",
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=True),
        sa.Column("grading_id", sa.Integer(), nullable=True),
        sa.Column("lot_cupping_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.String(length=2000), nullable=False),
        sa.CheckConstraint(f"{one} = 1", name="ck_grading_void_of_one"),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"]),
        sa.ForeignKeyConstraint(["grading_id"], ["grading.id"]),
        sa.ForeignKeyConstraint(["lot_cupping_id"], ["lot_cupping.id"]),
        sa.PrimaryKeyConstraint("entry_id"),
        sa.UniqueConstraint("sample_id"),
        sa.UniqueConstraint("grading_id"),
        sa.UniqueConstraint("lot_cupping_id"),
    )
