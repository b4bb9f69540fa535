"""Arithmetic of cost: money by currency, stock that is priced in one of three ways, ABC.

Everything is an exact fraction until it is shown. Amounts of different currencies are never added:
money is kept by currency, and what has no price is carried along beside it in grams of green, so
that a figure never looks whole when it is not.

Of the cost formulas of IAS 2, Inventories (paragraphs 23 to 27), all three are kept: specific
identification, first in first out, and the weighted average, here the moving one.
"""

from collections import deque
from collections.abc import Mapping, Sequence
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import Final, NamedTuple, TypeAlias

from app.standards.buying import POUND_KG, PriceUnit

UNPRICED: Final = ""
"""In the place of a currency: grams of green that nobody put a price to."""

Money: TypeAlias = Mapping[str, Fraction]
"""Amounts by currency (ISO 4217)."""


class CostMethod(StrEnum):
    """How green that is drawn is priced."""

    SPECIFIC = "specific"
    """At what the very lot cost that it came out of."""
    FIFO = "fifo"
    """As if what came first went first."""
    MOVING_AVERAGE = "moving_average"
    """At the average of what is there, worked out anew whenever something comes."""


class CostKind(StrEnum):
    """What a cost is for: the elements of landed cost."""

    PURCHASE = "purchase"
    FREIGHT = "freight"
    INSURANCE = "insurance"
    DUTY = "duty"
    PORT = "port"
    """Duty apart, what the port and the terminal charge."""
    CUSTOMS_AGENT = "customs_agent"
    HAULAGE = "haulage"
    """From the port to the house."""
    INSPECTION = "inspection"
    FINANCE = "finance"
    STORAGE = "storage"
    """Until the coffee can be had."""
    OTHER = "other"
    CLAIM = "claim"
    """What the supplier or an insurer gave back: it lowers the cost."""


def added(*some: Money) -> Money:
    """Add money, currency by currency."""
    whole: dict[str, Fraction] = {}
    for money in some:
        for currency, amount in money.items():
            whole[currency] = whole.get(currency, Fraction()) + amount
    return whole


def times(money: Money, factor: Fraction | int) -> Money:
    """Multiply every amount."""
    return {currency: amount * factor for currency, amount in money.items()}


def per_gram(price: Decimal, unit: PriceUnit) -> Fraction:
    """Convert a price for a kilogram or a pound, exactly."""
    return Fraction(price) / 1000 / (POUND_KG if unit is PriceUnit.LB else 1)


def shown(exact: Fraction, decimals: int) -> Decimal:
    """Round once, half to even, for showing."""
    return Decimal(round(exact * 10**decimals)).scaleb(-decimals)


class Pool:
    """Green that is priced together, in the order in which it came."""

    def __init__(self, *, average: bool) -> None:
        self._average = average
        self._layers: deque[tuple[int, Money]] = deque()
        self._owed_g = 0
        """Drawn beyond what was there by then; such a draw was priced by its own lot."""

    @property
    def grams(self) -> int:
        """What is there."""
        return sum(grams for grams, _ in self._layers)

    @property
    def money(self) -> Money:
        """What that cost."""
        return added(*(times(each, grams) for grams, each in self._layers))

    def receive(self, grams: int, money: Money) -> None:
        """Take in what came, with what all of it cost."""
        if self._average and self._layers:
            money = added(money, self.money)
            grams += self.grams
            self._layers.clear()
        if grams:
            self._layers.append((grams, times(money, Fraction(1, grams))))

    def draw(self, grams: int, own: Money) -> Money:
        """Price what goes; `own` is what a gram of its lot cost, for more than is there."""
        cost: list[Money] = []
        while grams and self._layers:
            there, each = self._layers.popleft()
            taken = min(grams, there)
            cost.append(times(each, taken))
            grams -= taken
            if there > taken:
                self._layers.appendleft((there - taken, each))
        self._owed_g += grams
        return added(*cost, times(own, grams))

    def find(self, grams: int, own: Money) -> Money:
        """Take back in what turned out to be there after all, at what the next draw would cost."""
        settled = min(grams, self._owed_g)
        self._owed_g -= settled
        grams -= settled
        each = own
        if self._layers:
            there, each = self._layers.popleft()
            self._layers.appendleft((there + grams, each))
        elif grams:
            self._layers.append((grams, own))
        return added(times(own, settled), times(each, grams))


class Ranked(NamedTuple):
    """One of those that were sorted by value."""

    key: str
    value: Fraction
    cumulative: Fraction
    """Its share of the whole with all those before it, in per cent."""
    letter: str


def abc(values: Mapping[str, Fraction], cuts: Sequence[Decimal | int] = (80, 95)) -> list[Ranked]:
    """Sort by value and part into A, B and C where the shares added up pass the cuts.

    What is first is A however much it is, and what has no value is left out.
    """
    whole = sum(values.values(), Fraction())
    ranked: list[Ranked] = []
    running = Fraction()
    for key, value in sorted(values.items(), key=lambda each: (-each[1], each[0])):
        if value <= 0:
            continue
        running += value
        share = running * 100 / whole
        passed = sum(share > Fraction(cut) for cut in cuts)
        ranked.append(Ranked(key, value, share, "ABC"[passed] if ranked else "A"))
    return ranked
