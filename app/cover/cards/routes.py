"""Planning cards."""

from typing import Annotated

from fastapi import Path, Response

from app.cover.cards.queries import PLANNING_CARDS, tidy
from app.cover.cards.schemas import PlanningCardChange, PlanningCardIn, PlanningCardOut
from app.ledger import cards
from app.ledger.cards import IfMatch
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("cover")

Planner = Annotated[Clerk, allowed(Permission.PLANNING)]
Item = Annotated[str, Path(max_length=220)]


@router.post(
    "/planning-cards", status_code=201, response_model=PlanningCardOut, dependencies=[Keyed]
)
def add_planning_card(clerk: Planner, asked: PlanningCardIn) -> Response:
    """Say how something is bought."""
    tidied = asked.model_copy(update={"item": tidy(asked.item)})
    return clerk.write(cards.add, PLANNING_CARDS, tidied)


@router.get("/planning-cards", response_model=Items[PlanningCardOut])
def list_planning_cards(clerk: Reader, page: PageAsked) -> Response:
    """List planning cards."""
    return page_answer(clerk.request, *clerk.read(cards.page_of, PLANNING_CARDS, page))


# The name of a component may have slashes in it.
@router.get("/planning-cards/{item:path}", response_model=PlanningCardOut)
def show_planning_card(clerk: Reader, item: Item) -> Response:
    """Show a planning card by its item or number, with the `ETag` a change needs."""
    return cards.show(clerk, PLANNING_CARDS, item)


@router.patch("/planning-cards/{item:path}", response_model=PlanningCardOut)
def change_planning_card(
    clerk: Planner, item: Item, asked: PlanningCardChange, if_match: IfMatch = None
) -> Response:
    """Change how it is bought; what it is stays."""
    return clerk.write(cards.change, PLANNING_CARDS, item, asked, if_match)
