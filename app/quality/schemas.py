"""What the API reads and answers about cuppings."""

from typing import Annotated, Self

from pydantic import AfterValidator, Field, model_validator

from app.green.arrivals.rules import Step
from app.green.readings.values import Value, number
from app.ledger.schemas import Asked, HoldOut, Name, Note, Told, Why
from app.quality.rules import Disposition
from app.quality.tables import Verdict
from app.shared.mass import KgOut
from app.shared.numbers import NumberOut
from app.shared.problems import MemberError
from app.shared.thousandths import MilliOut, PercentIn
from app.shared.times import MomentIn, MomentOut

Score = Annotated[Value, Field(ge=0, le=100), number(minimum=0, maximum=100)]


def _each_once(names: list[str]) -> list[str]:
    if len({name.casefold() for name in names}) < len(names):
        raise ValueError("somebody is named twice")
    return names


_SELF_EVIDENT = (Verdict.RELEASE, Verdict.REJECT)


class CuppingIn(Asked):
    verdict: Verdict
    reason: Why | None = None
    """Why; `release` and `reject` need none."""
    score: Score | None = None
    notes: Note | None = None
    cuppers: (
        Annotated[list[Name], Field(min_length=1, max_length=20), AfterValidator(_each_once)] | None
    ) = None
    """Who tasted; whoever is signed in when left out."""
    at_most_milli: PercentIn | None = Field(default=None, alias="at_most_pct")
    """Of `blend_in`: how much of a blend it may be; the roastery's own when left out."""
    cupped_at: MomentIn | None = None

    @model_validator(mode="after")
    def _says_why(self) -> Self:
        if self.reason is None and self.verdict not in _SELF_EVIDENT:
            raise MemberError("reason", f"{self.verdict} needs a reason")
        if self.at_most_milli is not None and self.verdict is not Verdict.BLEND_IN:
            raise MemberError("at_most_pct", f"it is for blending in, not for {self.verdict}")
        if self.at_most_milli == 0:
            raise MemberError(
                "at_most_pct", "0 lets nothing be blended in: rework, scrap or reject"
            )
        return self


class CuppingOut(Told):
    id: int
    roast: str
    verdict: Verdict
    disposition: Disposition
    reason: str | None
    at_most_milli: MilliOut | None = Field(alias="at_most_pct")
    scrapped_g: KgOut | None = Field(alias="scrapped_kg")
    """What `scrap` booked off as destroyed; null for the other verdicts."""
    score: NumberOut | None
    notes: str | None
    cuppers: list[str]
    cupped_at: MomentOut
    cupped_by: str
    voided: bool = False
    void_reason: str | None = None


class ReleaseOut(HoldOut):
    """A hold that has ended."""

    open_steps: dict[str, list[Step]] | None = None
    """Of an arrival's hold: what was still to be done with each lot; null for other holds."""
