"""What the API reads and answers about scanned texts."""

from datetime import date
from typing import Annotated

from pydantic import StringConstraints

from app.ledger.schemas import Asked, Told
from app.scans.rules import ScanKind
from app.shared.numbers import NumberOut

LONGEST = 4300
"""A little more than the largest QR code holds (ISO/IEC 18004: 4296 characters, from memory)."""


class ScanIn(Asked):
    text: Annotated[str, StringConstraints(min_length=1, max_length=LONGEST)]
    """As the scanner sent it, with everything around."""


class Said(Told):
    """What one application identifier, or one part of a mark, says."""

    title: str
    value: str
    """As it stands in the code."""
    day: date | None = None
    """Of a date; where its day was left open, the last of its month."""
    day_is_open: bool | None = None
    amount: NumberOut | None = None
    """Of a weight, a measure or a price: the title names what it is in."""


class FoundOut(Told):
    """Something here that the text names."""

    kind: str
    """`lot`, `sack`, `roast`, `blend`, `pack`, `dispatch`, `return`, `location`, `machine`,
    `product`, `instrument`, `delivery` or `certificate`; others may come."""
    code: str
    name: str | None = None
    voided: bool = False


class ScanOut(Told):
    text: str
    """Without the spaces, line ends and control characters around it."""
    kind: ScanKind
    read_as: str
    """A code in capitals, element strings in brackets, a mark as it is meant to be printed."""
    says: dict[str, Said]
    """By application identifier; of an ICO mark by `country`, `exporter` and `serial`."""
    found: list[FoundOut]
    """Usually one; more where the text names several, all of them."""
    why_not: str | None = None
    """Why nothing, or nothing more, was found."""
