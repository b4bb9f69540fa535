"""Styles."""

from typing import Annotated

from fastapi import Response

from app.ledger import cards
from app.ledger.card_versions import VersionOut, version_page
from app.ledger.cards import IfMatch
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.roasting.styles import actions
from app.roasting.styles.actions import STYLES
from app.roasting.styles.schemas import StyleChange, StyleIn, StyleOut
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("roasting")

StyleKeeper = Annotated[Clerk, allowed(Permission.STYLES)]


@router.post("/styles", status_code=201, response_model=StyleOut, dependencies=[Keyed])
def add_style(clerk: StyleKeeper, asked: StyleIn) -> Response:
    """Enter a style: what its roasts are held to."""
    return clerk.write(actions.add_style, asked)


@router.get("/styles", response_model=Items[StyleOut])
def list_styles(clerk: Reader, page: PageAsked) -> Response:
    """List styles."""
    return page_answer(clerk.request, *clerk.read(cards.page_of, STYLES, page))


@router.get("/styles/{name}", response_model=StyleOut)
def show_style(clerk: Reader, name: str) -> Response:
    """Show a style by name or number, with the `ETag` a change needs."""
    return cards.show(clerk, STYLES, name)


@router.patch("/styles/{name}", response_model=StyleOut)
def change_style(
    clerk: StyleKeeper, name: str, asked: StyleChange, if_match: IfMatch = None
) -> Response:
    """Change a style: the next version. Earlier roasts stay judged by theirs."""
    return clerk.write(actions.change_style, name, asked, if_match)


@router.get("/styles/{name}/versions", response_model=Items[VersionOut[StyleOut]])
def list_versions(clerk: Reader, name: str, page: PageAsked) -> Response:
    """List what a style was, the first version first."""
    return page_answer(clerk.request, *clerk.read(version_page, page, STYLES, name))
