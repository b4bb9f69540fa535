"""What the API reads and answers about corrections."""

from typing import Self

from pydantic import Field, model_validator

from app.ledger.schemas import Asked, Told, Why
from app.shared.codes import Code
from app.shared.mass import KgOut
from app.shared.times import MomentOut


class Correcting(Asked):
    """What any act may say of a mistaken one in whose place it is booked."""

    corrects: Code | None = None
    """The unit that is voided by this one: of the same kind, and nothing made from it."""
    correction_reason: Why | None = None
    """What was wrong."""

    @model_validator(mode="after")
    def _a_correction_says_why(self) -> Self:
        if (self.corrects is None) != (self.correction_reason is None):
            raise ValueError("corrects and correction_reason go together")
        return self


class ActVoidIn(Asked):
    reason: Why


class ActVoided(Told):
    """An act that turns out never to have been."""

    id: int
    of: str
    """The code of what it was about."""
    reason: str
    open_holds: list[int]
    """Holds that it placed and that stay until they are released."""
    entry: int
    voided_at: MomentOut


class AdjustmentVoided(Told):
    id: int
    unit: str
    grams: KgOut = Field(alias="kg")
    """What the unit became heavier or lighter by now."""
    left_g: KgOut = Field(alias="left_kg")
    reason: str
    entry: int
    voided_at: MomentOut
