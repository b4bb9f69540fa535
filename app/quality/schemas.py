"""What the API reads and answers about cuppings."""

from decimal import Decimal
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from app.ledger.schemas import Asked, Note, Told
from app.quality.tables import Verdict
from app.shared.times import MomentIn, MomentOut


def _score(value: object) -> Decimal:
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        raise ValueError("a score is a JSON number")  # noqa: TRY004 - Pydantic turns it into a 422
    return Decimal(value)


Score = Annotated[
    Decimal, BeforeValidator(_score), Field(ge=0, le=100, decimal_places=3),
    WithJsonSchema({"type": "number", "minimum": 0, "maximum": 100}),
]  # fmt: skip


class CuppingIn(Asked):
    verdict: Verdict
    score: Score | None = None
    notes: Note | None = None
    cupped_at: MomentIn | None = None


class CuppingOut(Told):
    roast: str
    verdict: Verdict
    disposition: Literal["released", "rejected"]
    score: Annotated[Decimal, WithJsonSchema({"type": "number"})] | None
    notes: str | None
    cupped_at: MomentOut
    cupped_by: str
