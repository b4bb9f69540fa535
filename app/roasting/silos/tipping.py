"""Tipping what was roasted or blended into a place."""

from app.ledger.posting import Birth, Pen
from app.places.actions import locate, place


def place_id(pen: Pen, code: str | None) -> int | None:
    """Find the place that a body names as `to`, if it names one."""
    return None if code is None else locate(pen, code, "#/to").id


def tip(pen: Pen, entry_id: int, born: Birth) -> None:
    """Record where coffee that is in the book already was tipped.

    Raises:
        Refused: `over-capacity` where the place, or one it is part of, would carry too much.
    """
    if born.location_id is not None:
        place(pen, entry_id, [born.id], born.location_id)
