"""Instruments, and how a reading was taken."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

ADDED_TO_ONLY = ("calibration", "calibration_void", "reading_void", "reading_alarm")
"""Tables whose rows are never changed and never deleted."""


def upgrade() -> None:
    """Make the tables, say more of a reading, then guard what is added to only."""
    _instruments()
    _readings()
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


def _instruments() -> None:
    op.create_table(
        "instrument",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("kinds", sa.String(length=200), nullable=False),
        sa.Column("method", sa.String(length=200), nullable=True),
        sa.Column("calibration_every_days", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(length=2000), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("code"),
    )
    op.create_table(
        "calibration",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("calibrated_on", sa.Date(), nullable=False),
        sa.Column("valid_until", sa.Date(), nullable=True),
        sa.Column("against", sa.String(length=200), nullable=False),
        sa.Column("result", sa.String(length=10), nullable=False),
        sa.Column("offset_milli", sa.BigInteger(), nullable=True),
        sa.Column("done_by", sa.String(length=200), nullable=True),
        sa.Column("certificate", sa.String(length=500), nullable=True),
        sa.Column("note", sa.String(length=2000), nullable=True),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["instrument_id"], ["instrument.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(
        "ix_calibration_instrument_id", "calibration", ["instrument_id", "calibrated_on", "id"]
    )
    op.create_table(
        "calibration_void",
        sa.Column("calibration_id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=2000), nullable=False),
        sa.ForeignKeyConstraint(["calibration_id"], ["calibration.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("calibration_id"),
    )


def _readings() -> None:
    for column in (
        sa.Column("method", sa.String(length=200), nullable=True),
        sa.Column("basis", sa.String(length=3), nullable=True),
        sa.Column("given_milli", sa.BigInteger(), nullable=True),
        sa.Column("temperature_milli", sa.BigInteger(), nullable=True),
        sa.Column("sample_milli", sa.BigInteger(), nullable=True),
        sa.Column("replicates", sa.Text(), nullable=True),
        sa.Column("calibration", sa.String(length=10), nullable=True),
        sa.Column("note", sa.String(length=2000), nullable=True),
    ):
        op.add_column("reading", column)
    # Written out, since Alembic adds no column with a reference on SQLite.
    op.execute("ALTER TABLE reading ADD COLUMN instrument_id INTEGER REFERENCES instrument (id)")
    op.create_index("ix_reading_instrument_id", "reading", ["instrument_id"])
    op.create_table(
        "reading_void",
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=2000), nullable=False),
        sa.ForeignKeyConstraint(["reading_id"], ["reading.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("reading_id"),
    )
    op.create_table(
        "reading_alarm",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("detail", sa.String(length=500), nullable=False),
        sa.Column("hold_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["reading_id"], ["reading.id"]),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"]),
        sa.ForeignKeyConstraint(["hold_id"], ["hold.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_reading_alarm_reading_id", "reading_alarm", ["reading_id"])
    op.create_index("ix_reading_alarm_unit_id", "reading_alarm", ["unit_id"])
