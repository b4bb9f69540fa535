"""Batches that are planned."""

from datetime import date

from sqlalchemy import BigInteger, Column, Integer
from sqlmodel import Field, SQLModel


class PlannedBatch(SQLModel, table=True):
    """One charge that is to be roasted. Whether it was is read off what used its reservation."""

    __tablename__ = "planned_batch"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    planned_for: date = Field(index=True)
    style_id: int = Field(foreign_key="style.id")
    machine_id: int | None = Field(default=None, foreign_key="machine.id")
    charge_g: int = Field(sa_type=BigInteger)
    reservation_id: int = Field(foreign_key="reservation.id", unique=True)
    entry_id: int = Field(foreign_key="entry.id", index=True)
