"""The arithmetic and the order of a recall: states, bags that close, and percentages.

States and who may do what in them are our rule. That an account of bags has to close is from the
audit schemes: made = in house + sent, sent = returned + destroyed + sold + unaccounted.
"""

from collections.abc import Iterable, Mapping
from decimal import Decimal
from enum import StrEnum
from typing import Final, NamedTuple

from app.shared.shares import percent

WHOLE_PLACES: Final = 2
"""Decimals of a percentage of bags or consignees."""


class CaseKind(StrEnum):
    """What a case is: a withdrawal ends before consumers, a recall asks them too."""

    WITHDRAWAL = "withdrawal"
    RECALL = "recall"
    INQUIRY = "inquiry"


class Step(StrEnum):
    """What a line of a case's history says."""

    OPENED = "opened"
    SCOPED = "scoped"
    STOPPED = "stopped"
    WORKING_OFF = "working_off"
    DECIDED = "decided"
    """Its kind or class was changed; the state stays."""
    CLOSED = "closed"
    REOPENED = "reopened"


class Act(StrEnum):
    """What somebody wants to do about a case."""

    SCOPE = "scope"
    STOP = "stop"
    NOTIFY = "notify"
    DECIDE = "decide"
    CLOSE = "close"
    REOPEN = "reopen"


_OPEN: Final = frozenset(Step) - {Step.CLOSED, Step.DECIDED}
ALLOWED: Final[Mapping[Act, frozenset[Step]]] = {
    Act.SCOPE: _OPEN,
    Act.STOP: _OPEN - {Step.OPENED},
    Act.NOTIFY: _OPEN - {Step.OPENED},
    Act.DECIDE: _OPEN,
    Act.CLOSE: _OPEN,
    Act.REOPEN: frozenset({Step.CLOSED}),
}
"""In which states an act is allowed; telling consignees needs a stop as well."""


def state_of(steps: Iterable[Step]) -> Step:
    """Read the state off the steps in their order: a decision alone changes none."""
    state = Step.OPENED
    for step in steps:
        if step is not Step.DECIDED:
            state = step
    return state


def refusal(act: Act, steps: Iterable[Step], kind: CaseKind) -> str | None:
    """Say why an act is not allowed now, or None where it is."""
    listed = list(steps)
    state = state_of(listed)
    if state not in ALLOWED[act]:
        return f"is {state.replace('_', ' ')}"
    stopped = Step.STOPPED in listed
    if act is Act.NOTIFY and not stopped:
        return "has not been stopped: bags could still leave while consignees are told"
    if act is Act.CLOSE and kind is not CaseKind.INQUIRY and not stopped:
        return "has not been stopped"
    return None


class Bags(NamedTuple):
    """Bags of a scope, as the book has them."""

    made: int
    in_house: int
    sent: int
    returned: int
    destroyed_here: int

    @property
    def in_market(self) -> int:
        return self.sent - self.returned

    @property
    def adjusted(self) -> int:
        """Bags that are neither here nor were sent: samples, spills, counts; not destroyed ones."""
        return self.made - self.in_house - self.in_market - self.destroyed_here


class Reported(NamedTuple):
    """What a consignee said became of its bags, and what the book had taken back by then."""

    held: int = 0
    returned: int = 0
    destroyed: int = 0
    sold: int = 0
    booked_back: int = 0

    @property
    def whole(self) -> int:
        return self.held + max(self.returned, self.booked_back) + self.destroyed + self.sold


class Standing(NamedTuple):
    """Where the bags of one consignee are; the parts add up to what was sent."""

    sent: int
    returned: int
    """By the book."""
    held: int
    destroyed: int
    sold: int

    @property
    def unaccounted(self) -> int:
        """Below zero where more is reported than was sent."""
        return self.sent - self.returned - self.held - self.destroyed - self.sold


def standing(sent: int, returned: int, said: Reported | None) -> Standing:
    """Put a report beside the book.

    Bags that the book took back after the report come out of what was said to be under way
    first, then out of what was said to be held: nobody's bag counts twice.
    """
    if said is None:
        return Standing(sent, returned, 0, 0, 0)
    came_since = max(returned - said.booked_back, 0)
    under_way = max(said.returned - said.booked_back, 0)
    held = max(said.held - max(came_since - under_way, 0), 0)
    return Standing(sent, returned, held, said.destroyed, said.sold)


def part(some: int, whole: int) -> Decimal | None:
    """Express some of a whole in per cent; None where there is no whole."""
    return None if whole == 0 else percent(some, whole, WHOLE_PLACES)


def recovered(bags: Bags, standings: Iterable[Standing]) -> int:
    """Count the bags under control: in the house or destroyed, here or at consignees."""
    there = sum(each.held + each.destroyed for each in standings)
    return bags.in_house + bags.destroyed_here + there
