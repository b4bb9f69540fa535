"""The task of saying how components and origins are bought: planning cards."""

from typing import Annotated, Any

from fastapi import Query, Response
from sqlmodel import Session

from app.cover.cards.queries import PLANNING_CARDS, planning_cards, tidy
from app.cover.cards.schemas import PlanningCardChange, PlanningCardIn, PlanningCardOut
from app.cover.ordering import orders_of_green
from app.cover.rules import OrderUnit
from app.cover.schemas import SuggestedOrder
from app.ledger import cards as book
from app.settings import Settings
from app.shared.names import fold_name
from app.shared.staff import Permission
from app.web import cards
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = page_router()

TASKS = (Task("/planning", N_("How it is bought"), Room.BUYING, Permission.PLANNING),)
Planner = Annotated[Desk, may(Permission.PLANNING)]
Item = Annotated[str, Query(min_length=8, max_length=220)]


@router.get("/planning")
def show_planning(desk: Planner) -> Response:
    """Show by what everything is ordered: its card, or what stands in for one."""
    return desk.show("planning.html", items=desk.read(_items, desk.settings))


def _items(session: Session, settings: Settings) -> list[tuple[str, SuggestedOrder | None, bool]]:
    """Tell of everything that is ordered whether it has a card; what only has one comes last."""
    known = planning_cards(session)
    there = {fold_name(card.item): card.item for some in known.values() for card in some.values()}
    found: list[tuple[str, SuggestedOrder | None, bool]] = [
        (item, each, there.pop(fold_name(item), None) is not None)
        for ordered in orders_of_green(session, known, settings)
        for each in ordered.items
        for item in [f"{ordered.by}:{each.key}"]
    ]
    return [*found, *((item, None, True) for item in there.values())]


def _card(session: Session, item: str) -> PlanningCardOut | None:
    card = book.find(session, PLANNING_CARDS, tidy(item))
    return card if card is None else PlanningCardOut.model_validate(card, from_attributes=True)


def _choices() -> dict[str, object]:
    return {
        "units": [
            (OrderUnit.SACK, _("sacks")), (OrderUnit.PALLET, _("pallets")),
            (OrderUnit.CONTAINER, _("containers")),
        ],
        "harvest": [("false", _("again and again")), ("true", _("once a harvest"))],
    }  # fmt: skip


@router.get("/planning/card")
def show_card(desk: Planner, item: Item) -> Response:
    """Ask how something is bought."""
    card = desk.read(_card, item)
    if card is not None:
        return _page(desk, cards.opened(card, PlanningCardChange), card.item, card)
    form = desk.blank(PlanningCardIn, item=tidy(item), harvest_bound="false")
    return _page(desk, form, tidy(item), None)


def _page(desk: Desk, form: Form[Any], item: str, card: PlanningCardOut | None) -> Response:
    return desk.show("planning_card.html", form, card=card, item=item, **_choices())


@router.post("/planning/card")
def keep_card(desk: Planner, item: Item) -> Response:
    """Enter the card, or change it."""
    card = desk.read(_card, item)
    form: Form[Any]
    if card is None:
        form = desk.sent(PlanningCardIn)
        made = desk.book(form, book.add, PLANNING_CARDS)
    else:
        form = cards.changed(desk, card, PlanningCardChange)
        made = desk.book(form, book.change, PLANNING_CARDS, card.item, if_match=cards.tag_of(desk))
    if made:
        return desk.onward("/planning", _("Kept: %(item)s.") % {"item": made["item"]})
    return _page(desk, form, card.item if card else tidy(item), card)
