"""Sending: what orders want and what is free, picking by the oldest date, dispatch by scanning."""

from collections.abc import Mapping, Sequence
from datetime import timedelta
from itertools import groupby
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Query, Response
from sqlmodel import Session

from app.ledger.tables import UnitKind
from app.papers.case_labels import draw_case_label
from app.papers.drawing import draw_note
from app.papers.queries import case_facts, note_facts
from app.sending import queries
from app.sending.actions import dispatch
from app.sending.cases.naming import CaseCode
from app.sending.orders.queries import OpenLine, open_lines
from app.sending.orders.queries import order as order_out
from app.sending.orders.schemas import OrderOut
from app.sending.picking.actions import record
from app.sending.picking.queries import pick as pick_out
from app.sending.picking.queries import pick_page, suggestion_for
from app.sending.picking.schemas import PickIn, PickOut, PickSuggestion
from app.sending.schemas import DispatchIn
from app.sending.tables import CustomerKind
from app.settings import Settings
from app.shared.answers import Pdf
from app.shared.codes import Code, fold
from app.shared.days import today_here
from app.shared.paging import Page
from app.shared.staff import Permission
from app.shared.texts import speech_in
from app.web import loading
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form
from app.web.offers import Offer
from app.web.routing import page_router
from app.web.shown import mass_kg
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = page_router()

TASKS = (
    Task("/sending", N_("Orders to send"), Room.SENDING, Permission.DISPATCH),
    Task("/send", N_("Send bags"), Room.SENDING, Permission.DISPATCH, offline=True),
)
_SENT: Final = frozenset({UnitKind.DISPATCH})
OFFERS = (Offer("/sent/{code}", N_("Its papers"), Permission.READ, _SENT, likely=_SENT),)

Sender = Annotated[Desk, may(Permission.DISPATCH)]
PickNumber = Annotated[int | None, Query(ge=1, le=2**31 - 1)]

AHEAD: Final = timedelta(days=14)
MOST: Final = 100
WHY_NOT: Final = {
    "held": N_("on hold"),
    "weight_rejected": N_("check of weight rejected"),
    "kept": N_("kept for another pick"),
    "past_best_before": N_("past its best-before"),
}


class Open(NamedTuple):
    """An order, what it still wants and what is free for it."""

    line: OpenLine
    """The first of its lines."""
    lines: Sequence[OpenLine]
    short: Mapping[str, int]
    """Bags that are not there by product, once earlier orders have theirs."""

    @property
    def none(self) -> bool:
        """Whether nothing of it is there to be sent."""
        return all(self.short.get(line.sku, 0) >= line.bags for line in self.lines)


class Waiting(NamedTuple):
    """What waits to be sent, and what is free for it."""

    orders: Sequence[Open]
    free: Mapping[str, int]
    picks: Sequence[Mapping[str, Any]]


def _waiting(session: Session) -> Waiting:
    lines = open_lines(session, today_here() + AHEAD)
    free = loading.free_bags(session, sorted({line.sku for line in lines}))
    left = dict(free)
    orders = []
    for _code, same in groupby(lines, key=lambda line: line.order):
        wanted = list(same)
        short = {line.sku: line.bags - left.get(line.sku, 0) for line in wanted}
        orders.append(
            Open(wanted[0], wanted, {sku: bags for sku, bags in short.items() if bags > 0})
        )
        left |= {line.sku: max(left.get(line.sku, 0) - line.bags, 0) for line in wanted}
    picks, _more = pick_page(session, Page(MOST, 0), True)
    return Waiting(orders[:MOST], free, picks)


@router.get("/sending")
def show_orders(desk: Sender) -> Response:
    """List what orders want, the earliest due first, and what is free for them."""
    return desk.show("orders_to_send.html", waiting=desk.read(_waiting), today=today_here())


class Load(NamedTuple):
    """What a dispatch can be made of."""

    customers: Sequence[tuple[str, str]]
    crates: Sequence[tuple[str, str]]
    order: OrderOut | None
    suggested: PickSuggestion | None
    pick: PickOut | None

    @property
    def lines(self) -> Sequence[Any]:
        found = self.pick or self.suggested
        return found.lines if found else []


def _load(session: Session, settings: Settings, order: str | None, pick: int | None) -> Load:
    kept = pick_out(session, pick, settings) if pick else None
    code = order or (kept.order if kept else None)
    found = order_out(session, code) if code else None
    return Load(
        loading.customers(session, CustomerKind.BUSINESS),
        loading.crate_kinds(session),
        found,
        suggestion_for(session, found, settings) if found and not kept else None,
        kept,
    )


@router.get("/send")
def show_send(
    desk: Sender, order: Annotated[Code | None, Query()] = None, pick: PickNumber = None
) -> Response:
    """Ask what leaves to whom; an order fills in its customer and the oldest bags that are free."""
    load = desk.read(_load, desk.settings, order, pick)
    filled: dict[str, object] = {}
    if not any(name.startswith("lines.") for name in desk.request.query_params):
        for row, line in enumerate(load.lines):
            filled[f"lines.{row}.pack"] = line.pack
            filled[f"lines.{row}.bags"] = line.bags
    if load.order:
        filled |= {"order": load.order.code, "customer": load.order.customer}
    elif load.pick:
        filled["customer"] = load.pick.customer
    return _page(desk, desk.blank(DispatchIn, **filled), load)


@router.post("/send/keep")
def keep(desk: Sender) -> Response:
    """Keep the suggested bags for an order, so that nobody else sends them."""
    form = desk.sent(PickIn)
    if kept := desk.book(form, record):
        return desk.onward(f"/send?pick={kept['id']}", _("These bags are kept for this order."))
    load = desk.read(_load, desk.settings, str(fold(form.value("order"))), None)
    order = load.order
    filled = {"order": order.code, "customer": order.customer} if order else {}
    return _page(desk, desk.blank(DispatchIn, **filled), load, keeping=form)


@router.post("/send")
def send(desk: Sender) -> Response:
    """Book the dispatch, or say what would leave and what speaks against it."""
    desk.typed = desk.read(loading.by_what_leaves, desk.typed, "lines")
    form = desk.sent(DispatchIn)
    if desk.only_looks:
        return _page(desk, form, seen=desk.look(form, dispatch))
    if sent := desk.book(form, dispatch):
        told = _("%(code)s booked: %(mass)s to %(customer)s.") % {
            "code": sent["code"],
            "mass": mass_kg(sent["kg"]),
            "customer": sent["customer"],
        }
        said = " ".join([told, *sent["warnings"]])
        return desk.onward(f"/sent/{sent['code']}", said, mind=bool(sent["warnings"]))
    return _page(desk, form)


def _page(
    desk: Desk,
    form: Form[DispatchIn],
    load: Load | None = None,
    seen: Mapping[str, Any] | None = None,
    keeping: Form[PickIn] | None = None,
) -> Response:
    load = load or desk.read(_load, desk.settings, None, None)
    return desk.show(
        "send.html",
        form,
        load=load,
        seen=seen,
        keeping=keeping or desk.blank(PickIn),
        why_not=WHY_NOT,
    )


@router.get("/sent/{code}")
def show_sent(desk: Visiting, code: str) -> Response:
    """Show what left, with its papers."""
    sent = desk.read(queries.dispatch, str(fold(code)))
    return desk.show("sent.html", sent=sent)


@router.get("/sent/{code}/note.pdf")
def show_note(desk: Visiting, code: Code) -> Response:
    """Draw the delivery note."""
    facts = desk.read(note_facts, code, desk.settings)
    note = draw_note(facts, speech_in(desk.settings.house_language))
    name = f'inline; filename="delivery-note-{facts.code}.pdf"'
    return Pdf(note, headers={"Content-Disposition": name})


@router.get("/case/{code}/label.pdf")
def show_case_label(desk: Visiting, code: CaseCode) -> Response:
    """Draw the label of a case or pallet."""
    facts = desk.read(case_facts, code, desk.settings)
    speech = speech_in(desk.settings.house_language)
    pdf = draw_case_label(facts, desk.settings.label_large_mm, speech)
    return Pdf(pdf, headers={"Content-Disposition": f'inline; filename="case-{facts.code}.pdf"'})
