"""Suppliers, deliveries, and what is known of lots and sacks beside their mass."""

from datetime import date
from enum import StrEnum

from sqlalchemy import BigInteger, Column, Index, String, Text
from sqlmodel import Field, SQLModel

from app.green.identity.rules import AltitudeUnit, Species
from app.ledger.cards import Card


class Condition(StrEnum):
    """How a sack came off the lorry."""

    SOUND = "sound"
    SLACK = "slack"
    TORN = "torn"
    WET = "wet"
    MOULDY = "mouldy"
    SWEEPINGS = "sweepings"
    """Coffee gathered from the floor or the container: weighed and kept apart, never a sack."""


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
    contract_id: int | None = Field(default=None, foreign_key="purchase_contract.id", index=True)
    discharged_on: date | None = None
    """The day of final discharge at the port, on which the clocks of the contract start."""


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
    species: Species | None = Field(default=None, sa_column=Column(String(20)))
    variety: str | None = Field(default=None, max_length=200)
    region: str | None = Field(default=None, max_length=200)
    producer: str | None = Field(default=None, max_length=200)
    altitude_from: int | None = None
    altitude_to: int | None = None
    altitude_unit: AltitudeUnit | None = Field(default=None, sa_column=Column(String(2)))
    """Of both figures, which are kept as they were given."""
    shipped_on: date | None = None
    coffee_year: int | None = None
    """As somebody said it, by the calendar year it began in; what counts is in `lot_identity`."""
    harvest_ended_on: date | None = None
    shipped_g: int | None = Field(default=None, sa_type=BigInteger)
    invoiced_sacks: int | None = None
    tare_empties: int | None = None
    """How many empty sacks were weighed for their tare."""
    tare_sample_g: int | None = Field(default=None, sa_type=BigInteger)
    """What they weighed together."""


class Sack(SQLModel, table=True):
    """One sack of a lot."""

    unit_id: int = Field(primary_key=True, foreign_key="unit.id")
    lot_id: int = Field(foreign_key="green_lot.unit_id")
    number: int
    """Its place in the lot, from 1."""
    condition: Condition = Field(sa_column=Column(String(10), nullable=False))
    gross_g: int | None = Field(default=None, sa_type=BigInteger)
    """On the scale with its packaging, where that is known; net is gross less tare."""
    tare_g: int | None = Field(default=None, sa_type=BigInteger)

    __table_args__ = (Index("ix_sack_lot_id", "lot_id", "number"),)
