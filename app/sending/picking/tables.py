"""Picks: bags that somebody was told to fetch, and that are kept for it."""

from datetime import datetime

from sqlalchemy import CheckConstraint, Column, Integer, Text
from sqlmodel import Field, SQLModel

from app.shared.times import UtcDateTime


class Pick(SQLModel, table=True):
    """A pick that was handed out."""

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    customer_id: int | None = Field(default=None, foreign_key="customer.id")
    order_id: int | None = Field(default=None, foreign_key="customer_order.id")
    """The order it is for."""
    as_suggested: bool
    """Whether it is the book's own suggestion."""
    reason: str | None = Field(default=None, sa_column=Column(Text))
    """Why other bags were chosen."""
    kept_until: datetime = Field(sa_type=UtcDateTime)
    """After this the bags are anybody's again."""
    entry_id: int = Field(foreign_key="entry.id", index=True)

    __table_args__ = (CheckConstraint("as_suggested OR reason IS NOT NULL", name="ck_pick_reason"),)


class PickWanted(SQLModel, table=True):
    """So many bags of a product that a pick was made for."""

    __tablename__ = "pick_wanted"

    pick_id: int = Field(primary_key=True, foreign_key="pick.id")
    product_id: int = Field(primary_key=True, foreign_key="product.id")
    bags: int

    __table_args__ = (CheckConstraint("bags > 0", name="ck_pick_wanted_above_zero"),)


class PickLine(SQLModel, table=True):
    """So many bags of this pack, or of these bags that had come back."""

    __tablename__ = "pick_line"

    pick_id: int = Field(primary_key=True, foreign_key="pick.id")
    number: int = Field(primary_key=True)
    pack_id: int = Field(foreign_key="unit.id", index=True)
    bags: int

    __table_args__ = (CheckConstraint("bags > 0", name="ck_pick_line_above_zero"),)


class PickEnd(SQLModel, table=True):
    """The end of a pick: its bags were sent, or it was cancelled."""

    __tablename__ = "pick_end"

    pick_id: int = Field(primary_key=True, foreign_key="pick.id")
    dispatch_id: int | None = Field(default=None, foreign_key="dispatch.unit_id", index=True)
    reason: str | None = Field(default=None, sa_column=Column(Text))
    """Why it was cancelled."""
    entry_id: int = Field(foreign_key="entry.id")

    __table_args__ = (
        CheckConstraint(
            "(dispatch_id IS NULL) <> (reason IS NULL)", name="ck_pick_end_sent_or_cancelled"
        ),
    )
