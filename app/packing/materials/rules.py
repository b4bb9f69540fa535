"""Arithmetic of packing materials: what a pack used of a lot, in thousandths of a unit."""

from decimal import Decimal
from typing import NamedTuple

from app.shared.shares import plain

ONE = 1000
"""A whole piece or metre, in thousandths."""

PIECE = "piece"


class Said(NamedTuple):
    """What was said about the use of one lot; None where nothing was."""

    used: int | None = None
    issued: int | None = None
    spoiled: int | None = None
    returned: int | None = None


class Used(NamedTuple):
    """What a pack took of one lot."""

    used: int
    issued: int | None
    spoiled: int
    returned: int | None

    @property
    def gone(self) -> int:
        """So much less is left of the lot."""
        return self.used + self.spoiled


class WrongUseError(ValueError):
    """What was said about the use of a lot cannot be, and which member says so."""

    def __init__(self, member: str, detail: str) -> None:
        super().__init__(detail)
        self.member = member


def number(thousandths: int) -> Decimal:
    """Write thousandths as the number they are: 12500 is 12.5."""
    return plain(Decimal(thousandths).scaleb(-3))


def said(thousandths: int) -> str:
    """Write thousandths for a sentence: 12500 is 12.5 and 12000 is 12."""
    return f"{(Decimal(thousandths).scaleb(-3)).normalize():f}"


def settle(use: Said, unit: str, usual: int | None) -> Used:
    """Find what was used; `usual` is taken where pieces are not said to be more or fewer.

    Raises:
        WrongUseError: where nothing says how much, where a piece is broken, or where what was
            issued is not what was used, spoiled and brought back.
    """
    if unit == PIECE:
        _refuse_broken(use)
    if use.returned is not None and use.issued is None:
        raise WrongUseError("returned", "what came back goes with what was issued")
    spoiled, returned = use.spoiled or 0, use.returned or 0
    used = use.used
    if used is None and unit == PIECE:
        used = usual
    elif used is None and use.issued is not None:
        used = use.issued - spoiled - returned
    if used is None or used <= 0:
        raise WrongUseError("used", "say how much of it went into the bags")
    if use.issued is not None:
        _refuse_difference(use.issued, used, spoiled, returned)
    return Used(used, use.issued, spoiled, use.returned)


def _refuse_broken(use: Said) -> None:
    for member, thousandths in use._asdict().items():
        if thousandths is not None and thousandths % ONE:
            raise WrongUseError(member, f"{said(thousandths)} is no whole number of pieces")


def _refuse_difference(issued: int, used: int, spoiled: int, returned: int) -> None:
    difference = issued - used - spoiled - returned
    if difference:
        raise WrongUseError(
            "issued",
            f"{said(issued)} issued is not {said(used)} used + {said(spoiled)} spoiled + "
            f"{said(returned)} returned: {said(abs(difference))} "
            f"{'missing' if difference > 0 else 'too many'}",
        )
