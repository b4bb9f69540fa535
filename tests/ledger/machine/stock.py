"""Every unit by its code, what is left of it, and what stops it."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from tests.ledger.machine.things import (
    BAG_G,
    FILM,
    UNUSABLE,
    Adjusted,
    Case,
    Line,
    Paper,
    Pick,
    Planned,
    Thing,
)


@dataclass
class Stock:
    """What is there, and what was promised of it."""

    units: dict[str, Thing] = field(default_factory=dict)
    holds: dict[int, tuple[str, ...]] = field(default_factory=dict)
    released: set[int] = field(default_factory=set)
    papers: dict[int, Paper] = field(default_factory=dict)
    by_hand: dict[int, Adjusted] = field(default_factory=dict)
    """Adjustments by their number."""
    given: Counter[str] = field(default_factory=Counter)
    """What the unit that is being replaced has given back."""
    plans: dict[int, Planned] = field(default_factory=dict)
    """Planned batches by their number."""
    cases: dict[str, Case] = field(default_factory=dict)
    picks: dict[int, Pick] = field(default_factory=dict)
    crates_back: dict[int, int] = field(default_factory=dict)
    """Crates that came back alone, by the number of the movement; none where that never was."""
    film_off: dict[int, int] = field(default_factory=dict)
    """Pieces of packing material that were written off, likewise."""
    colours: dict[tuple[str, int], bool] = field(default_factory=dict)
    """Whether a colour that was read later stands, by roast and number."""
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
            if unit.disposition in UNUSABLE and (drawn or asked)[code] > self.given[code]:
                refusals.add("not-released")
        return refusals

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

    def count(self, number: int, code: str, counted_g: int) -> None:
        self.taken += 1
        line = Line(counted_g, self.units[code].left_g, self.taken)
        self.papers[number].lines[code] = line

    def adjust(self, code: str, grams: int) -> None:
        """Let somebody book what a count found."""
        self.taken += 1
        self.units[code].left_g += grams
        for line in self.lines_about(code):
            line.outdated = True

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

    def standing(self, place: str | None) -> dict[str, int]:
        """Say what is left of each unit that stands at a place, the oldest first."""
        return {
            code: unit.left_g
            for code, unit in self.units.items()
            if place is not None and unit.place == place and unit.left_g
        }

    def roast_of(self, number: int) -> str | None:
        """Name the live roast that was made of a planned batch."""
        live = [code for code in self.plans[number].roasts if not self.units[code].voided]
        assert len(live) < 2
        return live[0] if live else None

    def film_left(self) -> int:
        """Count the pieces of packing material that no pack used and nobody wrote off."""
        used = sum(unit.film for unit in self.units.values() if not unit.voided)
        return FILM - used - sum(self.film_off.values())

    def crates_away(self) -> int:
        """Count the crates that the customer has; fewer than none where a dispatch never was."""
        sent = sum(unit.crates for unit in self.units.values() if not unit.voided)
        return sent - sum(self.crates_back.values())

    def batch_of(self, code: str | None) -> int | None:
        """Name the planned batch of a roast, which one booked in its place is of as well."""
        return next((n for n, plan in self.plans.items() if code in plan.roasts), None)

    def promised(self, lot: str) -> int:
        """Add up what is reserved of a lot for batches that are still to be roasted."""
        return sum(
            plan.green[lot]
            for number, plan in self.plans.items()
            if not plan.cancelled and self.roast_of(number) is None
        )

    def shelf(self, lot: str) -> tuple[int, int, int, int]:
        """Say what of a lot is on hand, available, held and reserved."""
        sacks = [
            (unit.left_g, self.is_held(code))
            for code, unit in self.units.items()
            if unit.kind == "sack" and lot in unit.parts
        ]
        on_hand_g = sum(left_g for left_g, _ in sacks)
        held_g = sum(left_g for left_g, held in sacks if held)
        reserved_g = min(self.promised(lot), on_hand_g - held_g)
        return on_hand_g, on_hand_g - held_g - reserved_g, held_g, reserved_g
