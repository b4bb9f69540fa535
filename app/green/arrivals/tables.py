"""Facts about a lot after it came. All are only added to; the newest of each sort stands."""

from enum import StrEnum

from sqlalchemy import BigInteger, CheckConstraint, Column, Index, LargeBinary, String
from sqlmodel import Field, SQLModel


class ExceptionKind(StrEnum):
    """What was wrong with some sacks of a lot."""

    SLACK = "slack"
    TORN = "torn"
    REBAGGED = "rebagged"
    """Its coffee was put into another sack."""
    WET = "wet"
    """Wet, or stained by water."""
    MOULDY = "mouldy"
    TAINTED = "tainted"
    """With a foreign smell."""
    INFESTED = "infested"
    MISSING = "missing"
    OVER = "over"
    OTHER = "other"


class ArrivalCount(SQLModel, table=True):
    """Sacks counted, against those that were invoiced."""

    __tablename__ = "arrival_count"

    id: int | None = Field(default=None, primary_key=True)
    lot_id: int = Field(foreign_key="green_lot.unit_id")
    entry_id: int = Field(foreign_key="entry.id", index=True)
    invoiced: int
    sound: int
    slack: int
    torn: int
    wet: int
    mouldy: int
    missing: int
    over: int
    note: str | None = Field(default=None, max_length=2000)

    __table_args__ = (Index("ix_arrival_count_lot_id", "lot_id", "id"),)


class ArrivalWeight(SQLModel, table=True):
    """A lot weighed on arrival."""

    __tablename__ = "arrival_weight"

    id: int | None = Field(default=None, primary_key=True)
    lot_id: int = Field(foreign_key="green_lot.unit_id")
    entry_id: int = Field(foreign_key="entry.id", index=True)
    landed_g: int = Field(sa_type=BigInteger)
    from_book: bool = False
    """Nobody gave a weight: it is what the sacks of the book weigh together."""
    shipped_g: int | None = Field(default=None, sa_type=BigInteger)
    gross_g: int | None = Field(default=None, sa_type=BigInteger)
    tare_g: int | None = Field(default=None, sa_type=BigInteger)
    bulk: bool = False
    place: str | None = Field(default=None, max_length=200)
    note: str | None = Field(default=None, max_length=2000)

    __table_args__ = (
        CheckConstraint("landed_g > 0", name="ck_arrival_weight_above_zero"),
        Index("ix_arrival_weight_lot_id", "lot_id", "id"),
    )


class ArrivalInspection(SQLModel, table=True):
    """What a lot looks and smells like."""

    __tablename__ = "arrival_inspection"

    id: int | None = Field(default=None, primary_key=True)
    lot_id: int = Field(foreign_key="green_lot.unit_id")
    entry_id: int = Field(foreign_key="entry.id", index=True)
    musty_smell: bool
    foreign_smell: bool
    live_insects: bool
    wet_marks: bool
    mould: bool
    husks_or_pods: bool
    note: str | None = Field(default=None, max_length=2000)
    hold_id: int | None = Field(default=None, foreign_key="hold.id")
    """The hold it placed, where it placed one."""

    __table_args__ = (Index("ix_arrival_inspection_lot_id", "lot_id", "id"),)


class ArrivalException(SQLModel, table=True):
    """Something wrong with some sacks of a lot."""

    __tablename__ = "arrival_exception"

    id: int | None = Field(default=None, primary_key=True)
    lot_id: int = Field(foreign_key="green_lot.unit_id")
    entry_id: int = Field(foreign_key="entry.id", index=True)
    kind: ExceptionKind = Field(sa_column=Column(String(10), nullable=False))
    sacks: int
    grams: int | None = Field(default=None, sa_type=BigInteger)
    location_id: int | None = Field(default=None, foreign_key="location.id")
    """Where they were put apart."""
    disposition: str | None = Field(default=None, max_length=200)
    note: str | None = Field(default=None, max_length=2000)

    __table_args__ = (Index("ix_arrival_exception_lot_id", "lot_id", "id"),)


class ArrivalExceptionSack(SQLModel, table=True):
    """A sack that an exception names."""

    __tablename__ = "arrival_exception_sack"

    exception_id: int = Field(primary_key=True, foreign_key="arrival_exception.id")
    sack_id: int = Field(primary_key=True, foreign_key="sack.unit_id", index=True)


class ArrivalPhoto(SQLModel, table=True):
    """A photo of an exception, as it was sent, to the byte."""

    __tablename__ = "arrival_photo"

    id: int | None = Field(default=None, primary_key=True)
    exception_id: int = Field(foreign_key="arrival_exception.id")
    entry_id: int = Field(foreign_key="entry.id", index=True)
    media_type: str = Field(max_length=20)
    """What it is by its own bytes."""
    width: int
    height: int
    size_bytes: int
    sha256: str = Field(max_length=64)
    """Of the bytes; the journal has it too, so no other picture can take its place unseen."""
    content: bytes = Field(sa_column=Column(LargeBinary, nullable=False))

    __table_args__ = (Index("ix_arrival_photo_exception_id", "exception_id", "id"),)


class ReceiptClose(SQLModel, table=True):
    """The receipt of a delivery is closed: every sack is accounted for."""

    __tablename__ = "receipt_close"

    delivery_id: int = Field(primary_key=True, foreign_key="delivery.id")
    entry_id: int = Field(foreign_key="entry.id", index=True)
    note: str | None = Field(default=None, max_length=2000)
