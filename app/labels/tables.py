"""Print orders: which labels were printed, when and how often."""

from sqlalchemy import CheckConstraint, Column, Index, Integer, String
from sqlmodel import Field, SQLModel

from app.labels.sheets import Paper, Size


class LabelOrder(SQLModel, table=True):
    """One print order: labels of one size, each on a page of its own or on sheets."""

    __tablename__ = "label_order"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    size: Size = Field(sa_column=Column(String(10), nullable=False))
    sheet: Paper | None = Field(default=None, sa_column=Column(String(10)))
    start_at: int = 1
    """The first free place of the first sheet, from 1."""
    copies: int = 1
    """How many labels of each code."""
    entry_id: int = Field(foreign_key="entry.id", index=True)


class LabelLine(SQLModel, table=True):
    """One code in a print order."""

    __tablename__ = "label_line"

    order_id: int = Field(primary_key=True, foreign_key="label_order.id")
    number: int = Field(primary_key=True)
    """Its place in the order, from 1."""
    unit_id: int | None = Field(default=None, foreign_key="unit.id")
    location_id: int | None = Field(default=None, foreign_key="location.id")
    reprint: int
    """0 for the first print of this code, then 1, 2, …"""

    __table_args__ = (
        CheckConstraint(
            "(unit_id IS NULL) <> (location_id IS NULL)", name="ck_label_line_one_subject"
        ),
        CheckConstraint("reprint >= 0", name="ck_label_line_reprint"),
        Index("ix_label_line_unit_id", "unit_id", "order_id"),
        Index("ix_label_line_location_id", "location_id", "order_id"),
    )
