"""Suppliers, deliveries, and what is known of lots and sacks beside their mass."""

from enum import StrEnum

from sqlalchemy import BigInteger, CheckConstraint, Column, Index, String, Text
from sqlmodel import Field, SQLModel

from app.ledger.cards import Card


class Condition(StrEnum):
    """How a sack came off the lorry."""

    SOUND = "sound"
    SLACK = "slack"
    TORN = "torn"
    WET = "wet"


class ReadingKind(StrEnum):
    """What was measured."""

    MOISTURE = "moisture"
    """Per cent of total mass, wet basis."""
    WATER_ACTIVITY = "water_activity"
    """0 to 1."""
    DENSITY = "density"
    """Grams per litre."""
    TEMPERATURE = "temperature"
    """Degrees Celsius."""
    RELATIVE_HUMIDITY = "relative_humidity"
    """Per cent."""
    COLOUR = "colour"
    """On the instrument's own scale, higher is lighter."""


class Supplier(Card, table=True):
    """Who the coffee came from: one step back."""

    name: str = Field(max_length=200)
    name_key: str = Field(default="", max_length=600, unique=True)
    """The name as it is compared, whatever its capitals."""
    address: str | None = Field(default=None, max_length=500)
    """Postal address."""
    email: str | None = Field(default=None, max_length=254)
    web: str | None = Field(default=None, max_length=500)
    """Kept as it was typed and never fetched."""


class Delivery(SQLModel, table=True):
    """One arrival. Opening stock is one too, without a supplier where none is known any more."""

    id: int | None = Field(default=None, primary_key=True)
    code: str = Field(max_length=32, unique=True)
    supplier_id: int | None = Field(default=None, foreign_key="supplier.id", index=True)
    reference: str | None = Field(default=None, max_length=200)
    entry_id: int = Field(foreign_key="entry.id", index=True)


class GreenLot(SQLModel, table=True):
    """What is known of a lot."""

    __tablename__ = "green_lot"

    unit_id: int = Field(primary_key=True, foreign_key="unit.id")
    delivery_id: int = Field(foreign_key="delivery.id", index=True)
    name: str = Field(max_length=500)
    origin: str = Field(max_length=2)
    """ISO 3166-1 alpha-2."""
    crop_year: str | None = Field(default=None, max_length=100)
    process: str | None = Field(default=None, max_length=200)
    ico_mark: str | None = Field(default=None, max_length=100)
    """As printed."""
    advised_g: int | None = Field(default=None, sa_type=BigInteger)
    certificate: str | None = Field(default=None, max_length=500)
    cost_per_kg: str | None = Field(default=None, max_length=40)
    """An exact decimal as text."""
    currency: str | None = Field(default=None, max_length=3)
    note: str | None = Field(default=None, sa_column=Column(Text))


class Sack(SQLModel, table=True):
    """One sack of a lot."""

    unit_id: int = Field(primary_key=True, foreign_key="unit.id")
    lot_id: int = Field(foreign_key="green_lot.unit_id")
    number: int
    """Its place in the lot, from 1."""
    condition: Condition = Field(sa_column=Column(String(10), nullable=False))

    __table_args__ = (Index("ix_sack_lot_id", "lot_id", "number"),)


class Reading(SQLModel, table=True):
    """One measurement of a unit or of a place."""

    id: int | None = Field(default=None, primary_key=True)
    unit_id: int | None = Field(default=None, foreign_key="unit.id")
    location_id: int | None = Field(default=None, foreign_key="location.id")
    kind: ReadingKind = Field(sa_column=Column(String(20), nullable=False))
    value_milli: int = Field(sa_type=BigInteger)
    """The value in thousandths, exactly."""
    instrument: str | None = Field(default=None, max_length=200)
    entry_id: int = Field(foreign_key="entry.id", index=True)

    __table_args__ = (
        CheckConstraint(
            "(unit_id IS NULL) <> (location_id IS NULL)", name="ck_reading_one_subject"
        ),
        Index("ix_reading_unit_id", "unit_id", "kind", "id"),
        Index("ix_reading_location_id", "location_id", "kind", "id"),
    )
