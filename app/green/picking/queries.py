"""Reading what can be picked, and the lists that were made."""

from collections.abc import Mapping, Sequence
from functools import cache

from sqlalchemy import ColumnElement, Subquery, case, func, or_, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.picking.rules import Choice, Draw, suggest, why_left_out
from app.green.picking.schemas import LeftOutLine, PickLine, PickListOut, PickSuggestion
from app.green.picking.tables import PickList, PickListLine, PickListLot
from app.green.tables import Delivery, GreenLot, Sack
from app.ledger.queries import on_hold, units_by_code
from app.ledger.tables import Entry, Flow, Unit, UnitKind
from app.places.cautions import heavy_over_g
from app.places.tables import Location, PlaceKind
from app.places.tree import STANDING, outside, paths
from app.settings import Settings
from app.shared.db import AnySelect, among
from app.shared.mass import kg_from_grams, kg_text
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import Refused
from app.shared.times import text
from app.standards.crop_years import crop_years
from app.standards.handling import pick_caution


def suggestion(
    session: Session, lots: Sequence[str], grams: int, settings: Settings
) -> PickSuggestion:
    """Suggest which sacks to take so much coffee from; nothing is reserved by it.

    Raises:
        Refused: `insufficient-stock` when the lots cannot give that much.
    """
    sacks = choices(session, lots)
    draws = enough(lots, sacks, grams)
    return PickSuggestion(
        lots=list(lots), grams=grams, lines=lines(draws, settings), left_out=left_out(sacks)
    )


def choices(session: Session, lots: Sequence[str]) -> list[Choice]:
    """Read every sack of these lots, the voided, held and empty ones too."""
    ids = [unit.id for unit in units_by_code(session, lots, UnitKind.LOT).values()]
    rows = session.execute(_sacks().where(among(session, col(Sack.lot_id), ids))).all()
    ways = paths(session, {row.location_id for row in rows if row.location_id is not None})
    outside = {
        place for place, way in ways.items() if any(s.kind is PlaceKind.EXTERNAL for s in way)
    }
    return [
        Choice(
            id=row.id, code=row.code, lot=row.lot, number=row.number, place_id=row.location_id,
            place=row.place, left_g=row.left_g, drawn=bool(row.drawn),
            crop=crop_years(row.crop_year) if row.crop_year else None,
            arrived_at=row.happened_at, voided=row.voided_entry_id is not None,
            held=bool(row.held), external=row.location_id in outside,
        )
        for row in rows
    ]  # fmt: skip


@cache
def _sacks() -> AnySelect:
    lot = aliased(Unit)
    return (
        select(
            col(Unit.id),
            col(Unit.code),
            col(lot.code).label("lot"),
            col(Sack.number),
            col(Unit.location_id),
            col(Location.code).label("place"),
            col(Unit.left_g),
            col(GreenLot.crop_year),
            col(Entry.happened_at),
            col(Unit.voided_entry_id),
            on_hold(col(Unit.id)).label("held"),
            _drawn().label("drawn"),
        )
        .join(Sack, col(Sack.unit_id) == col(Unit.id))
        .join(lot, col(lot.id) == col(Sack.lot_id))
        .join(GreenLot, col(GreenLot.unit_id) == col(Sack.lot_id))
        .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .join(Entry, col(Entry.id) == col(Delivery.entry_id))
        .outerjoin(Location, col(Location.id) == col(Unit.location_id))
        .order_by(col(Unit.id))
    )


def _drawn() -> ColumnElement[bool]:
    """Tell in a statement whether anything that still counts was made from a sack."""
    made = aliased(Unit)
    return (
        select(col(Flow.target_id))
        .join(made, col(made.id) == col(Flow.target_id))
        .where(col(Flow.source_id) == col(Unit.id), col(made.voided_entry_id).is_(None))
        .correlate(Unit)
        .exists()
    )


def suggested(wanted: Subquery) -> AnySelect:
    """Select the sacks that `suggest` takes so many `grams` of each `lot_id` from, and how much.

    Sacks of one lot are of one crop and came together, so that here drawn and number decide.
    """
    at = col(Unit.location_id)
    before = func.sum(col(Unit.left_g)).over(
        partition_by=col(Sack.lot_id),
        order_by=(case((_drawn(), 0), else_=1), col(Sack.number), col(Unit.id)),
        rows=(None, -1),
    )
    sacks = (
        select(
            col(Unit.id),
            col(Unit.code),
            col(Unit.location_id),
            col(Unit.left_g),
            (wanted.c.grams - func.coalesce(before, 0)).label("missing_g"),
        )
        .join(Sack, col(Sack.unit_id) == col(Unit.id))
        .join(wanted, wanted.c.lot_id == col(Sack.lot_id))
        .where(STANDING, col(Unit.voided_entry_id).is_(None), ~on_hold(col(Unit.id)))
        .where(or_(at.is_(None), at.not_in(select(outside().c.id))))
        .subquery()
    )
    missing, left = sacks.c.missing_g, sacks.c.left_g
    drawn_g = case((missing < left, missing), else_=left).label("grams")
    return select(sacks.c.id, sacks.c.code, sacks.c.location_id, drawn_g).where(missing > 0)


def enough(lots: Sequence[str], sacks: Sequence[Choice], grams: int) -> list[Draw]:
    """Suggest draws, or refuse with the figures when there is too little."""
    draws = suggest(sacks, grams)
    there_g = sum(draw.grams for draw in draws)
    if there_g < grams:
        raise Refused(
            "insufficient-stock",
            f"Of {', '.join(lots)} {kg_text(there_g)} can be picked; {kg_text(grams)} were asked.",
            lots=list(lots),
            asked_kg=kg_from_grams(grams),
            available_kg=kg_from_grams(there_g),
            short_kg=kg_from_grams(grams - there_g),
            left_out=[each.model_dump(mode="json") for each in left_out(sacks)],
        )
    return draws


def left_out(sacks: Sequence[Choice]) -> list[LeftOutLine]:
    """Name the sacks that cannot be drawn from, with the reason."""
    return [
        LeftOutLine(sack=sack.code, lot=sack.lot, why=why)
        for sack in sacks
        if (why := why_left_out(sack)) is not None
    ]


def lines(draws: Sequence[Draw], settings: Settings) -> list[PickLine]:
    """Show draws as the lines of a list."""
    over_g = heavy_over_g(settings)
    return [
        _line(draw.sack.code, draw.sack.lot, draw.sack.place, draw.grams, draw.sack.left_g, over_g)
        for draw in draws
    ]


def _line(  # noqa: PLR0917 - the columns of a list
    sack: str, lot: str, place: str | None, grams: int, there_g: int, over_g: int
) -> PickLine:
    return PickLine(
        sack=sack, lot=lot, location=place, grams=grams, whole=grams == there_g,
        left_after_g=there_g - grams, caution=pick_caution(there_g, grams, over_g),
    )  # fmt: skip


def pick_list(session: Session, number: int, settings: Settings) -> PickListOut:
    """Read a list as it was made."""
    row = session.execute(_lists().where(col(PickList.id) == number)).first()
    if row is None:
        raise Refused("not-found", f"There is no pick list {number}.")
    lot = aliased(Unit)
    drawn = session.execute(
        select(
            col(Unit.code),
            col(lot.code).label("lot"),
            col(Location.code).label("place"),
            col(PickListLine.grams),
            col(PickListLine.there_g),
        )
        .join(Unit, col(Unit.id) == col(PickListLine.sack_id))
        .join(Sack, col(Sack.unit_id) == col(PickListLine.sack_id))
        .join(lot, col(lot.id) == col(Sack.lot_id))
        .outerjoin(Location, col(Location.id) == col(PickListLine.location_id))
        .where(col(PickListLine.pick_list_id) == number)
        .order_by(col(PickListLine.number))
    )
    over_g = heavy_over_g(settings)
    return PickListOut(
        id=row.id, lots=_lots(session, [row.id])[row.id], grams=row.grams, reason=row.reason,
        as_suggested=row.as_suggested, listed_at=row.happened_at, listed_by=row.who,
        lines=[
            _line(each.code, each.lot, each.place, each.grams, each.there_g, over_g)
            for each in drawn
        ],
        entry=row.entry_id,
    )  # fmt: skip


@cache
def _lists() -> AnySelect:
    return select(
        col(PickList.id),
        col(PickList.grams),
        col(PickList.as_suggested),
        col(PickList.reason),
        col(PickList.entry_id),
        col(Entry.happened_at),
        col(Entry.who),
    ).join(Entry, col(Entry.id) == col(PickList.entry_id))


def _lots(session: Session, numbers: Sequence[int]) -> Mapping[int, list[str]]:
    found: dict[int, list[str]] = {}
    rows = session.execute(
        select(col(PickListLot.pick_list_id), col(Unit.code))
        .join(Unit, col(Unit.id) == col(PickListLot.lot_id))
        .where(col(PickListLot.pick_list_id).in_(numbers))
        .order_by(col(Unit.id))
    )
    for number, code in rows:
        found.setdefault(number, []).append(code)
    return found


def pick_list_page(session: Session, page: Page) -> PageOf:
    """Read lists in the order they were made."""
    rows, following = turn_page(session, _lists(), col(PickList.id), page)
    lots = _lots(session, [row.id for row in rows])
    return [
        {
            "id": row.id, "lots": lots[row.id], "kg": kg_from_grams(row.grams),
            "as_suggested": row.as_suggested, "reason": row.reason,
            "listed_at": text(row.happened_at), "listed_by": row.who,
        }
        for row in rows
    ], following  # fmt: skip
