"""The mass balance: what came in, where it is, and what nothing explains."""

from datetime import datetime
from typing import Annotated, Final

from fastapi import Response
from pydantic import Field
from sqlmodel import Session

from app.ledger.schemas import Asked
from app.recall.balance.flow import flow_of_period, flow_of_unit
from app.recall.balance.queries import balance_between, balance_of
from app.recall.balance.schemas import BalanceOfPeriod, BalanceOfUnit
from app.shared.codes import Code
from app.shared.problems import Refused
from app.shared.staff import Permission
from app.shared.times import MomentIn
from app.tracing.flow.svg import draw_in_page
from app.web.desk import Visiting
from app.web.kinds import named
from app.web.offers import Offer
from app.web.routing import page_router
from app.web.shown import moment, spoken
from app.web.tasks import Room, Task
from app.web.texts import N_, _

router = page_router()

TASKS = (Task("/mass-balance", N_("Mass balance"), Room.QUALITY, Permission.READ),)
OFFERS = (Offer("/mass-balance?code={code}", N_("Mass balance"), Permission.READ),)

_ENTRIES: Final = 10
"""So many entries are named behind each figure."""
TERMS: Final = {
    "received": N_("received"),
    "charged": N_("charged"),
    "blended_in": N_("blended in"),
    "brought_to_the_line": N_("brought to the line"),
    "sent": N_("sent"),
    "came_back": N_("came back"),
    "returned": N_("came back"),
    "used_in_roasts": N_("used in roasts"),
    "used_in_blends": N_("used in blends"),
    "used_in_packs": N_("used in packs"),
    "used_otherwise": N_("used otherwise"),
    "lost_in_roasting": N_("lost in roasting"),
    "lost_in_blending": N_("lost in blending"),
    "lost_in_packing": N_("lost in packing"),
    "lost": N_("lost"),
    "sample": N_("samples"),
    "spill": N_("spilled"),
    "count": N_("counts"),
    "moisture": N_("moisture"),
    "destroyed": N_("destroyed"),
    "draw_difference": N_("book against scale"),
    "other": N_("otherwise adjusted"),
}
"""What a term is called; another one by its own word."""


class BalanceAsked(Asked):
    """Of what, or of which time; everything until now when nothing is said."""

    code: Code | None = None
    since: MomentIn | None = Field(default=None, alias="from")
    until: MomentIn | None = Field(default=None, alias="to")


Balance = Annotated[BalanceOfUnit | BalanceOfPeriod, "of a unit or of a time"]


@router.get("/mass-balance")
def show_balance(desk: Visiting) -> Response:
    """Show a balance with its picture, and ask for another."""
    form = desk.blank(BalanceAsked).read()
    balance: Balance | None = None
    if form.asked is not None:
        try:
            balance = desk.read(_balance, form.asked)
        except Refused as refused:
            form.refuse(refused)
    of_unit = isinstance(balance, BalanceOfUnit)
    return desk.show(
        "mass_balance.html", form, balance=balance, of_unit=of_unit, named=named, terms=TERMS,
        heading=_heading(balance), picture=_picture(balance),
    )  # fmt: skip


def _balance(session: Session, asked: BalanceAsked) -> Balance:
    if asked.code is not None:
        return balance_of(session, asked.code, _ENTRIES)
    return balance_between(session, asked.since, asked.until, _ENTRIES)


def _heading(balance: Balance | None) -> str:
    if balance is None:
        return _("Mass balance")
    if isinstance(balance, BalanceOfUnit):
        return _("Mass balance of %(code)s") % {"code": balance.of.code}
    until: datetime = balance.until
    if balance.since is None:
        return _("Mass balance until %(when)s") % {"when": moment(until)}
    since: datetime = balance.since
    return _("Mass balance from %(since)s to %(until)s") % {
        "since": moment(since), "until": moment(until),
    }  # fmt: skip


def _picture(balance: Balance | None) -> str | None:
    if balance is None:
        return None
    speech = spoken()
    if isinstance(balance, BalanceOfUnit):
        flow = flow_of_unit(balance)
    else:
        flow = flow_of_period(balance, speech)
    return draw_in_page(flow, _heading(balance), {}, speech) if flow.links else None
