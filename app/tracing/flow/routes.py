"""Traces as flows and as pictures."""

from typing import Annotated

from fastapi import Query, Response

from app.ledger.clerk import Reader
from app.shared.answers import PICTURE, Answer, Svg
from app.shared.codes import Code
from app.shared.routing import api_router
from app.shared.times import text
from app.tracing.flow.queries import Traced, flow_of_unit
from app.tracing.flow.schemas import TraceFlowOut, told
from app.tracing.flow.svg import draw
from app.tracing.routes import AsOfAsked
from app.tracing.schemas import Direction, StartOut

router = api_router("trace")

DirectionAsked = Annotated[Direction, Query()]


@router.get("/trace/{code}/flow", response_model=TraceFlowOut)
def show_trace_flow(
    clerk: Reader,
    code: Code,
    direction: DirectionAsked = Direction.FORWARD,
    as_of: AsOfAsked = None,
) -> Response:
    """Trace a unit as coffee that flows from box to box: many units of a kind share a box.

    What comes into a box goes out of it to the gram, losses, samples and what is left included.
    Forward units count whole, with the suspect part beside; backward only what went into the unit.
    """
    found = clerk.read(flow_of_unit, code, direction, as_of)
    return Answer(TraceFlowOut(
        of=StartOut(code=found.code, kind=found.kind), direction=found.direction,
        as_of=found.when.moment, entry=found.when.entry, **told(found.flow),
    ))  # fmt: skip


@router.get("/trace/{code}/flow.svg", response_class=Svg, responses=PICTURE)
def draw_trace_flow(
    clerk: Reader,
    code: Code,
    direction: DirectionAsked = Direction.FORWARD,
    as_of: AsOfAsked = None,
) -> Response:
    """Draw the flow of a trace: bars and bands as thick as the coffee is heavy."""
    found = clerk.read(flow_of_unit, code, direction, as_of)
    return Svg(draw(found.flow, _title(found)))


def _title(found: Traced) -> str:
    ahead = found.direction is Direction.FORWARD
    title = f"Where {found.code} went" if ahead else f"Where {found.code} came from"
    then = found.when.moment
    return f"{title}, as the book had it at {text(then)}" if then else title
