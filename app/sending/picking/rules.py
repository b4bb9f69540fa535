"""Choosing bags: the oldest best-before first, bags without one last, then the oldest packed.

First expired, first out is our own rule; whoever knows better says so with a reason. A best-before
speaks of quality: bags past it are left out of a suggestion and named apart, and nothing here says
what may still be done with them.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from enum import StrEnum
from typing import NamedTuple


class WhyNot(StrEnum):
    """Why bags are not suggested."""

    HELD = "held"
    WEIGHT_REJECTED = "weight_rejected"
    """Their newest check of weight was rejected, and nobody held and released them for it."""
    KEPT = "kept"
    """All of them are kept for other picks."""
    PAST_BEST_BEFORE = "past_best_before"


class PickState(StrEnum):
    """Where a pick is in its life."""

    OPEN = "open"
    DISPATCHED = "dispatched"
    CANCELLED = "cancelled"
    LAPSED = "lapsed"
    """Its time has passed: the bags are anybody's."""


class Stock(NamedTuple):
    """Bags of one unit that are left."""

    id: int
    code: str
    product_id: int
    sku: str
    nominal_g: int
    lot_mark: str
    best_before: date | None
    packed_at: datetime
    left: int
    kept: int
    """For other picks."""
    in_cases: int
    held: bool
    weight_rejected: bool

    @property
    def free(self) -> int:
        return max(self.left - self.kept, 0)


class Taken(NamedTuple):
    """So many bags of one unit."""

    stock: Stock
    bags: int


class Short(NamedTuple):
    """A product of which there are too few."""

    product_id: int
    asked: int
    found: int


def why_not(stock: Stock, today: date) -> WhyNot | None:
    """Say why bags are not suggested, or None if they are."""
    if stock.held:
        return WhyNot.HELD
    if stock.weight_rejected:
        return WhyNot.WEIGHT_REJECTED
    if is_past(stock, today):
        return WhyNot.PAST_BEST_BEFORE
    return WhyNot.KEPT if stock.free == 0 else None


def is_past(stock: Stock, today: date) -> bool:
    """Tell whether the best-before is over: the day itself still counts."""
    return stock.best_before is not None and stock.best_before < today


def _urgency(stock: Stock) -> tuple[bool, date, datetime, int]:
    undated = stock.best_before is None
    return undated, stock.best_before or date.max, stock.packed_at, stock.id


def suggest(
    stocks: Iterable[Stock], wanted: Mapping[int, int], today: date
) -> tuple[list[Taken], list[Short]]:
    """Take as many bags of each product as are wanted, or all there are, and say what is short."""
    usable: dict[int, list[Stock]] = {}
    for stock in sorted(stocks, key=_urgency):
        if why_not(stock, today) is None:
            usable.setdefault(stock.product_id, []).append(stock)
    taken: list[Taken] = []
    short: list[Short] = []
    for product_id, bags in wanted.items():
        some = _take(usable.get(product_id, []), bags)
        taken += some
        found = sum(each.bags for each in some)
        if found < bags:
            short.append(Short(product_id, bags, found))
    return taken, short


def _take(stocks: Sequence[Stock], bags: int) -> list[Taken]:
    taken, missing = [], bags
    for stock in stocks:
        if missing == 0:
            break
        some = min(missing, stock.free)
        taken.append(Taken(stock, some))
        missing -= some
    return taken


def state_of(kept_until: datetime, now: datetime, *, ended: bool, sent: bool) -> PickState:
    """Tell where a pick is in its life."""
    if ended:
        return PickState.DISPATCHED if sent else PickState.CANCELLED
    return PickState.OPEN if kept_until > now else PickState.LAPSED
