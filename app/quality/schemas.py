"""What the API reads and answers about cuppings."""

from decimal import Decimal
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from app.green.arrivals.rules import Step
from app.ledger.schemas import Asked, HoldOut, Note, Told
from app.quality.tables import Verdict
from app.shared.numbers import NumberOut, exact_number
from app.shared.times import MomentIn, MomentOut

Score = Annotated[
    Decimal, BeforeValidator(exact_number), Field(ge=0, le=100, decimal_places=3),
    WithJsonSchema({"type": "number", "minimum": 0, "maximum": 100}),
]  # fmt: skip


class CuppingIn(Asked):
    verdict: Verdict
    score: Score | None = None
    notes: Note | None = None
    cupped_at: MomentIn | None = None


class CuppingOut(Told):
    id: int
    roast: str
    verdict: Verdict
    disposition: Literal["released", "rejected"]
    score: NumberOut | None
    notes: str | None
    cupped_at: MomentOut
    cupped_by: str
    voided: bool = False
    void_reason: str | None = None


class ReleaseOut(HoldOut):
    """A hold that has ended."""

    open_steps: dict[str, list[Step]] | None = None
    """Of an arrival's hold: what was still to be done with each lot; null for other holds."""
