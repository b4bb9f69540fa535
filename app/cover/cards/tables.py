"""Planning cards."""

from decimal import Decimal

from sqlalchemy import BigInteger, Column, String, Text
from sqlmodel import Field

from app.cover.rules import OrderUnit
from app.green.contracts.tables import ExactText
from app.ledger.cards import Card


class PlanningCard(Card, table=True):
    """How something is bought: for a component, an origin, a product, or a site.

    What it leaves open, the settings fill.
    """

    __tablename__ = "planning_card"

    item: str = Field(max_length=220)
    """`component:` or `origin:`, and its name."""
    item_key: str = Field(default="", max_length=660, unique=True)
    service_milli: int | None = None
    """In thousandths of a per cent."""
    lead_time_days: int | None = None
    lead_time_sd_days: Decimal | None = Field(default=None, sa_type=ExactText)
    review_days: int | None = None
    harvest_bound: bool = False
    order_unit: OrderUnit | None = Field(default=None, sa_column=Column(String(10)))
    unit_g: int | None = Field(default=None, sa_type=BigInteger)
    note: str | None = Field(default=None, sa_column=Column(Text))
