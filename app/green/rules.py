"""Arithmetic about green coffee: what a lot's stock is."""

from collections.abc import Iterable
from typing import NamedTuple


class Stock(NamedTuple):
    """What is left of a lot: on hand is available, held and reserved together."""

    on_hand_g: int
    available_g: int
    """Not held and not promised to anything."""
    sacks_on_hand: int
    held_g: int
    reserved_g: int
    """Promised, and there to be drawn."""
    reserved_short_g: int
    """Promised, and not there any more, or held since."""


def stock_of(sacks: Iterable[tuple[int, bool]], *, lot_held: bool, reserved_g: int = 0) -> Stock:
    """Add up a lot's sacks, each as grams left and whether it is held itself."""
    there = [(left_g, held) for left_g, held in sacks if left_g > 0]
    on_hand_g = sum(left_g for left_g, _ in there)
    free_g = 0 if lot_held else sum(left_g for left_g, held in there if not held)
    kept_g = min(reserved_g, free_g)
    return Stock(
        on_hand_g, free_g - kept_g, len(there), on_hand_g - free_g, kept_g, reserved_g - kept_g
    )
