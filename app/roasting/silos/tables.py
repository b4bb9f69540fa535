"""When places in which coffee mixes were cleaned."""

from datetime import datetime

from sqlalchemy import Index
from sqlmodel import Field, SQLModel

from app.shared.times import UtcDateTime


class PlaceCleanDown(SQLModel, table=True):
    """A place was empty and was cleaned: nothing carries over past it."""

    __tablename__ = "place_clean_down"

    id: int | None = Field(default=None, primary_key=True)
    location_id: int = Field(foreign_key="location.id")
    cleaned_at: datetime = Field(sa_type=UtcDateTime)
    note: str | None = Field(default=None, max_length=2000)
    entry_id: int = Field(foreign_key="entry.id")

    __table_args__ = (Index("ix_place_clean_down_order", "location_id", "cleaned_at"),)
