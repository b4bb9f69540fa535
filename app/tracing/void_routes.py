"""Voids of units."""

from typing import Annotated

from fastapi import Path, Response

from app.ledger.clerk import Clerk, Keyed, allowed
from app.ledger.schemas import Voided, VoidIn
from app.shared.codes import Code
from app.shared.routing import api_router
from app.shared.staff import Permission
from app.tracing import voiding

router = api_router("book")

Corrector = Annotated[Clerk, allowed(Permission.VOID)]
UnitCode = Annotated[Code, Path(description="The code of a lot, sack, roast, blend, pack, …")]


@router.post("/units/{code}/void", status_code=201, response_model=Voided, dependencies=[Keyed])
def void(clerk: Corrector, code: UnitCode, asked: VoidIn) -> Response:
    """Undo a mistaken roast, blend, pack, dispatch, return or lot.

    What something was made from goes only with all that was made from it: `with` names that, as
    `GET /units/{code}/impact` lists it. What quality stopped only quality undoes.
    """
    may_release = clerk.staff.may(Permission.RELEASE)
    return clerk.write(voiding.void, code, asked, may_release=may_release)
