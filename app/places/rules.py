"""Decisions about places: what fits, and what is said when something heavy goes up high."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple, Protocol


class Height(Protocol):
    """A place that may say how high it is."""

    @property
    def above_shoulder(self) -> bool | None: ...


class Limit(NamedTuple):
    """A place that takes only so much."""

    id: int
    code: str
    capacity_g: int


class Overfull(NamedTuple):
    """A place that cannot take what was to come."""

    code: str
    capacity_g: int
    standing_g: int
    coming_g: int


def overfull(
    limits: Sequence[Limit], standing_g: Mapping[int, int], coming_g: Mapping[int, int]
) -> Overfull | None:
    """Find the first place that would carry more than it takes; what just fits is taken.

    A place that nothing comes to may carry too much: a count found it so, and it stands there.
    """
    for limit in limits:
        coming = coming_g.get(limit.id, 0)
        standing = standing_g.get(limit.id, 0)
        if coming > 0 and standing + coming > limit.capacity_g:
            return Overfull(limit.code, limit.capacity_g, standing, coming)
    return None


def is_above_shoulder(path: Sequence[Height]) -> bool:
    """Tell whether sacks go above the shoulder: the nearest place on the path that says so."""
    said = [place.above_shoulder for place in path if place.above_shoulder is not None]
    return bool(said and said[-1])


def chain(codes: Sequence[str]) -> str:
    """Write a way through the tree: `HALL > B-02 > B-02-1`."""
    return " > ".join(codes)
