"""Customers, and what is known of dispatches and returns beside their mass."""

from enum import StrEnum

from sqlalchemy import BigInteger, Column, String, Text
from sqlmodel import Field, SQLModel

from app.ledger.cards import Card


class CustomerKind(StrEnum):
    """Whether it is known by name who gets the coffee."""

    BUSINESS = "business"
    CONSUMERS = "consumers"
    """A counter: people whose names nobody has."""


class Customer(Card, table=True):
    """Who the coffee goes to: one step forward."""

    name: str = Field(max_length=200)
    name_key: str = Field(default="", max_length=600, unique=True)
    """The name as it is compared, whatever its capitals."""
    contact: str | None = Field(default=None, max_length=500)
    """Whom to call in a recall, and how."""
    address: str | None = Field(default=None, sa_column=Column(Text))
    kind: CustomerKind = Field(
        default=CustomerKind.BUSINESS,
        sa_column=Column(String(12), nullable=False, server_default="business"),
    )


class Dispatch(SQLModel, table=True):
    """Bags that left to one customer."""

    unit_id: int = Field(primary_key=True, foreign_key="unit.id")
    customer_id: int = Field(foreign_key="customer.id", index=True)
    reference: str | None = Field(default=None, max_length=200)
    order_id: int | None = Field(default=None, foreign_key="customer_order.id", index=True)
    """The order it was for."""
    warnings: str | None = Field(default=None, sa_column=Column(Text))
    """What was pointed out, as JSON."""


class DispatchLine(SQLModel, table=True):
    """So many bags of one pack, or of bags that had come back, in a dispatch."""

    __tablename__ = "dispatch_line"

    dispatch_id: int = Field(primary_key=True, foreign_key="dispatch.unit_id")
    pack_id: int = Field(primary_key=True, foreign_key="unit.id", index=True)
    bags: int
    grams: int = Field(sa_type=BigInteger)


class Returned(SQLModel, table=True):
    """Bags of one pack that came back from one dispatch.

    Bags stay what they are on the road, so a return comes out of its pack and not out of the
    dispatch as a whole: a dispatch of two products does not make one suspect by the other.
    """

    unit_id: int = Field(primary_key=True, foreign_key="unit.id")
    dispatch_id: int = Field(foreign_key="dispatch.unit_id", index=True)
    pack_id: int = Field(foreign_key="unit.id", index=True)
    product_id: int = Field(foreign_key="product.id")
    bags: int
    nominal_g: int = Field(sa_type=BigInteger)
    reason: str = Field(max_length=2000)
