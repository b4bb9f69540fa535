"""Work on arrived lots: counting, weighing, inspecting, exceptions, closing the receipt."""

from typing import Annotated

from fastapi import Response

from app.green.arrivals import exceptions, facts, queries, receipts
from app.green.arrivals.schemas import (
    ArrivalOut,
    CloseIn,
    CountIn,
    CountOut,
    ExceptionIn,
    ExceptionOut,
    InspectionIn,
    InspectionOut,
    ReceiptOut,
    WeightIn,
    WeightOut,
)
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("arrivals")

Receiver = Annotated[Clerk, allowed(Permission.RECEIVE)]
Inspector = Annotated[Clerk, allowed(Permission.INSPECT)]


@router.get("/lots/{code}/arrival", response_model=ArrivalOut)
def show_arrival(clerk: Reader, code: Code) -> Response:
    """Show the order of work on an arrived lot: what is done, what is open, what came of it."""
    return Answer(clerk.read(queries.arrival, code, clerk.settings))


@router.post(
    "/lots/{code}/arrival-counts", status_code=201, response_model=CountOut, dependencies=[Keyed]
)
def count_lot(clerk: Receiver, code: Code, asked: CountIn) -> Response:
    """Record how many sacks were found, against those invoiced.

    A count that does not reconcile is recorded too, and answers by how many it is off.
    """
    return clerk.write(facts.count, code, asked)


@router.get("/lots/{code}/arrival-counts", response_model=Items[CountOut])
def list_arrival_counts(clerk: Reader, code: Code, page: PageAsked) -> Response:
    """List the counts of a lot, oldest first; the newest stands."""
    found = clerk.read(queries.count_page, page, code, clerk.settings)
    return page_answer(clerk.request, *found)


@router.post(
    "/lots/{code}/arrival-weights", status_code=201, response_model=WeightOut, dependencies=[Keyed]
)
def weigh_lot(clerk: Receiver, code: Code, asked: WeightIn) -> Response:
    """Record what a lot weighed on arrival; the answer says what can be claimed."""
    return clerk.write(facts.weigh_lot, code, asked)


@router.get("/lots/{code}/arrival-weights", response_model=Items[WeightOut])
def list_weights(clerk: Reader, code: Code, page: PageAsked) -> Response:
    """List the arrival weights of a lot, oldest first; the newest stands."""
    found = clerk.read(queries.weight_page, page, code, clerk.settings)
    return page_answer(clerk.request, *found)


@router.post(
    "/lots/{code}/inspections", status_code=201, response_model=InspectionOut, dependencies=[Keyed]
)
def inspect_lot(clerk: Inspector, code: Code, asked: InspectionIn) -> Response:
    """Record what a lot looks and smells like; what calls for a hold places one."""
    return clerk.write(facts.inspect, code, asked)


@router.get("/lots/{code}/inspections", response_model=Items[InspectionOut])
def list_inspections(clerk: Reader, code: Code, page: PageAsked) -> Response:
    """List the inspections of a lot, oldest first; the newest stands."""
    found = clerk.read(queries.inspection_page, page, code, clerk.settings)
    return page_answer(clerk.request, *found)


@router.post(
    "/lots/{code}/exceptions", status_code=201, response_model=ExceptionOut, dependencies=[Keyed]
)
def record_exception(clerk: Inspector, code: Code, asked: ExceptionIn) -> Response:
    """Record what was wrong with some sacks of a lot."""
    return clerk.write(exceptions.record_exception, code, asked)


@router.get("/lots/{code}/exceptions", response_model=Items[ExceptionOut])
def list_exceptions(clerk: Reader, code: Code, page: PageAsked) -> Response:
    """List what was wrong with sacks of a lot, oldest first, with the numbers of its photos."""
    found = clerk.read(exceptions.exception_page, page, code, clerk.settings)
    return page_answer(clerk.request, *found)


@router.post(
    "/deliveries/{code}/close", status_code=201, response_model=ReceiptOut, dependencies=[Keyed]
)
def close_receipt(clerk: Receiver, code: str, asked: CloseIn) -> Response:
    """Close the receipt of a delivery, once the newest count of each lot reconciles."""
    return clerk.write(receipts.close, code, asked)
