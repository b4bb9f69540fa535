"""What is read out of a lot's papers, for looking it up."""

from sqlalchemy import Index
from sqlmodel import Field, SQLModel


class LotIdentity(SQLModel, table=True):
    """What the printed words of a lot mean; the words themselves stand on the lot."""

    __tablename__ = "lot_identity"

    lot_id: int = Field(primary_key=True, foreign_key="green_lot.unit_id")
    mark_key: str | None = Field(default=None, max_length=20)
    """The ICO mark by its numbers (`2/1961/978`); null where what is printed is none."""
    coffee_year: int
    """By the calendar year it began in: of shipment where that is known, else of arrival."""
    crop_start: int | None = None
    crop_end: int | None = None
    """The years of the printed crop year; null where it names none."""
    same_shipment_as_id: int | None = Field(default=None, foreign_key="green_lot.unit_id")
    """Another parcel of the same shipment, named by whoever received this one."""

    __table_args__ = (
        Index("ix_lot_identity_mark_key", "mark_key", "coffee_year"),
        Index("ix_lot_identity_crop_start", "crop_start", "crop_end"),
    )
