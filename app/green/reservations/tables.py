"""What is reserved, what took a reservation over, and what ended it otherwise.

A reservation is open while it was not released and nothing that still counts has used it. So
voiding a roast opens it again, without a row being changed.
"""

from sqlalchemy import BigInteger, CheckConstraint, Column, Integer
from sqlmodel import Field, SQLModel


class Reservation(SQLModel, table=True):
    """A promise of green coffee."""

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    purpose: str = Field(max_length=300)
    """What it is for, in words that a person at the roaster understands."""
    entry_id: int = Field(foreign_key="entry.id", index=True)


class ReservationLot(SQLModel, table=True):
    """So much of a lot."""

    __tablename__ = "reservation_lot"

    reservation_id: int = Field(primary_key=True, foreign_key="reservation.id")
    lot_id: int = Field(primary_key=True, foreign_key="green_lot.unit_id", index=True)
    grams: int = Field(sa_type=BigInteger)

    __table_args__ = (CheckConstraint("grams > 0", name="ck_reservation_lot_above_zero"),)


class ReservationUse(SQLModel, table=True):
    """What was made with it; a unit that was voided does not count."""

    __tablename__ = "reservation_use"

    reservation_id: int = Field(primary_key=True, foreign_key="reservation.id")
    unit_id: int = Field(primary_key=True, foreign_key="unit.id", index=True)


class ReservationRelease(SQLModel, table=True):
    """The promise was taken back."""

    __tablename__ = "reservation_release"

    reservation_id: int = Field(primary_key=True, foreign_key="reservation.id")
    reason: str = Field(max_length=2000)
    entry_id: int = Field(foreign_key="entry.id")
