"""Orders of customers, and standing orders that orders are called off."""

from datetime import date

from sqlalchemy import JSON, CheckConstraint, Column, Text, UniqueConstraint
from sqlmodel import Field, SQLModel

from app.ledger.cards import Card


class StandingOrder(Card, table=True):
    """What a customer wants again and again: orders are called off it, one a date."""

    __tablename__ = "standing_order"

    code: str = Field(max_length=32, unique=True)
    customer_id: int = Field(foreign_key="customer.id", index=True)
    reference: str | None = Field(default=None, max_length=200)
    lines: list[dict[str, str | int]] = Field(sa_column=Column(JSON, nullable=False))
    """Each with its product's number and how many bags."""
    weekdays: list[str] = Field(sa_column=Column(JSON, nullable=False))
    every_weeks: int
    """Counted from the week of the first day; weeks begin on Monday."""
    starts_on: date
    ends_on: date | None = None
    """The last day it may fall on."""
    paused: list[str] = Field(sa_column=Column(JSON, nullable=False))
    """Dates on which it does not fall."""
    note: str | None = Field(default=None, sa_column=Column(Text))


class CustomerOrder(Card, table=True):
    """What a customer wants by a day. How much went out is read off the dispatches for it."""

    __tablename__ = "customer_order"

    code: str = Field(max_length=32, unique=True)
    customer_id: int = Field(foreign_key="customer.id", index=True)
    reference: str | None = Field(default=None, max_length=200)
    due_on: date = Field(index=True)
    note: str | None = Field(default=None, sa_column=Column(Text))
    """In words, often with whom to ring: kept out of the journal."""
    standing_order_id: int | None = Field(default=None, foreign_key="standing_order.id")
    called_for: date | None = None
    """The date of the standing order that it was called off for; `due_on` may move on."""

    __table_args__ = (
        UniqueConstraint("standing_order_id", "called_for", name="uq_customer_order_called_for"),
    )


class OrderLine(SQLModel, table=True):
    """So many bags of a product; a change of the order replaces its lines."""

    __tablename__ = "customer_order_line"

    order_id: int = Field(primary_key=True, foreign_key="customer_order.id")
    product_id: int = Field(primary_key=True, foreign_key="product.id")
    bags: int

    __table_args__ = (CheckConstraint("bags > 0", name="ck_customer_order_line_bags"),)


class OrderCancellation(SQLModel, table=True):
    """The order came to nothing, or to no more than what had gone out."""

    __tablename__ = "order_cancellation"

    order_id: int = Field(primary_key=True, foreign_key="customer_order.id")
    reason: str = Field(max_length=2000)
    entry_id: int = Field(foreign_key="entry.id")
