"""What was paid for green beside the price of its contract."""

from decimal import Decimal

from sqlalchemy import CheckConstraint, Column, String
from sqlmodel import Field, SQLModel

from app.green.contracts.tables import ExactText
from app.standards.buying import PriceUnit
from app.standards.costing import CostKind


class CostLine(SQLModel, table=True):
    """An amount for one lot, or for all lots of a delivery by what they weighed on arrival."""

    __tablename__ = "cost_line"

    id: int = Field(primary_key=True)
    lot_id: int | None = Field(default=None, foreign_key="green_lot.unit_id", index=True)
    delivery_id: int | None = Field(default=None, foreign_key="delivery.id", index=True)
    kind: CostKind = Field(sa_column=Column(String(20), nullable=False))
    amount: Decimal | None = Field(default=None, sa_type=ExactText)
    price: Decimal | None = Field(default=None, sa_type=ExactText)
    """Instead of an amount, for one of `price_unit`."""
    price_unit: PriceUnit | None = Field(default=None, sa_column=Column(String(2)))
    currency: str = Field(max_length=3)
    note: str | None = Field(default=None, max_length=2000)
    entry_id: int = Field(foreign_key="entry.id", index=True)

    __table_args__ = (
        CheckConstraint("(lot_id IS NULL) <> (delivery_id IS NULL)", name="ck_cost_line_of_one"),
        CheckConstraint("(amount IS NULL) <> (price IS NULL)", name="ck_cost_line_amount_or_price"),
        CheckConstraint("(price IS NULL) = (price_unit IS NULL)", name="ck_cost_line_price_unit"),
    )


class CostLineVoid(SQLModel, table=True):
    """A cost that was booked by mistake."""

    __tablename__ = "cost_line_void"

    cost_line_id: int = Field(primary_key=True, foreign_key="cost_line.id")
    entry_id: int = Field(foreign_key="entry.id", index=True)
    reason: str = Field(max_length=2000)
