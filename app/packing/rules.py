"""Arithmetic of packing, and what a run of bags should not mix."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import NamedTuple

from app.shared.days import day_of


def lot_mark(code: str) -> str:
    """Mark the bags of a pack: the letter L and its code (Directive 2011/91/EU, article 4)."""
    return f"L {code}"


class BlendedIn(NamedTuple):
    """Coffee of a blend that a tasting lets be a part of it and no more."""

    code: str
    grams: int
    at_most_milli: int
    """How much of a blend it may be, in thousandths of a per cent."""


class Beyond(NamedTuple):
    """What is more of a blend than its tasting allows."""

    codes: Sequence[str]
    grams: int
    at_most_milli: int


def beyond_tasting(parts: Sequence[BlendedIn], whole_g: int) -> Beyond | None:
    """Find what is too much of a blend; the limit itself is not.

    Each part keeps to its own limit together with all that have the same or a lower one, so that
    two bad roasts do not make a blend twice as bad.
    """
    together: list[str] = []
    grams = 0
    for part in sorted(parts, key=lambda each: each.at_most_milli):
        together.append(part.code)
        grams += part.grams
        if grams * 100_000 > part.at_most_milli * whole_g:
            return Beyond(together, grams, part.at_most_milli)
    return None


class Roasted(NamedTuple):
    """A roast behind a run."""

    code: str
    at: datetime
    component: str
    """Which component of the blend it stands for, else its style; empty where nobody said."""


def warn_of_run(blends: Sequence[str], roasts: Sequence[Roasted]) -> Iterator[str]:
    """Point out what should begin a new pack: another blend, another day of roasting."""
    if len(blends) > 1:
        named = ", ".join(blends)
        yield f"{len(blends)} blends in one run: {named}. Another blend is another pack."
    days: dict[str, set[date]] = defaultdict(set)
    spelled: dict[str, str] = {}
    for roast in roasts:
        key = spelled.setdefault(roast.component.strip().casefold(), roast.component)
        days[key].add(day_of(roast.at))
    for component, roasted_on in days.items():
        if len(roasted_on) > 1:
            what = f"{component}: roasts" if component else "Roasts"
            yield (
                f"{what} of {len(roasted_on)} days in one run: "
                f"{', '.join(str(day) for day in sorted(roasted_on))}. "
                "Another day of roasting is another pack."
            )


def warn_of_gas(roasts: Sequence[Roasted], packed_at: datetime, days: int) -> Iterator[str]:
    """Point out coffee that still gives off gas and goes into bags that keep it in."""
    fresh = [roast.code for roast in roasts if packed_at - roast.at < timedelta(days=days)]
    if fresh:
        yield (
            f"Roasted less than {days} days before and in bags without a valve: "
            f"{', '.join(fresh)}. Such bags swell."
        )
