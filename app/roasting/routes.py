"""Machines and roasts."""

from typing import Annotated

from fastapi import Response

from app.ledger import cards
from app.ledger.cards import IfMatch
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.quality.rules import Disposition
from app.roasting import actions, machines, queries
from app.roasting.machines import MACHINES
from app.roasting.schemas import (
    CleanDownIn,
    CleanDownOut,
    MachineChange,
    MachineIn,
    MachineOut,
    RoastIn,
    RoastLine,
    RoastOut,
)
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("roasting")

MachineKeeper = Annotated[Clerk, allowed(Permission.MACHINES)]
Cleaner = Annotated[Clerk, allowed(Permission.CLEAN)]
Roaster = Annotated[Clerk, allowed(Permission.ROAST)]


@router.post("/machines", status_code=201, response_model=MachineOut, dependencies=[Keyed])
def add_machine(clerk: MachineKeeper, asked: MachineIn) -> Response:
    """Enter a roaster, a blender or a packing line."""
    return clerk.write(cards.add, MACHINES, asked)


@router.get("/machines", response_model=Items[MachineOut])
def list_machines(clerk: Reader, page: PageAsked) -> Response:
    """List machines."""
    return page_answer(clerk.request, *clerk.read(cards.page_of, MACHINES, page))


@router.get("/machines/{code}", response_model=MachineOut)
def show_machine(clerk: Reader, code: str) -> Response:
    """Show a machine, with the `ETag` a change needs."""
    return cards.show(clerk, MACHINES, code)


@router.patch("/machines/{code}", response_model=MachineOut)
def change_machine(
    clerk: MachineKeeper, code: str, asked: MachineChange, if_match: IfMatch = None
) -> Response:
    """Change a machine; its code and what it does stay."""
    return clerk.write(cards.change, MACHINES, code, asked, if_match)


@router.post(
    "/machines/{code}/clean-downs",
    status_code=201,
    response_model=CleanDownOut,
    dependencies=[Keyed],
)
def clean_down(clerk: Cleaner, code: str, asked: CleanDownIn) -> Response:
    """Record that a machine was emptied and cleaned: nothing carries over past it."""
    return clerk.write(machines.clean_down, code, asked)


@router.get("/machines/{code}/clean-downs", response_model=Items[CleanDownOut])
def list_clean_downs(clerk: Reader, code: str, page: PageAsked) -> Response:
    """List when a machine was cleaned, oldest entry first."""
    return page_answer(clerk.request, *clerk.read(queries.clean_down_page, page, code))


@router.post("/roasts", status_code=201, response_model=RoastOut, dependencies=[Keyed])
def roast(clerk: Roaster, asked: RoastIn) -> Response:
    """Book a roast: what was drawn from which sacks, and what came out.

    A roast that misses its profile, its end weight or its colour, or lacks one of them, is set
    aside until a quality role has tasted it. A loss that no roast has is refused as a slip.
    """
    return clerk.write(actions.roast, asked)


@router.get("/roasts", response_model=Items[RoastLine])
def list_roasts(clerk: Reader, page: PageAsked, disposition: Disposition | None = None) -> Response:
    """List roasts, oldest first; `disposition=set_aside` for those that wait for tasting."""
    return page_answer(
        clerk.request, *clerk.read(queries.roast_page, page, disposition, clerk.settings)
    )


@router.get("/roasts/{code}", response_model=RoastOut)
def show_roast(clerk: Reader, code: Code) -> Response:
    """Show a roast with its checks and the sacks it was drawn from."""
    return Answer(clerk.read(queries.roast, code, clerk.settings))
