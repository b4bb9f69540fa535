"""Samples, gradings and cuppings of green lots."""

from typing import Annotated

from fastapi import Path, Query, Response

from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.quality.grading import cuppings, gradings, queries, samples, voids
from app.quality.grading.schemas import (
    GradeOut,
    GradingIn,
    GradingOut,
    LotCuppingIn,
    LotCuppingOut,
    RecordVoidIn,
    SampleIn,
    SampleOut,
    SamplePlanOut,
    VoidedRecord,
)
from app.quality.grading.tables import SampleKind
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("quality")

Sampler = Annotated[Clerk, allowed(Permission.SAMPLE)]
Grader = Annotated[Clerk, allowed(Permission.GRADE)]
RecordNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]


@router.post("/samples", status_code=201, response_model=SampleOut, dependencies=[Keyed])
def take_sample(clerk: Sampler, asked: SampleIn) -> Response:
    """Draw a sample out of sacks, or enter one that somebody sent.

    What is drawn leaves the sacks with the reason `sample`. An offer, type or pre-shipment sample
    may have come from elsewhere: then it weighs nothing in the book.
    """
    return clerk.write(samples.take, asked)


@router.get("/samples", response_model=Items[SampleOut])
def list_samples(
    clerk: Reader,
    page: PageAsked,
    subject: Annotated[Code | None, Query()] = None,
    kind: SampleKind | None = None,
) -> Response:
    """List samples, oldest first; those of a lot with those of its sacks."""
    return page_answer(clerk.request, *clerk.read(queries.sample_page, page, subject, kind))


@router.post(
    "/samples/{number}/void", status_code=201, response_model=VoidedRecord, dependencies=[Keyed]
)
def void_sample(clerk: Sampler, number: RecordNumber, asked: RecordVoidIn) -> Response:
    """Undo a sample that was booked by mistake: the sacks get their coffee back."""
    return clerk.write(voids.void_sample, number, asked)


@router.get("/lots/{code}/sample-plan", response_model=SamplePlanOut)
def show_sample_plan(clerk: Reader, code: Code) -> Response:
    """Say how many sacks of a lot to sample, and how much of each."""
    return Answer(clerk.read(queries.sample_plan, code, clerk.settings))


@router.post(
    "/lots/{code}/gradings", status_code=201, response_model=GradingOut, dependencies=[Keyed]
)
def grade_lot(clerk: Grader, code: Code, asked: GradingIn) -> Response:
    """Record what was found in a sample and judge it by named standards.

    A standard judges only a count in a sample of its own mass. Moisture and water activity are the
    newest readings of the lot; where there is none, the verdict is unknown.
    """
    return clerk.write(gradings.grade, code, asked)


@router.get("/lots/{code}/gradings", response_model=Items[GradingOut])
def list_gradings(clerk: Reader, code: Code, page: PageAsked) -> Response:
    """List the gradings of a lot, oldest first, as each was judged then."""
    return page_answer(clerk.request, *clerk.read(queries.grading_page, page, code))


@router.post(
    "/lots/{code}/gradings/{number}/void",
    status_code=201,
    response_model=VoidedRecord,
    dependencies=[Keyed],
)
def void_grading(clerk: Grader, code: Code, number: RecordNumber, asked: RecordVoidIn) -> Response:
    """Say that a grading never was."""
    return clerk.write(voids.void_grading, code, number, asked)


@router.post(
    "/lots/{code}/cuppings", status_code=201, response_model=LotCuppingOut, dependencies=[Keyed]
)
def cup_lot(clerk: Grader, code: Code, asked: LotCuppingIn) -> Response:
    """Record a tasting of a green lot on a named form; the score is added up from its sections."""
    return clerk.write(cuppings.cup, code, asked)


@router.get("/lots/{code}/cuppings", response_model=Items[LotCuppingOut])
def list_lot_cuppings(clerk: Reader, code: Code, page: PageAsked) -> Response:
    """List the tastings of a green lot, oldest first."""
    return page_answer(clerk.request, *clerk.read(queries.cupping_page, page, code))


@router.post(
    "/lots/{code}/cuppings/{number}/void",
    status_code=201,
    response_model=VoidedRecord,
    dependencies=[Keyed],
)
def void_lot_cupping(
    clerk: Grader, code: Code, number: RecordNumber, asked: RecordVoidIn
) -> Response:
    """Say that a tasting of a green lot never was."""
    return clerk.write(voids.void_cupping, code, number, asked)


@router.get("/lots/{code}/grade", response_model=GradeOut)
def show_grade(clerk: Reader, code: Code) -> Response:
    """Show a lot's latest grading, judged by what is known now, and its scores form by form."""
    return Answer(clerk.read(queries.grade, code, clerk.settings))
