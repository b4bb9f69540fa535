"""Certificates as cards, and which lots they were put on record for."""

from datetime import date

from sqlalchemy import CheckConstraint, Index
from sqlmodel import Field, SQLModel

from app.ledger.cards import Card


class Certificate(Card, table=True):
    """A certificate of one scheme, for the time it is valid. A renewed one is another card."""

    code: str = Field(max_length=32, unique=True)
    scheme: str = Field(max_length=200)
    claim: str = Field(max_length=40, index=True)
    """What it lets a lot be called, as a short key: `organic`."""
    number: str = Field(max_length=200)
    """As printed."""
    holder: str | None = Field(default=None, max_length=200)
    body: str | None = Field(default=None, max_length=200)
    """The control body that issued it, or its code."""
    valid_from: date
    valid_until: date | None = None
    """The last day; null where it runs until it is withdrawn."""
    withdrawn_on: date | None = None
    """From this day on it lets nothing be called anything."""

    __table_args__ = (
        CheckConstraint("valid_until >= valid_from", name="ck_certificate_valid_for_a_day"),
    )


class LotCertificate(SQLModel, table=True):
    """A certificate put on record for a lot."""

    __tablename__ = "lot_certificate"

    id: int | None = Field(default=None, primary_key=True)
    lot_id: int = Field(foreign_key="green_lot.unit_id")
    certificate_id: int = Field(foreign_key="certificate.id", index=True)
    entry_id: int = Field(foreign_key="entry.id", index=True)
    transaction_number: str | None = Field(default=None, max_length=200)
    """Of the consignment's own paper: a certificate of inspection, a transaction certificate."""
    note: str | None = Field(default=None, max_length=2000)

    __table_args__ = (Index("ix_lot_certificate_lot_id", "lot_id", "id"),)


class LotCertificateWithdrawal(SQLModel, table=True):
    """A certificate taken back from a lot: from here on it never stood on record for it."""

    __tablename__ = "lot_certificate_withdrawal"

    lot_certificate_id: int = Field(primary_key=True, foreign_key="lot_certificate.id")
    entry_id: int = Field(foreign_key="entry.id", index=True)
    reason: str = Field(max_length=2000)
