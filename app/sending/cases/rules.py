"""What is in a case: adding up what went in and out, and what follows of it."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum


class CaseState(StrEnum):
    """Where a case is in its life."""

    HERE = "here"
    SENT = "sent"
    APART = "apart"
    """Nothing is in it any more: its code is not used again."""


@dataclass
class Contents:
    """What is in a case itself: bags by pack, and on a pallet the cases."""

    bags: Counter[int] = field(default_factory=Counter)
    inner: list[int] = field(default_factory=list)

    @property
    def empty(self) -> bool:
        return not self.bags and not self.inner


def add_up(lines: Iterable[tuple[int, int | None, int | None, int]]) -> dict[int, Contents]:
    """Add up lines (case, pack, inner case, count) to what is in each case, nothing left out."""
    found: dict[int, Contents] = {}
    inner: dict[int, Counter[int]] = {}
    for case_id, pack_id, inner_id, count in lines:
        contents = found.setdefault(case_id, Contents())
        if pack_id is not None:
            contents.bags[pack_id] += count
        elif inner_id is not None:
            inner.setdefault(case_id, Counter())[inner_id] += count
    for case_id, contents in found.items():
        contents.bags = Counter({pack: bags for pack, bags in contents.bags.items() if bags})
        there = inner.get(case_id, Counter())
        contents.inner = sorted(each for each, count in there.items() if count)
    return found


def state_of(contents: Contents, *, sent: bool) -> CaseState:
    """Tell where a case is in its life by what is in it and whether it left."""
    if sent:
        return CaseState.SENT
    return CaseState.APART if contents.empty else CaseState.HERE
