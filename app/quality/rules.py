"""What a roast may be used for, and how a later tasting may change that."""

from enum import StrEnum
from typing import Final, NamedTuple


class Disposition(StrEnum):
    """What a roast may be used for: what the gate found until somebody tasted it."""

    PASSED = "passed"
    SET_ASIDE = "set_aside"
    """It missed a check, or lacked one, and waits to be tasted."""
    RELEASED = "released"
    BLEND_IN = "blend_in"
    """For blends alone, up to a share of each."""
    REWORK = "rework"
    """For blends alone, as the rework of their recipe."""
    REJECTED = "rejected"
    SCRAPPED = "scrapped"


FREE: Final = frozenset({Disposition.PASSED, Disposition.RELEASED})
"""Such a roast goes into anything."""

UNUSABLE: Final = frozenset({Disposition.SET_ASIDE, Disposition.REJECTED, Disposition.SCRAPPED})
"""Nothing is made of such a roast."""

LIMITED: Final = frozenset({Disposition.BLEND_IN, Disposition.REWORK})
"""Such a roast goes into blends alone."""

_NARROWING: Final = (
    Disposition.RELEASED,
    Disposition.BLEND_IN,
    Disposition.REWORK,
    Disposition.REJECTED,
    Disposition.SCRAPPED,
)


class Decision(NamedTuple):
    """What a tasting decides."""

    disposition: Disposition
    at_most_milli: int | None = None
    """Of `blend_in`: how much of a blend it may be, in thousandths of a per cent."""

    @property
    def narrowness(self) -> tuple[int, int]:
        """How narrow the use is; the narrower the greater."""
        return _NARROWING.index(self.disposition), -(self.at_most_milli or 0)


def may_follow(stands: Decision | None, then: Decision, *, used: bool) -> bool:
    """Tell whether a tasting may decide something after the last one did.

    Nothing follows scrapping and scrapping alone a rejection. Once some of the roast went on by
    what stands, it can be narrowed and not widened: a bad cup found late stops what is left.
    """
    if stands is None:
        return True
    if stands.disposition is Disposition.SCRAPPED:
        return False
    if stands.disposition is Disposition.REJECTED:
        return then.disposition is Disposition.SCRAPPED
    return not used or then.narrowness >= stands.narrowness
