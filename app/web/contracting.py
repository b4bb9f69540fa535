"""The tasks of purchase contracts: what was bought and comes, entering one, changing one."""

from collections.abc import Sequence
from datetime import date
from typing import Annotated, Any, Final

from fastapi import Query, Response
from sqlmodel import Session

from app.green.actions import SUPPLIERS
from app.green.contracts import actions, queries
from app.green.contracts.schemas import ContractChange, ContractIn
from app.ledger.cards import page_of
from app.settings import Settings
from app.shared.days import today_here
from app.shared.paging import Page, PageAsked
from app.shared.staff import Permission
from app.standards.buying import Form, PriceUnit, WeightBasis
from app.web import cards
from app.web.desk import Desk, may
from app.web.routing import page_router
from app.web.shown import mass_kg
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = page_router()

TASKS = (
    Task("/contracts", N_("Contracts"), Room.BUYING, Permission.CONTRACTS),
    Task("/contracts/new", N_("Enter a contract"), Room.BUYING, Permission.CONTRACTS),
)
Keeper = Annotated[Desk, may(Permission.CONTRACTS)]
Reference = Annotated[str, Query(min_length=1, max_length=40)]

STATES: Final = {
    "late": N_("Late"),
    "part": N_("Came in part"),
    "afloat": N_("Afloat or on the road"),
    "forward": N_("Forward, not shipped yet"),
    "received": N_("Received"),
    "ended": N_("Ended: nothing more comes"),
}
"""In the order in which they want somebody."""


def state_of(line: Any, today: date) -> str:  # noqa: ANN401 - a line as the API answers it
    """Tell how far a contract is; shipped is taken from the agreed time of shipment."""
    if line["received_kg"] >= line["accepted_from_kg"]:
        return "received"
    if line["ended_on"] and line["ended_on"] <= today:
        return "ended"
    if line["expected_on"] and line["expected_on"] < today:
        return "late"
    if line["received_kg"]:
        return "part"
    shipped = line["shipped_from"] or line["shipped_until"]
    return "afloat" if shipped and shipped <= today else "forward"


@router.get("/contracts")
def show_contracts(desk: Keeper, page: PageAsked, state: str = "") -> Response:
    """List contracts by how far they are."""
    prices = desk.staff.may(Permission.PRICES)
    lines, following = desk.read(
        queries.contract_page, Page(500, page.after), None, desk.settings, prices=prices
    )
    today = today_here()
    found = {name: [line for line in lines if state_of(line, today) == name] for name in STATES}
    shown = {name: there for name, there in found.items() if there and state in {"", name}}
    return desk.show(
        "contracts.html", found=shown, states=STATES, following=following, prices=prices
    )


def _offered(desk: Desk) -> dict[str, object]:
    """Gather what can be chosen."""
    return {
        "suppliers": [(name, name) for name in desk.read(_suppliers)],
        "bases": [
            (WeightBasis.SHIPPED, _("shipped weight")), (WeightBasis.LANDED, _("landed weight")),
        ],
        "standard_forms": [
            (Form.EUROPEAN, _("European form")), (Form.US, _("American form")),
            (Form.OTHER, _("another form")),
        ],
        "units": [(each, str(each)) for each in PriceUnit],
    }  # fmt: skip


def _suppliers(session: Session) -> Sequence[str]:
    cards_there, _following = page_of(session, SUPPLIERS, Page(500, 0))
    return sorted(str(card["name"]) for card in cards_there)


@router.get("/contracts/new")
def show_new(desk: Keeper) -> Response:
    """Ask what was agreed."""
    form = desk.blank(ContractIn, form=Form.EUROPEAN, weight_basis=WeightBasis.LANDED)
    return desk.show("contract.html", form, card=None, **_offered(desk))


@router.post("/contracts/new")
def enter(desk: Keeper) -> Response:
    """Enter a contract."""
    form = desk.sent(ContractIn)
    prices = desk.staff.may(Permission.PRICES)
    if made := desk.book(form, actions.add_contract, prices=prices):
        return desk.onward("/contracts", _told(_("%(contract)s is entered: %(mass)s."), made))
    return desk.show("contract.html", form, card=None, **_offered(desk))


@router.get("/contracts/change")
def show_change(desk: Keeper, reference: Reference) -> Response:
    """Show what was agreed, to be changed, and what came."""
    card = desk.read(_card, reference, desk.settings)
    form = cards.opened(card, ContractChange)
    return desk.show("contract.html", form, card=card, **_offered(desk))


@router.post("/contracts/change")
def change(desk: Keeper, reference: Reference) -> Response:
    """Change what was agreed."""
    card = desk.read(_card, reference, desk.settings)
    form = cards.changed(desk, card, ContractChange)
    prices = desk.staff.may(Permission.PRICES)
    if made := desk.book(
        form, actions.change_contract, reference, if_match=cards.tag_of(desk), prices=prices
    ):
        return desk.onward("/contracts", _told(_("%(contract)s is changed: %(mass)s."), made))
    return desk.show("contract.html", form, card=card, **_offered(desk))


def _card(session: Session, reference: str, settings: Settings) -> Any:  # noqa: ANN401 - see there
    return queries.contract(session, reference, settings, prices=True)


def _told(said: str, made: dict[str, Any]) -> str:
    return said % {"contract": made["reference"], "mass": mass_kg(made["quantity_kg"])}
