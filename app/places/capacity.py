"""Capacity: a place and everything it is part of take so many kilograms and no more.

What stands at a place or below it is added up when something comes, by a fixed number of
statements however many sacks come, and the pen makes sure that nobody else books in between.
"""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence

from sqlmodel import Session

from app.places.rules import Limit, Overfull, overfull
from app.places.tree import Place, paths, stock
from app.shared.mass import kg_from_grams, kg_text
from app.shared.problems import Refused


class Room:
    """What the places of one act can take, each with everything it is part of."""

    def __init__(self, session: Session, place_ids: Collection[int]) -> None:
        self._limits = {
            start: _limits(path) for start, path in paths(session, set(place_ids)).items()
        }
        limited = {limit.id for limits in self._limits.values() for limit in limits}
        self._standing_g = Counter(stock(session, limited) if limited else {})

    def short_of(self, change_g: Mapping[int, int], *, booked: bool = False) -> Overfull | None:
        """Find the place that cannot take these changes, by place; leaving is a change too.

        What is booked already stands there, and is what was to come all the same.
        """
        limits = [limit for place in change_g for limit in self._limits.get(place, ())]
        coming_g = self._upward(change_g)
        standing_g = Counter(self._standing_g)
        if booked:
            standing_g.subtract(coming_g)
        return overfull(limits, standing_g, coming_g)

    def take(self, change_g: Mapping[int, int]) -> None:
        """Count with what was taken: the next one finds it there."""
        self._standing_g.update(self._upward(change_g))

    def _upward(self, change_g: Mapping[int, int]) -> Counter[int]:
        """Add a change to a place to everything it is part of: what moves within changes it not."""
        upward: Counter[int] = Counter()
        for place, grams in change_g.items():
            for limit in self._limits.get(place, ()):
                upward[limit.id] += grams
        return upward


def _limits(path: Sequence[Place]) -> list[Limit]:
    """Name the places of a path that take only so much, the nearest first."""
    return [
        Limit(place.id, place.code, place.capacity_g)
        for place in reversed(path)
        if place.capacity_g is not None
    ]


def refuse_overfull(found: Overfull | None) -> None:
    """Refuse what does not fit, with the figures."""
    if found is not None:
        raise Refused(
            "over-capacity",
            why_not(found),
            location=found.code,
            capacity_kg=kg_from_grams(found.capacity_g),
            standing_kg=kg_from_grams(found.standing_g),
            coming_kg=kg_from_grams(found.coming_g),
        )


def why_not(found: Overfull) -> str:
    """Say in words why something does not fit."""
    if found.coming_g == 0:
        return (
            f"{found.code} would take {kg_text(found.capacity_g)}; "
            f"{kg_text(found.standing_g)} stand there."
        )
    return (
        f"{found.code} takes {kg_text(found.capacity_g)}; {kg_text(found.standing_g)} stand there "
        f"and {kg_text(found.coming_g)} were to come."
    )
