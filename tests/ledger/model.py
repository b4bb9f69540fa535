"""A book small enough to be read at a glance: what the real one must accept, refuse and hold.

It knows nothing of entries, flows or databases, only of units in a dictionary. Where one request
breaks several rules any of their refusals will do, so a prediction is the set of them.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, field

EMPTIED_TOLERANCE_PCT = 2
ROASTER_CAPACITY_G = 20_000
BAG_G = 250


@dataclass
class Thing:
    """One unit."""

    kind: str
    made_g: int
    left_g: int
    parts: Counter[str] = field(default_factory=Counter)
    """What it was made from."""
    booked: Counter[str] = field(default_factory=Counter)
    """What its own entry added to or took off other units besides."""
    born_with: tuple[str, ...] = ()
    """Units that are voided with it."""
    place: str | None = None
    disposition: str = "passed"
    voided: bool = False
    bags: Counter[str] = field(default_factory=Counter)
    """Of a dispatch: bags of each pack that are still out."""
    sent_in: str | None = None
    """Of a return: the dispatch it came back from."""
    born: int = 0
    """Which of all that was taken down it was."""
    own_hold: int | None = None
    """The hold that its own entry placed."""


@dataclass
class Adjusted:
    """An adjustment that somebody booked by itself."""

    code: str
    grams: int
    taken: int
    """Which of all that was taken down it was."""
    reversed: bool = False


@dataclass
class Line:
    """A sack that was counted."""

    counted_g: int
    book_g: int
    taken: int
    """Which of all that was taken down it was."""
    outdated: bool = False
    """Whether the book learnt since that it was wrong then."""


@dataclass
class Paper:
    """A stock count that nobody has decided on."""

    lines: dict[str, Line] = field(default_factory=dict)
    closed: bool = False


@dataclass
class Model:
    """Every unit by its code, and every hold by its number."""

    units: dict[str, Thing] = field(default_factory=dict)
    holds: dict[int, tuple[str, ...]] = field(default_factory=dict)
    released: set[int] = field(default_factory=set)
    papers: dict[int, Paper] = field(default_factory=dict)
    by_hand: dict[int, Adjusted] = field(default_factory=dict)
    """Adjustments by their number."""
    given: Counter[str] = field(default_factory=Counter)
    """What the unit that is being replaced has given back."""
    taken: int = 0
    """How many units, lines and adjustments were taken down."""

    def of(self, *kinds: str) -> list[str]:
        """Name the units of these kinds, voided ones too."""
        return [code for code, unit in self.units.items() if unit.kind in kinds]

    def open_holds(self) -> list[int]:
        return sorted(self.holds.keys() - self.released)

    def is_held(self, code: str) -> bool:
        """Tell whether a unit or the lot it came from has an open hold."""
        unit = self.units[code]
        watched = {code, *(part for part in unit.parts if self.units[part].kind == "lot")}
        return any(watched & set(self.holds[number]) for number in self.open_holds())

    def dependants(self, code: str) -> list[str]:
        """Name the live units made from a unit or from what would be voided with it."""
        doomed = self.doomed(code)
        return [
            other
            for other, unit in self.units.items()
            if not unit.voided and other not in doomed
            and (doomed & unit.parts.keys() or unit.sent_in in doomed)
        ]  # fmt: skip

    def made_from(self, code: str) -> list[str]:
        """Name all live units made from a unit at any remove, the youngest first."""
        doomed = self.doomed(code)
        found: set[str] = set()
        while True:
            reached = doomed | found
            more = {
                other for other, unit in self.units.items()
                if not unit.voided and other not in reached
                and (reached & unit.parts.keys() or unit.sent_in in reached)
            }  # fmt: skip
            if not more:
                return sorted(found, key=lambda each: -self.units[each].born)
            found |= more

    def doomed(self, code: str) -> set[str]:
        """Name what a void of this unit takes with it."""
        return {code, *self.units[code].born_with}

    def drawing(
        self, asked: Mapping[str, int], *kinds: str, drawn: Mapping[str, int] | None = None
    ) -> set[str]:
        """Predict the refusals of taking grams out of units of these kinds.

        `drawn` is what really comes out of them, where the book puts itself right besides.
        """
        refusals = set()
        for code, grams in asked.items():
            unit = self.units[code]
            if unit.kind not in kinds:
                refusals.add("wrong-kind")
            if unit.voided:
                refusals.add("voided")
            if self.is_held(code) and (drawn or asked)[code] > self.given[code]:
                refusals.add("on-hold")
            if grams > unit.left_g:
                refusals.add("insufficient-stock")
            if unit.disposition in {"set_aside", "rejected"}:
                refusals.add("not-released")
        return refusals

    def roasting(
        self, draws: Mapping[str, int], emptied: Collection[str], end_g: int
    ) -> tuple[set[str], Counter[str]]:
        """Predict the refusals of a roast, and what it adjusts of sacks that were used up."""
        refusals = self.drawing(
            {code: grams for code, grams in draws.items() if code not in emptied}, "sack"
        ) | self.drawing(dict.fromkeys(emptied, 0), "sack", drawn=draws)  # fmt: skip
        charge_g = sum(draws.values())
        if end_g > charge_g:
            refusals.add("mass-gained")
        if charge_g > ROASTER_CAPACITY_G:
            refusals.add("over-capacity")
        booked: Counter[str] = Counter()
        for code in emptied:
            sack = self.units[code]
            booked[code] = draws[code] - sack.left_g
            if abs(booked[code]) * 100 > EMPTIED_TOLERANCE_PCT * sack.made_g:
                refusals.add("emptied-beyond-tolerance")
        return refusals, booked

    def adjusting(self, code: str, grams: int) -> set[str]:
        unit = self.units[code]
        refusals = set()
        if unit.kind in {"lot", "dispatch"}:
            refusals.add("wrong-kind")
        if unit.voided:
            refusals.add("voided")
        if unit.left_g + grams < 0:
            refusals.add("insufficient-stock")
        return refusals

    def naming(self, code: str, kind: str) -> set[str]:
        """Predict the refusals of naming a unit where one of a kind is wanted."""
        unit = self.units[code]
        refusals = set() if unit.kind == kind else {"wrong-kind"}
        return refusals | {"voided"} if unit.voided else refusals

    def moving(self, codes: Iterable[str], place: str) -> set[str]:
        refusals = set()
        for code in codes:
            unit = self.units[code]
            if unit.kind in {"lot", "dispatch"}:
                refusals.add("wrong-kind")
            if unit.voided:
                refusals.add("voided")
            if unit.place == place:
                refusals.add("already-done")
        return refusals

    def cupping(self, code: str) -> set[str]:
        unit = self.units[code]
        refusals = set()
        if unit.kind != "roast":
            refusals.add("wrong-kind")
        if unit.voided:
            refusals.add("voided")
        if unit.disposition == "rejected":
            refusals.add("not-set-aside")
        return refusals

    def packing(self, parts: Mapping[str, int], bags: int) -> set[str]:
        refusals = self.drawing(parts, "roast", "blend")
        if bags * BAG_G > sum(parts.values()):
            refusals.add("mass-gained")
        return refusals

    def returning(self, dispatch: str, bags: Mapping[str, int]) -> set[str]:
        sent = self.units[dispatch]
        refusals = set()
        if sent.kind != "dispatch":
            refusals.add("wrong-kind")
        if sent.voided:
            refusals.add("voided")
        for pack, count in bags.items():
            unit = self.units[pack]
            if unit.kind not in {"pack", "return"} or pack not in sent.bags:
                refusals.add("wrong-kind")
            elif count > sent.bags[pack]:
                refusals.add("insufficient-stock")
            if unit.voided:
                refusals.add("voided")
        return refusals

    def voiding(self, code: str) -> set[str]:
        unit = self.units[code]
        refusals = set()
        if unit.voided or unit.kind == "sack":
            refusals.add("not-voidable")
        if self.dependants(code):
            refusals.add("has-dependants")
        if unit.kind == "lot" and any(
            self.units[sack].left_g != self.units[sack].made_g for sack in unit.born_with
        ):
            refusals.add("has-dependants")
        return refusals

    def voiding_with(self, code: str, named: Collection[str]) -> set[str]:
        unit = self.units[code]
        if unit.voided or unit.kind == "sack":
            return {"not-voidable"}
        if set(named) != set(self.made_from(code)):
            return {"has-dependants"}
        return self.without(*named).voiding(code)

    def correcting(self, code: str, kind: str) -> set[str]:
        """Predict the refusals of replacing a unit by another one of a kind."""
        refusals = self.naming(code, kind)
        return refusals | {"has-dependants"} if self.dependants(code) else refusals

    def unadjusting(self, number: int) -> set[str]:
        """Predict the refusals of taking an adjustment back."""
        adjusted = self.by_hand[number]
        unit = self.units[adjusted.code]
        refusals = {"already-done"} if adjusted.reversed else set()
        if unit.voided:
            refusals.add("voided")
        if unit.left_g - adjusted.grams < 0:
            refusals.add("insufficient-stock")
        return refusals

    def approving(self, number: int) -> set[str]:
        refusals = set()
        for code, line in self.papers[number].lines.items():
            unit, variance_g = self.units[code], line.counted_g - line.book_g
            if line.outdated:
                refusals.add("count-outdated")
            if unit.left_g + variance_g < 0:
                refusals.add("insufficient-stock")
            if unit.voided and variance_g:
                refusals.add("voided")
        return refusals

    def count(self, number: int, code: str, counted_g: int) -> None:
        self.taken += 1
        line = Line(counted_g, self.units[code].left_g, self.taken)
        self.papers[number].lines[code] = line

    def approve(self, number: int) -> None:
        for code, line in self.papers.pop(number).lines.items():
            if line.counted_g != line.book_g:
                self.adjust(code, line.counted_g - line.book_g)

    def adjust(self, code: str, grams: int) -> None:
        """Let somebody book what a count found."""
        self.taken += 1
        self.units[code].left_g += grams
        for line in self.lines_about(code):
            line.outdated = True

    def unadjust(self, number: int) -> None:
        adjusted = self.by_hand[number]
        adjusted.reversed = True
        self.units[adjusted.code].left_g -= adjusted.grams
        for line in self.lines_about(adjusted.code):
            line.outdated |= adjusted.taken < line.taken

    def without(self, *codes: str) -> "Model":
        """Imagine the book once these were voided, one after another."""
        imagined = deepcopy(self)
        for code in codes:
            imagined.given.update(
                {part: grams for each in self.doomed(code)
                 for part, grams in self.units[each].parts.items()}
            )  # fmt: skip
            imagined.void(code)
        return imagined

    def take_over(self, olds: Sequence[str], news: Sequence[str]) -> None:
        """Let what was booked in the place of others be held, stand and be rejected as they."""
        self.given.clear()
        for number, old in enumerate(olds):
            new = news[min(number, len(news) - 1)]
            was, unit = self.units[old], self.units[new]
            for hold in self.open_holds():
                if old in self.holds[hold] and hold != was.own_hold:
                    self.holds[hold] += (new,)
            if number < len(news):
                unit.place = was.place
            if was.disposition == "rejected":
                unit.disposition = "rejected"

    def lines_about(self, code: str) -> list[Line]:
        """Name the lines about a sack that wait to be booked."""
        return [paper.lines[code] for paper in self.papers.values() if code in paper.lines]

    def make(self, code: str, unit: Thing) -> None:
        """Let a unit be born out of its parts."""
        self.taken += 1
        unit.born = self.taken
        self.units[code] = unit
        for part, grams in unit.parts.items():
            self.units[part].left_g -= grams
        for other, grams in unit.booked.items():
            self.units[other].left_g += grams

    def void(self, code: str) -> None:
        """Take back everything a unit's birth did."""
        if self.units[code].voided:
            return  # with bags that came back together with it
        doomed = self.doomed(code)
        for each in doomed:
            unit = self.units[each]
            for part, grams in unit.parts.items():
                self.units[part].left_g += grams
                for line in self.lines_about(part):
                    line.outdated |= unit.born < line.taken
            for other, grams in unit.booked.items():
                self.units[other].left_g -= grams
            if unit.sent_in is not None:
                (pack,) = unit.parts
                self.units[unit.sent_in].bags[pack] += unit.made_g // BAG_G
        for each in doomed:
            self.units[each].voided = True
            self.units[each].left_g = 0
