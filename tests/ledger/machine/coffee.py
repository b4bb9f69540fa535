"""What becomes of coffee: it is planned, roasted, tasted, mixed, poured, packed and sent."""

from collections import Counter
from collections.abc import Collection, Mapping
from fractions import Fraction

from tests.ledger.machine.stock import Stock
from tests.ledger.machine.things import (
    BAG_G,
    EMPTIED_TOLERANCE_PCT,
    LIMITED,
    MIXING,
    ROASTER_CAPACITY_G,
    UNUSABLE,
)

_EVER_NARROWER = ("released", "blend_in", "rework", "rejected", "scrapped")


def split(total_g: int, left: Mapping[str, int]) -> Counter[str]:
    """Split grams by what is left of each: the largest remainders first, nobody left out."""
    exact = {code: Fraction(total_g * left_g, sum(left.values())) for code, left_g in left.items()}
    shares = Counter({code: int(share) for code, share in exact.items()})
    over_g = total_g - shares.total()
    for code in sorted(exact, key=lambda each: shares[each] - exact[each])[:over_g]:
        shares[code] += 1
    for code in left:
        if not shares[code] and total_g >= len(left):
            shares[max(left, key=lambda each: shares[each])] -= 1
            shares[code] = 1
    return +shares


def pour(total_g: int, left: Mapping[str, int], given: Mapping[str, int]) -> Counter[str]:
    """Split what is poured: first of what is given back, then of all else that is there."""
    again_g = min(total_g, sum(given.values()))
    rest = {code: left_g - given.get(code, 0) for code, left_g in left.items()}
    shares = split(again_g, given) if again_g else Counter()
    if total_g > again_g:
        shares.update(split(total_g - again_g, {code: g for code, g in rest.items() if g}))
    return shares


class Coffee(Stock):
    """What the acts of a roastery come to."""

    def planning(self, green: Mapping[str, int]) -> set[str]:
        """Predict the refusals of keeping green for a batch."""
        refusals = set()
        for code, grams in green.items():
            refusals |= self.naming(code, "lot")
            if grams > self.shelf(code)[1]:
                refusals.add("insufficient-stock")
        return refusals

    def ending(self, batch: int) -> set[str]:
        """Predict the refusals of roasting or cancelling a planned batch."""
        ended = self.plans[batch].cancelled or self.roast_of(batch) is not None
        return {"batch-state"} if ended else set()

    def roasting(
        self, draws: Mapping[str, int], emptied: Collection[str], end_g: int, batch: int | None
    ) -> tuple[set[str], Counter[str]]:
        """Predict the refusals of a roast, and what it adjusts of sacks that were used up."""
        refusals = self.drawing(
            {code: grams for code, grams in draws.items() if code not in emptied}, "sack"
        ) | self.drawing(dict.fromkeys(emptied, 0), "sack", drawn=draws)  # fmt: skip
        if batch is not None:
            refusals |= self.ending(batch)
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

    def moving(self, codes: Collection[str], place: str) -> set[str]:
        refusals = set()
        for code in codes:
            unit = self.units[code]
            if unit.kind in {"lot", "dispatch"}:
                refusals.add("wrong-kind")
            if unit.voided:
                refusals.add("voided")
            if unit.place == place:
                refusals.add("already-done")
            if self._loose(code) and unit.place in MIXING:
                there = filter(self._loose, self.standing(unit.place))
                if not set(codes).issuperset(there):
                    refusals.add("mixed")
        return refusals

    def _mixed(self, place: str | None) -> dict[str, int]:
        """Say what is left of each loose unit in a place: sacks and bags there mix with nothing."""
        standing = self.standing(place)
        return {code: left_g for code, left_g in standing.items() if self._loose(code)}

    def _loose(self, code: str) -> bool:
        return self.units[code].kind in {"roast", "blend"}

    def cleaning(self, place: str) -> set[str]:
        return {"not-empty"} if self.standing(place) else set()

    def cupping(self, code: str, disposition: str, at_most_pct: int | None) -> set[str]:
        unit = self.units[code]
        refusals = self.naming(code, "roast")
        used = any(code in other.parts and not other.voided for other in self.units.values())
        before, after = (
            (_EVER_NARROWER.index(said), -(most or 0))
            for said, most in (
                (unit.disposition if unit.tasted else "released", unit.at_most_pct),
                (disposition, at_most_pct),
            )
        )
        ended = {"scrapped"} if disposition == "scrapped" else {"scrapped", "rejected"}
        if unit.tasted and (unit.disposition in ended or (used and after < before)):
            refusals.add("not-set-aside")
        return refusals

    def carried(self, old: str | None) -> tuple[str, int | None] | None:
        """Name what was tasted of a roast that limits the one booked in its place as well."""
        if old is None or not self.units[old].tasted or self.units[old].disposition == "released":
            return None
        unit = self.units[old]
        return unit.disposition.replace("scrapped", "rejected"), unit.at_most_pct

    def filling(
        self, parts: Mapping[str, int], pours: Mapping[str, int]
    ) -> tuple[set[str], Counter[str], set[str]]:
        """Predict the refusals of drawing from units and places, what is drawn, what it touches."""
        refusals: set[str] = set()
        drawn, touched = Counter(parts), set(parts)
        for code in parts:
            place = self.units[code].place
            others = self._mixed(place).keys() - {code} if place in MIXING else ()
            if others and parts[code] > self.given[code]:
                refusals.add("mixed")
        for place, grams in pours.items():
            there = self._mixed(place)
            if place not in MIXING:
                refusals.add("invalid")
            given = {
                code: self.given[code] - parts.get(code, 0)
                for code in there
                if self.given[code] > parts.get(code, 0)
            }
            if grams <= sum(given.values()):
                there = given  # none of it moves now, so nothing stops it
            elif any(map(self.is_held, there)):
                refusals.add("on-hold")
            if grams > sum(there.values()):
                refusals.add("insufficient-stock")
            else:
                drawn.update(pour(grams, there, given))
            touched |= there.keys()
        if any(
            self.units[code].disposition in UNUSABLE and not self._only_again(code, drawn[code])
            for code in touched
        ):
            refusals.add("not-released")
        return refusals | self.drawing(drawn, "roast", "blend"), drawn, touched

    def _only_again(self, code: str, grams: int) -> bool:
        """Tell whether a unit gives no more than it gave the one that is replaced."""
        return 0 < grams <= self.given[code]

    def blending(
        self, parts: Mapping[str, int], pours: Mapping[str, int]
    ) -> tuple[set[str], Counter[str]]:
        """Predict the refusals of a blend, and what goes into it."""
        refusals, drawn, touched = self.filling(parts, pours)
        limits = {
            code: self.units[code].at_most_pct or 0
            for code in touched
            if self.units[code].disposition == "blend_in"
        }
        for most_pct in limits.values():
            together = sum(drawn[code] for code, own_pct in limits.items() if own_pct <= most_pct)
            if together * 100 > most_pct * drawn.total():
                refusals.add("tasting-limits-use")
        if any(self.units[code].disposition == "rework" for code in touched):
            refusals.add("tasting-limits-use")  # no recipe here takes any
        return refusals, drawn

    def packing(
        self, parts: Mapping[str, int], pours: Mapping[str, int], bags: int, film: int
    ) -> tuple[set[str], Counter[str]]:
        """Predict the refusals of filling bags, and what goes into them."""
        refusals, drawn, touched = self.filling(parts, pours)
        if bags * BAG_G > sum(parts.values()) + sum(pours.values()):
            refusals.add("mass-gained")
        if film > self.film_left():
            refusals.add("insufficient-stock")
        if any(self.units[code].disposition in LIMITED for code in touched):
            refusals.add("tasting-limits-use")
        return refusals, drawn
