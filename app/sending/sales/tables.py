"""Sales over the counter: dispatches of a day to people whose names nobody has."""

from datetime import date

from sqlmodel import Field, SQLModel


class Sale(SQLModel, table=True):
    """A dispatch that went over a counter."""

    dispatch_id: int = Field(primary_key=True, foreign_key="dispatch.unit_id")
    sold_on: date = Field(index=True)
