"""A book small enough to be read at a glance: what the real one must accept, refuse and hold.

It knows nothing of entries, flows or databases, only of units in a dictionary. Where one request
breaks several rules any of their refusals will do, so a prediction is the set of them.
"""

from collections.abc import Collection, Sequence
from copy import deepcopy

from tests.ledger.machine.bags import Bags
from tests.ledger.machine.coffee import Coffee


class Model(Coffee, Bags):
    """The whole of it: what can be done, and what can be undone."""

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

    def correcting_lot(self, code: str) -> set[str]:
        """Predict the refusals of receiving a lot anew: as of voiding it, but for its kind."""
        return self.naming(code, "lot") | (self.voiding(code) - {"not-voidable"})

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

    def approve(self, number: int) -> None:
        for code, line in self.papers.pop(number).lines.items():
            if line.counted_g != line.book_g:
                self.adjust(code, line.counted_g - line.book_g)

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

    def take_over_lot(self, olds: Sequence[str], news: Sequence[str]) -> None:
        """Let a lot go on as the new one, and sack for sack where there are as many."""
        as_many = len(olds) == len(news)
        for old, new in zip(olds, news if as_many else [news[0]] * len(olds), strict=True):
            self.take_over([old], [new])
            if self.units[new].kind == "lot":
                self.units[new].place = None

    def take_over(self, olds: Sequence[str], news: Sequence[str]) -> None:
        """Let what was booked in the place of others be held and stand as they."""
        self.given.clear()
        for number, old in enumerate(olds):
            new = news[min(number, len(news) - 1)]
            was, unit = self.units[old], self.units[new]
            for pick in self.picks.values():
                pick.ended = new if pick.ended == old else pick.ended
            for hold in self.open_holds():
                if old in self.holds[hold] and hold != was.own_hold:
                    self.holds[hold] += (new,)
            if number < len(news) and unit.place is None:
                unit.place = was.place
