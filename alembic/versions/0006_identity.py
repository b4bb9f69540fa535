"""Marks, origins and certificates of lots."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

KEYS = {
    "lot_identity": "lot_id",
    "lot_certificate": "id",
    "lot_certificate_withdrawal": "lot_certificate_id",
}
"""Tables whose rows are never changed and never deleted, with their keys."""

MARK = re.compile(r"([0-9]{1,3})\s*[/-]\s*([0-9]{1,4})\s*[/-]\s*([0-9]{1,5})")
ONE_YEAR = re.compile(r"(\d{4})")
TWO_YEARS = re.compile(r"(\d{4})\s*[/-]\s*(\d{2}|\d{4})")


def upgrade() -> None:
    """Make columns and tables, read the papers of the lots that are there, then guard them."""
    _lots()
    _identities()
    _certificates()
    _read_papers()
    if op.get_bind().dialect.name == "postgresql":
        _guard_postgresql()
    else:
        _guard_sqlite()


def _lots() -> None:
    """What can be said of a lot from now on; those that are there said none of it."""
    for column in (
        sa.Column("species", sa.String(length=20), nullable=True),
        sa.Column("variety", sa.String(length=200), nullable=True),
        sa.Column("region", sa.String(length=200), nullable=True),
        sa.Column("producer", sa.String(length=200), nullable=True),
        sa.Column("altitude_from", sa.Integer(), nullable=True),
        sa.Column("altitude_to", sa.Integer(), nullable=True),
        sa.Column("altitude_unit", sa.String(length=2), nullable=True),
        sa.Column("shipped_on", sa.Date(), nullable=True),
        sa.Column("coffee_year", sa.Integer(), nullable=True),
        sa.Column("harvest_ended_on", sa.Date(), nullable=True),
    ):
        op.add_column("green_lot", column)


def _identities() -> None:
    op.create_table(
        "lot_identity",
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("mark_key", sa.String(length=20), nullable=True),
        sa.Column("coffee_year", sa.Integer(), nullable=False),
        sa.Column("crop_start", sa.Integer(), nullable=True),
        sa.Column("crop_end", sa.Integer(), nullable=True),
        sa.Column("same_shipment_as_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["lot_id"], ["green_lot.unit_id"]),
        sa.ForeignKeyConstraint(["same_shipment_as_id"], ["green_lot.unit_id"]),
        sa.PrimaryKeyConstraint("lot_id"),
    )
    op.create_index("ix_lot_identity_mark_key", "lot_identity", ["mark_key", "coffee_year"])
    op.create_index("ix_lot_identity_crop_start", "lot_identity", ["crop_start", "crop_end"])


def _certificates() -> None:
    op.create_table(
        "certificate",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("scheme", sa.String(length=200), nullable=False),
        sa.Column("claim", sa.String(length=40), nullable=False),
        sa.Column("number", sa.String(length=200), nullable=False),
        sa.Column("holder", sa.String(length=200), nullable=True),
        sa.Column("body", sa.String(length=200), nullable=True),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("valid_until", sa.Date(), nullable=True),
        sa.Column("withdrawn_on", sa.Date(), nullable=True),
        sa.CheckConstraint("valid_until >= valid_from", name="ck_certificate_valid_for_a_day"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("code"),
    )
    op.create_index("ix_certificate_claim", "certificate", ["claim"])
    op.create_table(
        "lot_certificate",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("certificate_id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("transaction_number", sa.String(length=200), nullable=True),
        sa.Column("note", sa.String(length=2000), nullable=True),
        sa.ForeignKeyConstraint(["lot_id"], ["green_lot.unit_id"]),
        sa.ForeignKeyConstraint(["certificate_id"], ["certificate.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_lot_certificate_lot_id", "lot_certificate", ["lot_id", "id"])
    for column in ("certificate_id", "entry_id"):
        op.create_index(f"ix_lot_certificate_{column}", "lot_certificate", [column])
    op.create_table(
        "lot_certificate_withdrawal",
        sa.Column("lot_certificate_id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=2000), nullable=False),
        sa.ForeignKeyConstraint(["lot_certificate_id"], ["lot_certificate.id"]),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"]),
        sa.PrimaryKeyConstraint("lot_certificate_id"),
    )
    name = "ix_lot_certificate_withdrawal_entry_id"
    op.create_index(name, "lot_certificate_withdrawal", ["entry_id"])


def _read_papers() -> None:
    """Read the marks and crop years of the lots that are there.

    `green_lot` is append-only, so what is read of a lot stands in a table of its own. The rules
    are those of the day of this migration, whatever the program has learnt since.
    """
    rows = list(_papers())
    if rows:
        table = sa.table("lot_identity", *(sa.column(name) for name in rows[0]))
        op.get_bind().execute(sa.insert(table), rows)


def _papers() -> Iterator[dict[str, object]]:
    found = op.get_bind().execute(
        sa.select(
            sa.column("unit_id"), sa.column("ico_mark"), sa.column("crop_year"),
            sa.column("happened_at", sa.DateTime(timezone=True)),
        )
        .select_from(sa.text(
            "green_lot JOIN delivery ON delivery.id = green_lot.delivery_id "
            "JOIN entry ON entry.id = delivery.entry_id"
        ))
    )  # fmt: skip
    for unit_id, printed, crop_year, happened_at in found.all():
        mark = MARK.fullmatch((printed or "").strip())
        start, end = _crop((crop_year or "").strip())
        yield {
            "lot_id": unit_id,
            "mark_key": "/".join(str(int(group)) for group in mark.groups()) if mark else None,
            "coffee_year": _coffee_year(happened_at),
            "crop_start": start,
            "crop_end": end,
        }


def _coffee_year(received_at: datetime) -> int:
    utc = received_at.astimezone(UTC) if received_at.tzinfo else received_at
    return utc.year if utc.month >= 10 else utc.year - 1  # noqa: PLR2004 - 1 October


def _crop(printed: str) -> tuple[int | None, int | None]:
    if one := ONE_YEAR.fullmatch(printed):
        return int(one[1]), int(one[1])
    if two := TWO_YEARS.fullmatch(printed):
        follows = str(int(two[1]) + 1)
        if two[2] in {follows, follows[2:]}:
            return int(two[1]), int(two[1]) + 1
    return None, None


def _guard_sqlite() -> None:
    for table, key in KEYS.items():
        for act in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} BEGIN "
                f"SELECT RAISE(ABORT, '{table} is append-only'); END"
            )
        # INSERT OR REPLACE deletes what stands in its way without asking the triggers above.
        op.execute(
            f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "  # noqa: S608 - our names
            f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {key} = NEW.{key}) BEGIN "
            f"SELECT RAISE(ABORT, '{table} is append-only'); END"
        )


def _guard_postgresql() -> None:
    for table in KEYS:
        op.execute(
            f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        )
        op.execute(
            f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )
