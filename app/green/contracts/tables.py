"""Purchase contracts."""

from datetime import date
from decimal import Decimal

from sqlalchemy import BigInteger, Column, Dialect, String, Text
from sqlalchemy.types import TypeDecorator
from sqlmodel import Field

from app.ledger.cards import Card
from app.standards.buying import Form, PriceUnit, WeightBasis


class ExactText(TypeDecorator[Decimal]):
    """An exact decimal, kept as text with the very digits it was given."""

    impl = String(40)
    cache_ok = True

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> str | None:
        del dialect  # the same in every database
        return None if value is None else f"{value:f}"

    def process_result_value(self, value: str | None, dialect: Dialect) -> Decimal | None:
        del dialect
        return None if value is None else Decimal(value)


class PurchaseContract(Card, table=True):
    """What was agreed with a supplier. What it leaves open, the roastery's settings fill."""

    __tablename__ = "purchase_contract"

    reference: str = Field(max_length=40, unique=True)
    supplier_id: int = Field(foreign_key="supplier.id", index=True)
    quantity_g: int = Field(sa_type=BigInteger)
    tolerance_pct: Decimal | None = Field(default=None, sa_type=ExactText)
    price: Decimal | None = Field(default=None, sa_type=ExactText)
    """Seen by those who may see prices."""
    currency: str | None = Field(default=None, max_length=3)
    price_unit: PriceUnit | None = Field(default=None, sa_column=Column(String(2)))
    weight_basis: WeightBasis = Field(sa_column=Column(String(10), nullable=False))
    franchise_pct: Decimal | None = Field(default=None, sa_type=ExactText)
    arrival_moisture_limit_pct: Decimal | None = Field(default=None, sa_type=ExactText)
    shipped_from: date | None = None
    shipped_until: date | None = None
    lead_time_days: int | None = None
    expected_on: date | None = None
    form: Form = Field(sa_column=Column(String(10), nullable=False))
    weigh_days: int | None = None
    quality_days: int | None = None
    technical_days: int | None = None
    note: str | None = Field(default=None, sa_column=Column(Text))
    ordered_on: date | None = None
    """The day it was agreed, from which its lead time counts."""
    origin: str | None = Field(default=None, max_length=2)
    """Where the coffee is to come from, ISO 3166-1 alpha-2."""
    component: str | None = Field(default=None, max_length=200)
    """The component of charges that it is bought for, by name."""
    ended_on: date | None = None
    """From when on nothing more is expected of it, however little came."""
