"""Traces, and any unit by its code."""

from typing import Annotated

from fastapi import APIRouter, Query, Response

from app.ledger.clerk import Reader
from app.shared.answers import Answer, ExactRoute
from app.shared.codes import Code
from app.tracing import queries
from app.tracing.schemas import Direction, TraceIn, TraceOut, UnitOut

router = APIRouter(route_class=ExactRoute, tags=["trace"])


@router.get("/trace/{code}", response_model=TraceOut)
def trace(
    clerk: Reader,
    code: Code,
    direction: Annotated[Direction, Query()] = Direction.FORWARD,
    carry_over: bool = False,
) -> Response:
    """Trace a unit: forward to all that contains any of it, backward to all it was made from.

    Nothing is left out for being small: the list is everything reachable, the kilograms beside it
    are pro rata. With `carry_over` what ran next on the same machine is listed apart as possible
    contact, unless the machine was cleaned between.
    """
    return Answer(clerk.read(queries.trace_unit, code, direction, carry_over=carry_over))


@router.post("/trace", response_model=TraceOut)
def trace_set(clerk: Reader, asked: TraceIn) -> Response:
    """Trace a set of units, what stood at a place during a time, or what a material lot is in."""
    return Answer(clerk.read(queries.trace_set, asked))


@router.get("/units/{code}", response_model=UnitOut)
def show_unit(clerk: Reader, code: Code) -> Response:
    """Show any unit: what it came from and what was made of it."""
    return Answer(clerk.read(queries.unit, code))
