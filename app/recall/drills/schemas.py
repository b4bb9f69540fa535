"""What the API reads and answers about drills."""

from datetime import date
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from app.ledger.schemas import Asked, Note, Told, Why
from app.recall.drills.wording import A_DRILL
from app.recall.rules import Step
from app.recall.schemas import CautionedItems
from app.shared.codes import Code, NewCode
from app.shared.mass import KgOut
from app.shared.numbers import NumberOut
from app.shared.times import MomentOut

Number = Annotated[int, Field(ge=0, le=2**31 - 1, strict=True)]


class PickIn(Asked):
    seed: Number | None = None
    """Drawn by the service when left out."""
    at_entry: Annotated[int, Field(ge=1, le=2**31 - 1, strict=True)] | None = None
    """Draw from the book as it was after this entry: with the seed, the same draw again."""


class PickOut(Told):
    id: int
    seed: int
    at_entry: int
    lot: str | None
    pack: str | None
    material_lot: str | None
    """Of packing material that went into bags."""
    lots: int
    """How many there were to draw from."""
    packs: int
    material_lots: int
    picked_at: MomentOut
    picked_by: str
    caution: str


class DrillIn(Asked):
    code: NewCode | None = None
    pick: Annotated[int, Field(ge=1, le=2**31 - 1, strict=True)] | None = None
    """A draw, or"""
    traced: Literal["lot", "material_lot"] = "lot"
    """Which lot of the draw is traced forward."""
    lot: Code | None = None
    """a lot of one's own choice to trace forward,"""
    material_lot: Code | None = None
    """or a lot of packing material in its place,"""
    pack: Code | None = None
    """and a pack to trace backward."""
    scenario: Why = A_DRILL

    @model_validator(mode="after")
    def _one_subject(self) -> Self:
        named = (self.lot, self.material_lot, self.pack)
        if any(each is not None for each in named) == (self.pick is not None):
            raise ValueError("name either a pick, or a lot and a pack")
        if self.lot is not None and self.material_lot is not None:
            raise ValueError("trace either a lot forward or a lot of packing material")
        return self


class CompletionIn(Asked):
    gaps: Annotated[list[Why], Field(max_length=100)] = Field(default_factory=list)
    """What was found lacking, in one's own words."""


class SignOffIn(Asked):
    note: Note | None = None


class Gap(Told):
    gap: str
    count: int
    named: list[str]
    """The first twenty; customers by the number of their card."""


class ForwardFigures(Told):
    lot: str
    """The lot that was traced, of green or of packing material."""
    units: int
    made_bags: int
    in_house_bags: int
    sent_bags: int
    returned_bags: int
    customers: int
    with_contact: int
    contact_pct: NumberOut | None
    """Customers with a contact, of all who were sent any of it."""
    received_g: KgOut = Field(alias="received_kg")
    accounted_pct: NumberOut | None
    """Of what was received, the part whose place is known."""


class BackwardFigures(Told):
    pack: str
    units: int
    roasts: int
    sacks: int
    lots: int
    suppliers: int
    received_g: KgOut = Field(alias="received_kg")
    accounted_pct: NumberOut | None


class DrillLine(Told):
    code: str
    lot: str | None
    """Null where a lot of packing material was traced."""
    pack: str | None
    started_at: MomentOut
    started_by: str
    completed_at: MomentOut | None
    completed_by: str | None
    minutes: NumberOut | None
    goal_minutes: int
    goal_met: bool | None
    signed_off_at: MomentOut | None
    signed_off_by: str | None


class DrillOut(DrillLine):
    pick: int | None
    state: Step
    scenario: str
    forward: ForwardFigures | None
    backward: BackwardFigures | None
    gaps: list[Gap]
    own_gaps: list[str]
    complete: bool
    lacks: list[str]
    """What the record lacks to count as a drill."""
    sign_off_note: str | None
    caution: str


class TrendPoint(Told):
    code: str
    completed_at: MomentOut
    minutes: NumberOut
    goal_met: bool
    contact_pct: NumberOut | None
    accounted_pct: NumberOut | None


class Due(Told):
    every_months: int
    last_completed_at: MomentOut | None
    """Of the last drill whose record lacks nothing."""
    next_due_on: date | None
    """Null where there was none."""
    overdue: bool


class DrillList(CautionedItems[DrillLine]):
    due: Due
    trend: list[TrendPoint]
    """The last twenty that were completed, oldest first."""
