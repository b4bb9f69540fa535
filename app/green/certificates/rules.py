"""Which claims lots carry, and which of them survive in what was made of the lots.

A claim survives only while every lot carries it, however small its part (our rule). A lot carries
it when a certificate on record for it was valid on the day the lot was received (our rule: the
status on the day of the movement); a certificate withdrawn on that day or before is not.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import NamedTuple


class Lack(StrEnum):
    """Why a lot does not carry a claim."""

    NONE_ON_RECORD = "none_on_record"
    NOT_YET_VALID = "not_yet_valid"
    EXPIRED = "expired"
    WITHDRAWN = "withdrawn"
    TAKEN_BACK = "taken_back"
    """From the lot: it had been put on record for it by mistake."""


class OnRecord(NamedTuple):
    """A certificate that was put on record for a lot."""

    certificate: str
    scheme: str
    claim: str
    number: str
    body: str | None
    valid_from: date
    valid_until: date | None
    withdrawn_on: date | None
    taken_back: str | None
    """The reason for which it was taken back from the lot."""


@dataclass(frozen=True)
class Certified:
    """A lot with all that was ever put on record for it."""

    lot: str
    received_on: date
    on_record: Sequence[OnRecord] = ()


class Lacking(NamedTuple):
    """Why one lot does not carry a claim."""

    lot: str
    lack: Lack
    certificate: str | None
    why: str


@dataclass(frozen=True)
class Judged:
    """A claim that some lot behind a unit carries or was to carry."""

    claim: str
    lacking: list[Lacking] = field(default_factory=list)
    certificates: dict[tuple[str, str, str, str | None], list[str]] = field(default_factory=dict)
    """Certificates that hold (code, scheme, number, body), with the lots they hold for."""

    @property
    def carried(self) -> bool:
        return not self.lacking


def lack_of(each: OnRecord, day: date) -> tuple[Lack, str] | None:
    """Say why a certificate does not hold on a day, or None where it does."""
    if each.taken_back is not None:
        return Lack.TAKEN_BACK, f"{each.certificate} taken back: {each.taken_back}"
    if each.withdrawn_on is not None and each.withdrawn_on <= day:
        return Lack.WITHDRAWN, f"{each.certificate} withdrawn {each.withdrawn_on}"
    if day < each.valid_from:
        return Lack.NOT_YET_VALID, f"{each.certificate} valid from {each.valid_from}"
    if each.valid_until is not None and each.valid_until < day:
        return Lack.EXPIRED, f"{each.certificate} expired {each.valid_until}"
    return None


def claims_of(lot: Certified) -> set[str]:
    """Name the claims that a lot carries."""
    return {each.claim for each in lot.on_record if lack_of(each, lot.received_on) is None}


def judge(lots: Iterable[Certified]) -> list[Judged]:
    """Judge every claim seen at any of these lots, by its name."""
    behind = list(lots)
    seen = sorted({each.claim for lot in behind for each in lot.on_record})
    return [_judge(claim, behind) for claim in seen]


def _judge(claim: str, lots: Iterable[Certified]) -> Judged:
    judged = Judged(claim)
    for lot in lots:
        of_claim = [each for each in lot.on_record if each.claim == claim]
        lacks = [(each, lack_of(each, lot.received_on)) for each in of_claim]
        for each in (each for each, lack in lacks if lack is None):
            known = (each.certificate, each.scheme, each.number, each.body)
            named = judged.certificates.setdefault(known, [])
            if lot.lot not in named:
                named.append(lot.lot)
        if not of_claim:
            judged.lacking.append(
                Lacking(lot.lot, Lack.NONE_ON_RECORD, None, "no certificate on record")
            )
        elif all(lack is not None for _, lack in lacks):
            judged.lacking.extend(
                Lacking(lot.lot, lack[0], each.certificate, lack[1]) for each, lack in lacks if lack
            )
    return judged
