"""What the API answers about what is in a place, and about cleaning it."""

from pydantic import Field

from app.ledger.schemas import Told
from app.ledger.tables import Reason, UnitKind
from app.quality.rules import Disposition
from app.shared.mass import KgOut
from app.shared.numbers import NumberOut
from app.shared.times import MomentOut


class ContentsLine(Told):
    """A unit of which something stands there."""

    unit: str
    kind: UnitKind
    location: str
    """The very place: the one asked for or one below it."""
    grams: KgOut = Field(alias="kg")
    """What is left of it."""
    share_pct: NumberOut
    """Its part of all that stands at its very place."""
    happened_at: MomentOut
    """When it was made or arrived."""
    came_at: MomentOut | None
    """Since when it has stood there."""
    disposition: Disposition | None
    """Of a roast: what the gate and tasting say of it."""
    held: bool
    released: bool
    """Neither held nor set aside, rejected or scrapped."""


class PlaceCleanDownOut(Told):
    id: int
    location: str
    cleaned_at: MomentOut
    note: str | None
    cleaned_by: str
    voided: bool = False
    void_reason: str | None = None


class AdjustedPart(Told):
    unit: str
    grams: KgOut = Field(alias="kg")


class PlaceAdjustmentOut(Told):
    location: str
    grams: KgOut = Field(alias="kg")
    reason: Reason
    note: str | None
    units: list[AdjustedPart]
    """What it changed of each unit that was in the place."""
    happened_at: MomentOut
    warnings: list[str]
    """What was pointed out; the adjustment is booked all the same."""
    entry: int
