"""The tables of the book.

`entry`, `flow` and `adjustment` are only ever added to, and of a unit only what is left of it,
where it stands and whether it was voided can change: triggers in both databases hold that.
"""

from datetime import datetime
from enum import StrEnum

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    Index,
    Integer,
    String,
    Text,
    UniqueConstraint,
    text,
)
from sqlmodel import Field, SQLModel

from app.shared.times import UtcDateTime


class UnitKind(StrEnum):
    """What a unit is, in the order coffee goes."""

    LOT = "lot"
    SACK = "sack"
    ROAST = "roast"
    BLEND = "blend"
    PACK = "pack"
    DISPATCH = "dispatch"
    RETURN = "return"


LETTERS = {
    UnitKind.LOT: "L",
    UnitKind.SACK: "S",
    UnitKind.ROAST: "R",
    UnitKind.BLEND: "B",
    UnitKind.PACK: "P",
    UnitKind.DISPATCH: "D",
    UnitKind.RETURN: "T",
}
"""The letter an issued code begins with."""


class Reason(StrEnum):
    """Why a unit became lighter or heavier without coffee going into another unit."""

    SAMPLE = "sample"
    SPILL = "spill"
    COUNT = "count"
    MOISTURE = "moisture"
    DESTROYED = "destroyed"
    DRAW_DIFFERENCE = "draw_difference"
    """Book against scale when a sack was used up."""
    RETURNED = "returned"
    """Bags a customer sent back: off the dispatch, and by way of their pack into a return."""
    OTHER = "other"


class Entry(SQLModel, table=True):
    """One line of the journal. Every write is one."""

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    kind: str = Field(max_length=40)
    happened_at: datetime = Field(sa_type=UtcDateTime, index=True)
    """When it happened, by the word of whoever booked it."""
    recorded_at: datetime = Field(sa_type=UtcDateTime)
    """When the book learnt of it."""
    who: str = Field(max_length=100)
    facts: str = Field(sa_column=Column(Text, nullable=False))
    """Canonical JSON: what was said, and each line it wrote into the book."""
    idempotency_key: str | None = Field(default=None, max_length=255)
    fingerprint: str | None = Field(default=None, max_length=64)
    """SHA-256 of the request that carried the key."""
    reverses_id: int | None = Field(default=None, foreign_key="entry.id")
    previous_sha256: str = Field(max_length=64)
    sha256: str = Field(max_length=64)
    """Over everything above, so that no line can be changed, taken out or put in unseen."""

    __table_args__ = (
        UniqueConstraint("who", "idempotency_key", name="uq_entry_who_key"),
        Index("ix_entry_reverses", "reverses_id"),
        Index("ix_entry_recorded", "recorded_at", "id"),
    )


class BookCheck(SQLModel, table=True):
    """That the book checked itself, up to which entry, and how many things differed."""

    __tablename__ = "book_check"

    id: int | None = Field(default=None, primary_key=True)
    checked_at: datetime = Field(sa_type=UtcDateTime)
    entries: int
    sha256: str = Field(max_length=64)
    """Of the last of them."""
    differences: int


class KeyedAnswer(SQLModel, table=True):
    """What a request with an idempotency key was answered, for when it comes again."""

    __tablename__ = "keyed_answer"

    entry_id: int = Field(primary_key=True, foreign_key="entry.id")
    status: int
    etag: str | None = Field(default=None, max_length=30)
    body: str = Field(sa_column=Column(Text, nullable=False))


class Unit(SQLModel, table=True):
    """An identifiable quantity of coffee."""

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    """Increases with time, so its order is an order in which sources come before targets."""
    code: str = Field(max_length=32, unique=True)
    kind: UnitKind = Field(sa_column=Column(String(10), nullable=False))
    made_g: int = Field(sa_type=BigInteger)
    """Its mass when it was born."""
    left_g: int = Field(sa_type=BigInteger)
    """made_g + adjustments - flows out; 0 when voided. Kept for speed, recomputed by the checks."""
    location_id: int | None = Field(default=None, foreign_key="location.id")
    born_entry_id: int = Field(foreign_key="entry.id", index=True)
    voided_entry_id: int | None = Field(default=None, foreign_key="entry.id")

    __table_args__ = (
        CheckConstraint("made_g > 0", name="ck_unit_made_above_zero"),
        CheckConstraint("left_g >= 0", name="ck_unit_left_not_below_zero"),
        Index("ix_unit_kind_id", "kind", "id"),
        Index("ix_unit_location_id", "location_id", "id"),
        Index(
            "ix_unit_standing",
            "location_id",
            "left_g",
            sqlite_where=text("left_g > 0"),
            postgresql_where=text("left_g > 0"),
        ),
    )


class Flow(SQLModel, table=True):
    """So many grams of an older unit went into a newer one."""

    source_id: int = Field(primary_key=True, foreign_key="unit.id")
    target_id: int = Field(primary_key=True, foreign_key="unit.id")
    grams: int = Field(sa_type=BigInteger)

    __table_args__ = (
        CheckConstraint("target_id > source_id", name="ck_flow_forward"),
        CheckConstraint("grams > 0", name="ck_flow_above_zero"),
        Index("ix_flow_forward", "source_id", "target_id", "grams"),
        Index("ix_flow_backward", "target_id", "source_id", "grams"),
    )


class Adjustment(SQLModel, table=True):
    """A unit became heavier or lighter, and why."""

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    unit_id: int = Field(foreign_key="unit.id", index=True)
    entry_id: int = Field(foreign_key="entry.id", index=True)
    grams: int = Field(sa_type=BigInteger)
    reason: Reason = Field(sa_column=Column(String(20), nullable=False))
    note: str | None = Field(default=None, max_length=2000)
    reverses_id: int | None = Field(
        default=None, foreign_key="adjustment.id", unique=True, index=True
    )
    """The adjustment that this one takes back. Unique: nothing is taken back twice."""

    __table_args__ = (CheckConstraint("grams <> 0", name="ck_adjustment_not_zero"),)


class Hold(SQLModel, table=True):
    """Coffee that must not move on until quality says so."""

    id: int | None = Field(default=None, primary_key=True)
    entry_id: int = Field(foreign_key="entry.id")
    reason: str = Field(max_length=2000)


class HoldUnit(SQLModel, table=True):
    """A unit under a hold."""

    __tablename__ = "hold_unit"

    hold_id: int = Field(primary_key=True, foreign_key="hold.id")
    unit_id: int = Field(primary_key=True, foreign_key="unit.id", index=True)


class HoldRelease(SQLModel, table=True):
    """The end of a hold."""

    __tablename__ = "hold_release"

    hold_id: int = Field(primary_key=True, foreign_key="hold.id")
    entry_id: int = Field(foreign_key="entry.id")
    reason: str = Field(max_length=2000)


class CardVersion(SQLModel, table=True):
    """A card as it was from one change to the next, where what was made is held against it."""

    __tablename__ = "card_version"

    noun: str = Field(primary_key=True, max_length=40)
    """What sort of card it is."""
    card_id: int = Field(primary_key=True)
    version: int = Field(primary_key=True)
    said: str = Field(sa_column=Column(Text, nullable=False))
    """The card as it was answered, as JSON."""
    entry_id: int = Field(foreign_key="entry.id", index=True)
