"""Samples, gradings and cuppings of green lots.

All of them are only ever added to. What was booked by mistake is voided by a row of
`grading_void`, which names one of them.
"""

from enum import StrEnum

from sqlalchemy import BigInteger, CheckConstraint, Column, String, Text
from sqlmodel import Field, SQLModel


class SampleKind(StrEnum):
    """What a sample is for."""

    ARRIVAL = "arrival"
    OFFER = "offer"
    """What a seller sends with an offer."""
    TYPE = "type"
    """Shows what a coffee is like, and is not of the very lot."""
    PRE_SHIPMENT = "pre_shipment"
    """Sent before the lot is shipped, for approval."""
    RETAINED = "retained"
    """Kept for later checks."""
    OTHER = "other"


class Sample(SQLModel, table=True):
    """A sample: of a lot or one of its sacks, or only typical of a coffee."""

    id: int | None = Field(default=None, primary_key=True)
    lot_id: int | None = Field(default=None, foreign_key="green_lot.unit_id", index=True)
    subject_id: int | None = Field(default=None, foreign_key="unit.id")
    """The lot, or the one sack that was meant."""
    typical_of: str | None = Field(default=None, max_length=200)
    kind: SampleKind = Field(sa_column=Column(String(20), nullable=False))
    grams: int | None = Field(default=None, sa_type=BigInteger)
    """Its mass: out of the sacks of its parts, or as it came where it has none."""
    increments: int | None = None
    """How many times somebody drew."""
    drawn_with: str | None = Field(default=None, max_length=200)
    purpose: str | None = Field(default=None, max_length=2000)
    lot_sacks: int | None = None
    """Sacks with coffee in them when it was drawn."""
    sacks_to_sample: int | None = None
    """How many of them the plan asked for."""
    plan_why: str | None = Field(default=None, max_length=200)
    entry_id: int = Field(foreign_key="entry.id")

    __table_args__ = (
        CheckConstraint(
            "(lot_id IS NULL) <> (typical_of IS NULL)", name="ck_sample_of_a_lot_or_typical"
        ),
        CheckConstraint("(lot_id IS NULL) = (subject_id IS NULL)", name="ck_sample_subject"),
    )


class SamplePart(SQLModel, table=True):
    """What a sample took out of one sack."""

    __tablename__ = "sample_part"

    sample_id: int = Field(primary_key=True, foreign_key="sample.id")
    sack_id: int = Field(primary_key=True, foreign_key="sack.unit_id", index=True)
    grams: int = Field(sa_type=BigInteger)

    __table_args__ = (CheckConstraint("grams > 0", name="ck_sample_part_above_zero"),)


class Grading(SQLModel, table=True):
    """One grading of a lot."""

    id: int | None = Field(default=None, primary_key=True)
    lot_id: int = Field(foreign_key="green_lot.unit_id", index=True)
    sample_id: int | None = Field(default=None, foreign_key="sample.id", index=True)
    found: str = Field(sa_column=Column(Text, nullable=False))
    """What was counted and seen, as JSON."""
    judged: str = Field(sa_column=Column(Text, nullable=False))
    """What was said of it then, as JSON: the readings it was judged with and the verdicts."""
    entry_id: int = Field(foreign_key="entry.id")


class LotCupping(SQLModel, table=True):
    """One tasting of a green lot."""

    __tablename__ = "lot_cupping"

    id: int | None = Field(default=None, primary_key=True)
    lot_id: int = Field(foreign_key="green_lot.unit_id", index=True)
    sample_id: int | None = Field(default=None, foreign_key="sample.id", index=True)
    form: str = Field(max_length=200)
    form_version: str = Field(max_length=100)
    score_centi: int
    """The score in hundredths."""
    tasters: int
    """How many tasted; the score of more than one is their mean, on this one form."""
    on_form: str | None = Field(default=None, sa_column=Column(Text))
    """Sections, cups and points as JSON; None where only the score was given."""
    taster: str = Field(max_length=200)
    notes: str | None = Field(default=None, max_length=2000)
    entry_id: int = Field(foreign_key="entry.id")


_ONE = " + ".join(
    f"CASE WHEN {each} IS NULL THEN 0 ELSE 1 END"
    for each in ("sample_id", "grading_id", "lot_cupping_id")
)


class GradingVoid(SQLModel, table=True):
    """A sample, a grading or a cupping that turns out never to have been."""

    __tablename__ = "grading_void"

    entry_id: int = Field(primary_key=True, foreign_key="entry.id")
    sample_id: int | None = Field(default=None, foreign_key="sample.id", unique=True)
    grading_id: int | None = Field(default=None, foreign_key="grading.id", unique=True)
    lot_cupping_id: int | None = Field(default=None, foreign_key="lot_cupping.id", unique=True)
    reason: str = Field(max_length=2000)

    __table_args__ = (CheckConstraint(f"{_ONE} = 1", name="ck_grading_void_of_one"),)
