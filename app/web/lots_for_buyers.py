"""The page of green on hand: age, holds, evidence, and cost for those who may see prices."""

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Literal, NamedTuple

from fastapi import Depends, Query, Response
from sqlalchemy import select
from sqlmodel import Session, col

from app.buying.queries import age_by_month
from app.buying.wording import LIGHTS
from app.green.certificates.queries import claims_of_lots, on_record
from app.green.evidence.queries import known_of
from app.green.evidence.rules import Lack, lacking
from app.ledger.queries import on_hold
from app.ledger.tables import Unit, UnitKind
from app.settings import Settings
from app.shared.answers import Svg
from app.shared.codes import Code, fold
from app.shared.names import fold_name
from app.shared.paging import Page
from app.shared.staff import Permission
from app.standards.costing import CostKind
from app.tracing.evidence.queries import lot_evidence
from app.value.ageing import aged_lots
from app.value.landed import landed_costs
from app.value.queries import landed
from app.value.schemas import AgedLot, CostOfMass
from app.value.showing import of_mass
from app.web.desk import Visiting
from app.web.offers import Offer
from app.web.routing import page_router
from app.web.shown import kilograms, spoken
from app.web.tasks import Room, Task
from app.web.texts import N_

router = page_router()

TASKS = (Task("/green", N_("Green on hand"), Room.BUYING, Permission.PRICES),)
OFFERS = (Offer("/green/{code}", N_("Where it grew"), Permission.READ, frozenset({UnitKind.LOT})),)
MOST = 50
COSTS = {
    CostKind.PURCHASE: N_("the coffee itself"), CostKind.FREIGHT: N_("freight"),
    CostKind.INSURANCE: N_("insurance"), CostKind.DUTY: N_("duty"),
    CostKind.PORT: N_("port and terminal"), CostKind.CUSTOMS_AGENT: N_("customs agent"),
    CostKind.HAULAGE: N_("haulage"), CostKind.INSPECTION: N_("inspection"),
    CostKind.FINANCE: N_("finance"), CostKind.STORAGE: N_("storage"),
    CostKind.OTHER: N_("other costs"), CostKind.CLAIM: N_("claimed back"),
}  # fmt: skip
LACKS = {
    Lack.ROLE: N_("role of the firm"), Lack.SUPPLIER: N_("supplier"),
    Lack.SUPPLIER_ADDRESS: N_("address of the supplier"),
    Lack.SUPPLIER_EMAIL: N_("e-mail address of the supplier"), Lack.PLOTS: N_("plots"),
    Lack.COUNTRY: N_("country"), Lack.PRODUCTION_PERIOD: N_("time of production"),
    Lack.HS_CODE: N_("customs code"), Lack.STATEMENT: N_("statement"),
    Lack.VERIFICATION: N_("verification number"), Lack.EVIDENCE: N_("all evidence"),
}  # fmt: skip


class Wanted(NamedTuple):
    """What is looked for; nothing asks for everything."""

    text: str
    origin: str
    light: str
    hold: str

    def fits(self, lot: AgedLot) -> bool:
        """Tell whether a lot is one of those."""
        words = fold_name(f"{lot.lot} {lot.name} {lot.crop_year or ''}")
        return (
            fold_name(self.text) in words
            and self.origin.upper() in {"", lot.origin}
            and self.light in {"", lot.crop_age.light}
            and self.hold in {"", "held" if lot.held else "free"}
        )


class Shown(NamedTuple):
    """A lot as it stands in the list."""

    lot: AgedLot
    costs: Sequence[CostOfMass]
    claims: Sequence[str]
    lacks: int
    """How much of the evidence of where it grew is missing."""


class Found(NamedTuple):
    """A page of lots, oldest crop first, and what there is altogether."""

    shown: Sequence[Shown]
    number: int
    grams: int
    origins: Sequence[str]


def _find(
    session: Session, wanted: Wanted, start: int, settings: Settings, *, prices: bool
) -> Found:
    """Look lots up and read what is known of a page of them, in a fixed number of statements."""
    lots = aged_lots(session, settings)
    fitting = sorted(
        (number for number, lot in lots.items() if wanted.fits(lot)),
        key=lambda number: (lots[number].crop_age.since, number),
    )
    page = fitting[start : start + MOST]
    known, claims = known_of(session, page), claims_of_lots(session, page)
    costs: Mapping[int, Any] = landed_costs(session, page) if prices else {}
    return Found(
        [
            Shown(
                lots[number],
                of_mass(costs[number].money, costs[number].net_g) if prices else [],
                claims.get(number, []),
                len(list(lacking(known[number], trader_plots=settings.eudr_trader_plots))),
            )
            for number in page
        ],
        len(fitting),
        sum(lots[number].on_hand_g for number in fitting),
        sorted({lot.origin for lot in lots.values()}),
    )


def _asked(
    text: Annotated[str, Query(max_length=100)] = "",
    origin: Annotated[str, Query(max_length=2)] = "",
    light: Annotated[str, Query(max_length=10)] = "",
    hold: Literal["", "held", "free"] = "",
) -> Wanted:
    return Wanted(text, origin, light, hold)


@router.get("/green")
def show_green(
    desk: Visiting,
    wanted: Annotated[Wanted, Depends(_asked)],
    start: Annotated[int, Query(ge=0, le=1_000_000)] = 0,
) -> Response:
    """List green on hand, oldest crop first."""
    prices = desk.staff.may(Permission.PRICES)
    found = desk.read(_find, wanted, start, desk.settings, prices=prices)
    return desk.show(
        "green.html", found=found, wanted=wanted, lights=LIGHTS, start=start,
        more=start + MOST if start + MOST < found.number else None, prices=prices,
    )  # fmt: skip


@router.get("/green/months.svg")
def draw_months(desk: Visiting) -> Response:
    """Draw green on hand by its age."""
    found = desk.read(age_by_month, desk.settings)
    from app.buying.drawing import ages_of  # noqa: PLC0415 - takes seconds to load

    return Svg(ages_of(found, spoken(kilograms)).svg())


def _held_and_records(session: Session, code: str) -> tuple[bool, list[Any]]:
    """Read of a lot that is there whether it is on hold, and its certificates."""
    lot = session.execute(
        select(col(Unit.id), on_hold(col(Unit.id)).label("held")).where(col(Unit.code) == code)
    ).one()
    records, _following = on_record(session, Page(100, 0), lot.id, code)
    return lot.held, list(records)


@router.get("/green/{code}")
def show_lot(desk: Visiting, code: Code) -> Response:
    """Show what a lot cost and what is known of where it grew."""
    prices, lot = desk.staff.may(Permission.PRICES), str(fold(code))
    evidence = desk.read(lot_evidence, lot, desk.settings)
    held, records = desk.read(_held_and_records, evidence.lot)
    return desk.show(
        "green_lot.html",
        evidence=evidence,
        held=held,
        records=records,
        costs=COSTS,
        lacks=LACKS,
        cost=desk.read(landed, lot) if prices else None,
    )
