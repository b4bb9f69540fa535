"""Arithmetic about green coffee: what a lot's stock is."""

from collections.abc import Iterable
from typing import NamedTuple


class Stock(NamedTuple):
    """What is left of a lot."""

    on_hand_g: int
    available_g: int
    sacks_on_hand: int


def stock_of(sacks: Iterable[tuple[int, bool]], *, lot_held: bool) -> Stock:
    """Add up a lot's sacks, each as grams left and whether it is held itself."""
    there = [(left_g, held) for left_g, held in sacks if left_g > 0]
    on_hand_g = sum(left_g for left_g, _ in there)
    free_g = 0 if lot_held else sum(left_g for left_g, held in there if not held)
    return Stock(on_hand_g, free_g, len(there))
