"""What the API reads and answers about certificates and claims."""

from datetime import date
from typing import Annotated, ClassVar, Self

from pydantic import BeforeValidator, StringConstraints, model_validator

from app.green.certificates.rules import Lack
from app.ledger.cards import CardOut
from app.ledger.schemas import Asked, Change, Name, Note, Told, Why
from app.ledger.tables import UnitKind
from app.shared.codes import PlaceCode, as_typed
from app.shared.times import Day, MomentOut


def _folded(value: object) -> object:
    return value.strip().lower() if isinstance(value, str) and value.isascii() else value


Claim = Annotated[
    str,
    BeforeValidator(_folded),
    StringConstraints(pattern=r"^[a-z0-9][a-z0-9-]{0,39}$"),
    as_typed("[A-Za-z0-9][A-Za-z0-9-]{0,39}"),
]
"""A short key, whatever its capitals."""


class CertificateIn(Asked):
    code: PlaceCode
    scheme: Name
    claim: Claim
    number: Name
    holder: Name | None = None
    body: Name | None = None
    valid_from: Day
    valid_until: Day | None = None
    withdrawn_on: Day | None = None

    @model_validator(mode="after")
    def _valid_for_a_day(self) -> Self:
        if self.valid_until is not None and self.valid_until < self.valid_from:
            raise ValueError("valid_until is earlier than valid_from")
        return self


class CertificateChange(Change):
    """A correction, a withdrawal. Code and claim stay: another claim is another certificate."""

    never_null: ClassVar[frozenset[str]] = frozenset({"scheme", "number", "valid_from"})

    scheme: Name | None = None
    number: Name | None = None
    holder: Name | None = None
    body: Name | None = None
    valid_from: Day | None = None
    valid_until: Day | None = None
    withdrawn_on: Day | None = None


class CertificateOut(CardOut):
    code: str
    scheme: str
    claim: str
    number: str
    holder: str | None
    body: str | None
    valid_from: date
    valid_until: date | None
    withdrawn_on: date | None


class LotCertificateIn(Asked):
    certificate: PlaceCode
    transaction: Name | None = None
    """Number of the consignment's own paper."""
    note: Note | None = None


class WithdrawIn(Asked):
    reason: Why


class LotCertificateOut(Told):
    id: int
    lot: str
    certificate: str
    claim: str
    transaction: str | None
    note: str | None
    recorded_at: MomentOut
    recorded_by: str
    withdrawn_at: MomentOut | None
    withdrawn_by: str | None
    withdrawn_because: str | None


class LackingOut(Told):
    lot: str
    lack: Lack
    certificate: str | None
    why: str


class HoldingOut(Told):
    """A certificate that was valid when these lots were received."""

    certificate: str
    scheme: str
    number: str
    body: str | None
    lots: list[str]


class ClaimOut(Told):
    claim: str
    carried: bool
    """True only while every lot behind the unit carries it."""
    because: list[LackingOut]
    """The lots that do not, and why."""
    certificates: list[HoldingOut]


class ClaimedUnit(Told):
    code: str
    kind: UnitKind


class ClaimsOut(Told):
    of: ClaimedUnit
    lots: list[str]
    """Every lot behind the unit, oldest first."""
    carried: list[str]
    claims: list[ClaimOut]
    """Of every claim seen at any of them."""
    caution: str
