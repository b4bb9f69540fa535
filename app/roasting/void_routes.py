"""Voids of clean-downs, cuppings and colours."""

from typing import Annotated

from fastapi import Path, Response

from app.ledger.clerk import Clerk, Keyed, allowed
from app.ledger.corrections.schemas import ActVoided, ActVoidIn
from app.roasting import voids
from app.shared.codes import Code
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router()

Corrector = Annotated[Clerk, allowed(Permission.VOID)]
Cupper = Annotated[Clerk, allowed(Permission.CUP)]
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]


@router.post(
    "/machines/{code}/clean-downs/{number}/void",
    status_code=201,
    response_model=ActVoided,
    dependencies=[Keyed],
    tags=["roasting"],
)
def void_clean_down(clerk: Corrector, code: str, number: Number, asked: ActVoidIn) -> Response:
    """Take back a clean-down that was recorded by mistake; it stays, marked as voided."""
    return clerk.write(voids.void_clean_down, code, number, asked)


@router.post(
    "/locations/{code}/clean-downs/{number}/void",
    status_code=201,
    response_model=ActVoided,
    dependencies=[Keyed],
    tags=["places"],
)
def void_place_clean_down(
    clerk: Corrector, code: str, number: Number, asked: ActVoidIn
) -> Response:
    """Take back a clean-down of a place that was recorded by mistake; it stays, marked."""
    return clerk.write(voids.void_place_clean_down, code, number, asked)


@router.post(
    "/roasts/{code}/cuppings/{number}/void",
    status_code=201,
    response_model=ActVoided,
    dependencies=[Keyed],
    tags=["quality"],
)
def void_roast_cupping(clerk: Cupper, code: Code, number: Number, asked: ActVoidIn) -> Response:
    """Take back a verdict that was typed in by mistake; the one before it stands again.

    Refused while coffee is in use that only this verdict let go.
    """
    return clerk.write(voids.void_cupping, code, number, asked)


@router.post(
    "/roasts/{code}/colours/{number}/void",
    status_code=201,
    response_model=ActVoided,
    dependencies=[Keyed],
    tags=["roasting"],
)
def void_roast_colour(clerk: Corrector, code: Code, number: Number, asked: ActVoidIn) -> Response:
    """Take back a colour that was read later and by mistake; it stays, marked as voided.

    The colour that came with the roast is corrected with the roast: its gate went by it.
    """
    return clerk.write(voids.void_colour, code, number, asked)
