"""Filling charges from slots: which lots each batch is made of."""

from collections import Counter
from collections.abc import MutableMapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from app.shared.mass import Grams, share_out


class Slot(NamedTuple):
    """A part of a charge and the lots it is taken from, the first as long as it lasts."""

    share_milli: int
    lots: Sequence[str]


@dataclass
class Filled:
    """What a batch takes of each lot, and what no lot has for it."""

    green: Counter[str] = field(default_factory=Counter)
    short_g: int = 0


def fill(slots: Sequence[Slot], charge_g: int, free: MutableMapping[str, int]) -> Filled:
    """Fill one charge and take it off what is free."""
    filled = Filled()
    for slot, grams in zip(
        slots, share_out(Grams(charge_g), [slot.share_milli for slot in slots]), strict=True
    ):
        missing: int = grams
        for lot in slot.lots:
            taken = min(missing, free.get(lot, 0))
            if taken > 0:
                filled.green[lot] += taken
                free[lot] -= taken
                missing -= taken
        filled.short_g += missing
    return filled
