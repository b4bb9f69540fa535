"""Stock counts: the sheet, what was counted, that counting ended, and what was decided."""

from sqlalchemy import BigInteger, CheckConstraint, Column, Index, Integer
from sqlmodel import Field, SQLModel


class StockCount(SQLModel, table=True):
    """A count of what stands at a place or below it, or of one lot."""

    __tablename__ = "stock_count"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    location_id: int | None = Field(default=None, foreign_key="location.id")
    lot_id: int | None = Field(default=None, foreign_key="green_lot.unit_id")
    note: str | None = Field(default=None, max_length=2000)
    entry_id: int = Field(foreign_key="entry.id", index=True)

    __table_args__ = (
        CheckConstraint(
            "(location_id IS NULL) <> (lot_id IS NULL)", name="ck_stock_count_one_subject"
        ),
    )


class StockCountSack(SQLModel, table=True):
    """A sack on the sheet, and where the book had it when the sheet was made."""

    __tablename__ = "stock_count_sack"

    count_id: int = Field(primary_key=True, foreign_key="stock_count.id")
    sack_id: int = Field(primary_key=True, foreign_key="sack.unit_id")
    location_id: int | None = Field(default=None, foreign_key="location.id")


class StockCountLine(SQLModel, table=True):
    """What somebody found. Of two lines about a sack the later counts; both stay."""

    __tablename__ = "stock_count_line"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    count_id: int = Field(foreign_key="stock_count.id")
    sack_id: int = Field(foreign_key="sack.unit_id")
    location_id: int | None = Field(default=None, foreign_key="location.id")
    """Where the book had the sack when the line was recorded."""
    counted_g: int | None = Field(default=None, sa_type=BigInteger)
    """None where the sack was not found."""
    book_g: int = Field(sa_type=BigInteger)
    """What the book had when it was counted."""
    entry_id: int = Field(foreign_key="entry.id", index=True)

    __table_args__ = (
        CheckConstraint("counted_g >= 0", name="ck_stock_count_line_counted"),
        Index("ix_stock_count_line_count_id", "count_id", "sack_id"),
    )


class StockCountClose(SQLModel, table=True):
    """The end of counting."""

    __tablename__ = "stock_count_close"

    count_id: int = Field(primary_key=True, foreign_key="stock_count.id")
    entry_id: int = Field(foreign_key="entry.id")


class StockCountDecision(SQLModel, table=True):
    """Whether the variances were booked."""

    __tablename__ = "stock_count_decision"

    count_id: int = Field(primary_key=True, foreign_key="stock_count.id")
    approved: bool
    reason: str | None = Field(default=None, max_length=2000)
    entry_id: int = Field(foreign_key="entry.id")

    __table_args__ = (
        CheckConstraint("approved OR reason IS NOT NULL", name="ck_stock_count_decision_reason"),
    )
