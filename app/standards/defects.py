"""Full defects: what a count of faulty beans comes to, by kind and by both roundings."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from enum import StrEnum
from fractions import Fraction
from typing import NamedTuple

EQUIVALENTS_SOURCE = "SCA, Washed arabica green coffee defect poster (2018)"


class DefectKind(StrEnum):
    """A kind of faulty bean. A bean with two faults counts once, under the worse one."""

    FULL_BLACK = "full_black"
    FULL_SOUR = "full_sour"
    DRIED_CHERRY = "dried_cherry"
    """Dried cherry or pod."""
    FUNGUS = "fungus"
    FOREIGN_MATTER = "foreign_matter"
    SEVERE_INSECT = "severe_insect"
    PARTIAL_BLACK = "partial_black"
    PARTIAL_SOUR = "partial_sour"
    PARCHMENT = "parchment"
    FLOATER = "floater"
    IMMATURE = "immature"
    WITHERED = "withered"
    SHELL = "shell"
    BROKEN = "broken"
    """Broken, chipped or cut."""
    HULL = "hull"
    """Hull or husk."""
    SLIGHT_INSECT = "slight_insect"


CATEGORY_1: Mapping[DefectKind, int] = {
    DefectKind.FULL_BLACK: 1,
    DefectKind.FULL_SOUR: 1,
    DefectKind.DRIED_CHERRY: 1,
    DefectKind.FUNGUS: 1,
    DefectKind.FOREIGN_MATTER: 1,
    DefectKind.SEVERE_INSECT: 5,
}
"""How many faulty beans make one full defect of the serious category (`EQUIVALENTS_SOURCE`)."""
CATEGORY_2: Mapping[DefectKind, int] = {
    DefectKind.PARTIAL_BLACK: 3,
    DefectKind.PARTIAL_SOUR: 3,
    DefectKind.PARCHMENT: 5,
    DefectKind.FLOATER: 5,
    DefectKind.IMMATURE: 5,
    DefectKind.WITHERED: 5,
    DefectKind.SHELL: 5,
    DefectKind.BROKEN: 5,
    DefectKind.HULL: 5,
    DefectKind.SLIGHT_INSECT: 10,
}
"""The same of the lesser category."""


class Rounding(StrEnum):
    """What becomes of faulty beans that make no whole full defect."""

    FLOOR = "floor"
    """Each kind is rounded down by itself: leftovers do not count."""
    EXACT = "exact"
    """Parts of a full defect count as parts."""


class Tally(NamedTuple):
    """Full defects by both roundings."""

    floor: int
    exact: Fraction

    def by(self, rounding: Rounding) -> Fraction:
        """Pick one."""
        return self.exact if rounding is Rounding.EXACT else Fraction(self.floor)

    def plus(self, other: "Tally") -> "Tally":
        return Tally(self.floor + other.floor, self.exact + other.exact)


NOTHING = Tally(0, Fraction())


class DefectLine(NamedTuple):
    """One kind of faulty beans."""

    kind: DefectKind
    category: int
    beans: int
    equivalent: int
    full: Tally


@dataclass(frozen=True)
class FullDefects:
    """What a count comes to."""

    category_1: Tally
    category_2: Tally
    table: str
    """Whose equivalents they were counted with."""
    lines: tuple[DefectLine, ...] | None = None
    """The count kind by kind; None where only its sums are known."""

    @property
    def total(self) -> Tally:
        return self.category_1.plus(self.category_2)


def figure(number: Fraction) -> Decimal:
    """Write a tally as a decimal, to three places where it goes on for ever.

    Equivalents divide by 3, 5 and 10, so two tallies that differ do so by a thirtieth or more,
    and three places never make them look alike.
    """
    exact = Decimal(number.numerator) / Decimal(number.denominator)
    return exact.quantize(Decimal("0.001"), ROUND_HALF_EVEN).normalize() + Decimal(0)


def count(beans: Mapping[DefectKind, int]) -> FullDefects:
    """Turn faulty beans by kind into full defects, by both roundings."""
    lines = tuple(_lines(beans))
    tallies = {1: NOTHING, 2: NOTHING}
    for line in lines:
        tallies[line.category] = tallies[line.category].plus(line.full)
    return FullDefects(tallies[1], tallies[2], EQUIVALENTS_SOURCE, lines)


def _lines(beans: Mapping[DefectKind, int]) -> Iterator[DefectLine]:
    for category, table in ((1, CATEGORY_1), (2, CATEGORY_2)):
        for kind, equivalent in table.items():
            if kind in beans:
                number = beans[kind]
                full = Tally(number // equivalent, Fraction(number, equivalent))
                yield DefectLine(kind, category, number, equivalent, full)


def counted_elsewhere(category_1: int, category_2: int, table: str) -> FullDefects:
    """Take over full defects as somebody else counted them."""
    serious, lesser = (Tally(number, Fraction(number)) for number in (category_1, category_2))
    return FullDefects(serious, lesser, table)
