"""What moved in a trace, unit by unit: in and out of each adds up exactly.

Forward every unit counts whole and a part of it is suspect. Backward a unit counts with the part of
it that went into what was asked, and no more.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Final, NamedTuple

from app.tracing.flow.rules import Box, Movement, came_in, end
from app.tracing.rules import KINDS, Sent, Traced, stock_g
from app.tracing.spread import SCALE, Inflows, Takings

GREEN: Final = ("lot", "sack")
RECEIVED: Final = "received"
MADE_OF: Final = "made_of"
"""Of a start: all it was made of, which is suspect with it."""
OTHER: Final = "other_coffee"
"""Of which nothing is traced."""
FOUND: Final = "found"
DISPATCHED: Final = "dispatched"
ASKED: Final = "asked"
UNEXPLAINED: Final = "unexplained"
LOST: Final = "lost"
"""Of a kind that loses nothing in a sound book."""


class Trace(NamedTuple):
    """What was reached, and which part of each unit counts."""

    units: Mapping[int, Traced]
    into: Inflows
    start: Collection[int]
    parts: Mapping[int, int]
    """Forward the suspect share of a unit, backward the part of it in what was asked; scaled."""


def _mean(taken: Takings, parts: Mapping[int, int]) -> int:
    return sum(parts.get(source, 0) * grams for source, grams in taken.parts) // taken.whole


class Ahead(NamedTuple):
    """A forward trace, with what its flows do not tell."""

    trace: Trace
    lines: Sequence[Sent]
    came_back: Mapping[int, int]
    """Returns by the dispatch that they were in: their flow is from the pack."""
    adjusted: Mapping[int, Mapping[str, int]]
    """Grams by unit and reason, but for bags that came back."""


def moved_ahead(ahead: Ahead) -> Iterator[Movement]:
    """Name what moved into and out of every unit that a forward trace reached."""
    trace = ahead.trace
    given: Counter[int] = Counter()
    for line in ahead.lines:
        given[line.pack] += line.grams
        yield from _sent(trace, line)
    for unit, traced in trace.units.items():
        if traced.kind == "dispatch":
            continue
        for source, grams, share in _sources(ahead, unit):
            given[source] += grams
            yield Movement(source, unit, SCALE * grams, share * grams)
        yield from _from_outside(ahead, unit)
        yield from _ended(trace, unit)
        yield from _adjusted(trace, unit, ahead.adjusted.get(unit, {}))
    for unit, traced in trace.units.items():
        if traced.kind != "dispatch":
            over_g = traced.made_g + traced.adjusted_g - traced.left_g - given[unit]
            yield from _either(trace, unit, UNEXPLAINED, UNEXPLAINED, over_g)


def _sent(trace: Trace, line: Sent) -> Iterator[Movement]:
    """Bags do not mix on the road: a dispatch counts by its lines."""
    known = line.pack in trace.units
    share = SCALE if line.dispatch in trace.start else trace.parts.get(line.pack, 0)
    source = line.pack if known else came_in(OTHER, "dispatch")
    before = trace.parts[line.pack] if known else share
    yield Movement(source, line.dispatch, SCALE * line.grams, before * line.grams)
    there_g = line.grams - line.back_g
    yield Movement(line.dispatch, end(DISPATCHED), SCALE * there_g, share * there_g)


def _sources(ahead: Ahead, unit: int) -> Iterator[tuple[int, int, int]]:
    """Name the reached units that a unit was made of, grams, and their suspect share."""
    trace = ahead.trace
    dispatch = ahead.came_back.get(unit)
    for source, grams in trace.into[unit].parts if unit in trace.into else ():
        if dispatch in trace.units and dispatch is not None:
            sent = SCALE if dispatch in trace.start else trace.parts[source]
            yield dispatch, grams, sent
        elif source in trace.units:
            yield source, grams, trace.parts[source]


def _from_outside(ahead: Ahead, unit: int) -> Iterator[Movement]:
    """Name what a unit has of nothing traced. A start that has nothing else came in suspect."""
    trace = ahead.trace
    traced, inflow = trace.units[unit], trace.into.get(unit)
    whole_g = traced.made_g if inflow is None else inflow.whole
    other_g = whole_g - sum(grams for _, grams, _ in _sources(ahead, unit))
    if other_g == whole_g:
        term = RECEIVED if traced.kind in GREEN else MADE_OF
        suspect = trace.parts[unit] * traced.made_g
        yield Movement(came_in(term, traced.kind), unit, SCALE * whole_g, suspect)
    elif other_g:
        yield Movement(came_in(OTHER, traced.kind), unit, SCALE * other_g, 0)


def _ended(trace: Trace, unit: int) -> Iterator[Movement]:
    """Name what was lost when a unit was made, and what is left of it."""
    traced, share = trace.units[unit], trace.parts[unit]
    ends, inflow = KINDS[traced.kind], trace.into.get(unit)
    if inflow is not None:
        came = _mean(inflow, trace.parts) if unit in trace.start else share
        lost_g = inflow.whole - traced.made_g
        yield Movement(unit, end(ends.lost or LOST), SCALE * lost_g, came * lost_g)
    yield Movement(unit, end(ends.left), SCALE * traced.left_g, share * traced.left_g)


def _adjusted(trace: Trace, unit: int, by_reason: Mapping[str, int]) -> Iterator[Movement]:
    for reason, grams in by_reason.items():
        yield from _either(trace, unit, reason, FOUND, -grams)


def _either(trace: Trace, unit: int, gone: str, found: str, grams: int) -> Iterator[Movement]:
    """Let grams go to an end, or come in where they are below zero."""
    share = trace.parts[unit]
    if grams > 0:
        yield Movement(unit, end(gone), SCALE * grams, share * grams)
    elif grams < 0:
        source = came_in(found, trace.units[unit].kind)
        yield Movement(source, unit, SCALE * -grams, share * -grams)


def moved_behind(trace: Trace) -> Iterator[Movement]:
    """Name what moved into and out of every unit behind what a backward trace asked for."""
    out: dict[int, list[tuple[int, int]]] = {unit: [] for unit in trace.units}
    for unit, taken in trace.into.items():
        for source, grams in taken.parts:
            out[source].append((unit, grams))
    for unit, traced in trace.units.items():
        part = used = trace.parts[unit]
        if unit in trace.start:
            used = _mean(Takings(stock_g(traced), out[unit]), trace.parts)
            yield _all(unit, end(ASKED), (SCALE - used) * traced.made_g)
        found_g = stock_g(traced) - traced.made_g
        yield _all(came_in(FOUND, traced.kind), unit, used * found_g)
        yield from _behind(trace, unit, part)


def _behind(trace: Trace, unit: int, part: int) -> Iterable[Movement]:
    traced = trace.units[unit]
    inflow = trace.into.get(unit)
    if inflow is None:
        yield _all(came_in(RECEIVED, traced.kind), unit, part * traced.made_g)
        return
    for source, grams in inflow.parts:
        yield _all(source, unit, part * grams)
    lost = KINDS[traced.kind].lost or LOST
    yield _all(unit, end(lost), part * (inflow.whole - traced.made_g))


def _all(source: int | Box, target: int | Box, amount: int) -> Movement:
    return Movement(source, target, amount, amount)
