"""Crates that come back, and every movement of them."""

from enum import StrEnum

from sqlalchemy import BigInteger, CheckConstraint, Column, Integer, String, Text
from sqlmodel import Field, SQLModel

from app.ledger.cards import Card


class CrateKind(Card, table=True):
    """A sort of reusable crate."""

    __tablename__ = "crate_kind"

    name: str = Field(max_length=200)
    name_key: str = Field(default="", max_length=600, unique=True)
    """The name as it is compared, whatever its capitals."""
    tare_g: int | None = Field(default=None, sa_type=BigInteger)
    """What an empty one weighs."""
    deposit: bool = False
    """Whether a deposit is taken on it; how much is no matter of this book."""


class CrateAct(StrEnum):
    """What was done with crates."""

    OUT = "out"
    """To a customer."""
    BACK = "back"
    """From a customer."""
    COUNT = "count"
    """Counted, and the book brought to the count."""


class CrateMovement(SQLModel, table=True):
    """So many crates of a kind went out, came back, or were found to be more or fewer."""

    __tablename__ = "crate_movement"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    kind_id: int = Field(foreign_key="crate_kind.id", index=True)
    act: CrateAct = Field(sa_column=Column(String(8), nullable=False))
    customer_id: int | None = Field(default=None, foreign_key="customer.id", index=True)
    house: int
    """Change of how many are in the house."""
    away: int
    """Change of how many are at the customer."""
    unit_id: int | None = Field(default=None, foreign_key="unit.id", index=True)
    """The dispatch or return they went with: a movement with one that was voided never was."""
    reason: str | None = Field(default=None, sa_column=Column(Text))
    entry_id: int = Field(foreign_key="entry.id", index=True)

    __table_args__ = (
        CheckConstraint("house <> 0 OR away <> 0", name="ck_crate_movement_not_zero"),
        CheckConstraint("away = 0 OR customer_id IS NOT NULL", name="ck_crate_movement_whose"),
    )
