"""What the API reads and answers about cases and pallets."""

from datetime import date
from typing import Annotated

from pydantic import AfterValidator, Field

from app.ledger.schemas import Asked, Note, Told, Why
from app.sending.cases.naming import NewCaseCode
from app.sending.cases.rules import CaseState
from app.sending.cases.tables import CaseKind
from app.sending.schemas import SentLine, no_line_twice
from app.shared.mass import KgOut
from app.shared.times import MomentIn, MomentOut

Contents = Annotated[
    list[SentLine], Field(min_length=1, max_length=500), AfterValidator(no_line_twice)
]


class CaseIn(Asked):
    code: NewCaseCode | None = None
    kind: CaseKind = CaseKind.CASE
    contents: Contents
    packed_at: MomentIn | None = None
    note: Note | None = None


class CaseAddition(Asked):
    contents: Contents
    packed_at: MomentIn | None = None


class TakenOut(Asked):
    contents: Contents | None = None
    """Left out for all that is in it."""
    taken_out_at: MomentIn | None = None
    reason: Why | None = None


class CasedBags(Told):
    """Bags of one pack in a case."""

    pack: str
    product: str
    lot_mark: str
    best_before: date | None
    bags: int
    grams: KgOut = Field(alias="kg")


class InnerCase(Told):
    """A case on a pallet."""

    code: str
    kind: CaseKind
    bags: int
    grams: KgOut = Field(alias="kg")


class CaseBrief(Told):
    code: str
    kind: CaseKind
    state: CaseState
    """`here`, `sent` with a dispatch, or `apart`: nothing is in it any more."""
    bags: int
    """With what is in the cases on it."""
    grams: KgOut = Field(alias="kg")
    """Net: the coffee alone."""
    pallet: str | None
    """The pallet it stands on."""
    dispatch: str | None
    """The dispatch it left with."""
    packed_at: MomentOut
    packed_by: str


class CaseOut(CaseBrief):
    at: MomentOut | None
    """The time that was asked for; null for now."""
    contents: list[CasedBags]
    cases: list[InnerCase]
    note: str | None
    caution: str | None
