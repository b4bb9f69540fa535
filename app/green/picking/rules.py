"""Choosing sacks: part sacks first, then the oldest crop, the oldest arrival, the lowest number.

First expired, first out within a family of like lots is our own rule; whoever knows better says so
with a reason.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime
from enum import StrEnum
from typing import NamedTuple

from app.standards.crop_years import CropYears


class LeftOut(StrEnum):
    """Why a sack is not suggested."""

    VOIDED = "voided"
    EMPTY = "empty"
    HELD = "held"
    EXTERNAL = "external"
    """It stands outside the house."""


class Choice(NamedTuple):
    """A sack of the lots that were named."""

    id: int
    code: str
    lot: str
    number: int
    place_id: int | None
    place: str | None
    left_g: int
    drawn: bool
    """Whether coffee was drawn from it: a sample or a correction makes no part sack."""
    crop: CropYears | None
    arrived_at: datetime
    voided: bool
    held: bool
    external: bool


class Draw(NamedTuple):
    """So much out of a sack."""

    sack: Choice
    grams: int


def why_left_out(sack: Choice) -> LeftOut | None:
    """Say why a sack cannot be drawn from, or None if it can."""
    if sack.voided:
        return LeftOut.VOIDED
    if sack.left_g == 0:
        return LeftOut.EMPTY
    if sack.held:
        return LeftOut.HELD
    return LeftOut.EXTERNAL if sack.external else None


def in_order(sacks: Iterable[Choice]) -> list[Choice]:
    """Put sacks that can be drawn from in the order in which they are to be used."""
    return sorted((sack for sack in sacks if why_left_out(sack) is None), key=_urgency)


def _urgency(sack: Choice) -> tuple[bool, bool, CropYears, datetime, int, int]:
    crop = sack.crop or CropYears(0, 0)
    return not sack.drawn, sack.crop is None, crop, sack.arrived_at, sack.number, sack.id


def suggest(sacks: Sequence[Choice], grams: int) -> list[Draw]:
    """Draw as much as was asked, or all there is: each sack to its bottom before the next."""
    draws, missing = [], grams
    for sack in in_order(sacks):
        if missing == 0:
            break
        drawn = min(missing, sack.left_g)
        draws.append(Draw(sack, drawn))
        missing -= drawn
    return draws
