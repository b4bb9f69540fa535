"""Traces, and any unit by its code."""

from typing import Annotated

from fastapi import Query, Response

from app.ledger.clerk import Reader
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.routing import api_router
from app.shared.times import MomentIn
from app.shared.turns import reads
from app.tracing import impact, queries, units
from app.tracing.schemas import MOST_HOPS, Direction, ImpactOut, TraceIn, TraceOut, UnitOut

router = api_router("trace")

AsOfAsked = Annotated[
    MomentIn | None, Query(description="What the book said at that time, by when it learnt of it.")
]


@router.get("/trace/{code}", response_model=TraceOut)
def trace(
    clerk: Reader,
    code: Code,
    *,
    direction: Annotated[Direction, Query()] = Direction.FORWARD,
    carry_over: bool = False,
    hops: Annotated[int, Query(ge=1, le=MOST_HOPS, description="With `carry_over`: how far")] = 1,
    as_of: AsOfAsked = None,
) -> Response:
    """Trace a unit: forward to all that contains any of it, backward to all it was made from.

    Nothing is left out for being small: the list is everything reachable, the kilograms beside it
    are pro rata. With `carry_over` what ran next on the same machine, or stood with it or after it
    in one silo, hopper or tray, is listed apart as possible contact, unless a clean-down lies
    between; `hops` asks for contact of contact. A unit that was replaced is traced by what was
    booked in its place.
    """
    far = hops if carry_over else 0
    return Answer(clerk.read(queries.trace_unit, code, direction, hops=far, moment=as_of))


@router.post("/trace", response_model=TraceOut)
@reads
def trace_set(clerk: Reader, asked: TraceIn) -> Response:
    """Trace a set of units, what stood at a place during a time, or what a material lot is in."""
    return Answer(clerk.read(queries.trace_set, asked))


@router.get("/units/{code}", response_model=UnitOut)
def show_unit(clerk: Reader, code: Code, as_of: AsOfAsked = None) -> Response:
    """Show any unit: what it came from, what was made of it, what it replaces."""
    return Answer(clerk.read(units.unit, code, as_of))


@router.get("/units/{code}/impact", response_model=ImpactOut)
def show_impact(clerk: Reader, code: Code) -> Response:
    """Look at what voiding a unit would take with it, before it is done."""
    return Answer(clerk.read(impact.impact, code))
