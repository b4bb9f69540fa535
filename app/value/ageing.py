"""How old the green on hand is: by its harvest, its arrival, and crops that came after it."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.green.condition.newest import lot_readings
from app.green.identity.queries import identity
from app.green.identity.rules import Light
from app.green.tables import Delivery, GreenLot, Sack
from app.ledger.queries import on_hold
from app.ledger.tables import Entry, Unit
from app.settings import Settings
from app.shared.days import day_of, today_here
from app.shared.db import among
from app.shared.paging import Page, PageOf, turn_page
from app.standards.crop_years import CropYears, crop_years
from app.value.schemas import AgedLot


class Wanted(NamedTuple):
    """Which lots a list is to show; None asks for nothing."""

    light: Light | None
    past_crop: bool | None
    reading_due: bool | None
    origin: str | None


class _Crop(NamedTuple):
    """The newest crop of an origin that ever came, and the lot that brought it first."""

    years: CropYears
    lot: str


def ageing_page(session: Session, page: Page, wanted: Wanted, settings: Settings) -> PageOf:
    """Read lots on hand with their age, in the order they came."""
    lots = aged_lots(session, settings)
    shown = [number for number, lot in lots.items() if _is_wanted(lot, wanted)]
    found, following = turn_page(
        session, select(col(Unit.id)).where(among(session, col(Unit.id), shown)), col(Unit.id), page
    )
    return [lots[row.id].model_dump(by_alias=True) for row in found], following


def aged_lots(session: Session, settings: Settings) -> Mapping[int, AgedLot]:
    """Read every lot on hand with its age, by its number."""
    left = _left(session)
    rows = session.execute(
        select(
            col(Unit.id), col(Unit.code), GreenLot, col(Entry.happened_at),
            on_hold(col(Unit.id)).label("held"),
        )
        .join(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
        .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .join(Entry, col(Entry.id) == col(Delivery.entry_id))
        .where(among(session, col(Unit.id), left))
    ).all()  # fmt: skip
    due = {lot: known.state.overdue for lot, known in lot_readings(session, left, settings).items()}
    newest = _newest_crops(session)
    return {row.id: _aged(row, left[row.id], due[row.id], newest, settings) for row in rows}


def _left(session: Session) -> Mapping[int, int]:
    """Add up what is left of each lot that has anything left."""
    rows = session.execute(
        select(col(Sack.lot_id), func.sum(col(Unit.left_g)))
        .join(Unit, col(Unit.id) == col(Sack.unit_id))
        .where(col(Unit.left_g) > 0)
        .group_by(col(Sack.lot_id))
    )
    return {lot_id: int(grams) for lot_id, grams in rows}


def _newest_crops(session: Session) -> Mapping[tuple[str, str | None], _Crop]:
    """Find the newest crop that came of each origin and species, as far as papers name one."""
    rows = session.execute(
        select(
            col(GreenLot.origin),
            col(GreenLot.species),
            col(GreenLot.crop_year),
            func.min(Unit.code),
        )
        .join(Unit, col(Unit.id) == col(GreenLot.unit_id))
        .where(col(Unit.voided_entry_id).is_(None), col(GreenLot.crop_year).is_not(None))
        .group_by(col(GreenLot.origin), col(GreenLot.species), col(GreenLot.crop_year))
    )
    found: dict[tuple[str, str | None], _Crop] = {}
    for origin, species, printed, code in rows:
        years = crop_years(printed)
        before = found.get((origin, species))
        if years and (before is None or _later(years, before.years)):
            found[origin, species] = _Crop(years, code)
    return found


def _later(one: CropYears, other: CropYears) -> bool:
    """Tell whether a crop is surely newer: it ended later and began no earlier."""
    return one.end > other.end and one.start >= other.start


def _aged(
    row: Any,  # noqa: ANN401 - a row of `ageing_page`
    left_g: int,
    due: bool,
    newest: Mapping[tuple[str, str | None], _Crop],
    settings: Settings,
) -> AgedLot:
    lot: GreenLot = row.GreenLot
    known = identity(lot, row.happened_at, settings)
    years = crop_years(lot.crop_year or "")
    crop = newest.get((lot.origin, lot.species))
    newer = crop if crop and years and _later(crop.years, years) else None
    today = today_here()
    return AgedLot.model_validate({
        "lot": row.code, "name": lot.name, "origin": lot.origin, "crop_year": lot.crop_year,
        "harvest_ended_on": lot.harvest_ended_on, "received_on": day_of(row.happened_at),
        "days_since_harvest": _days(lot.harvest_ended_on, today),
        "days_since_arrival": _days(day_of(row.happened_at), today),
        "crop_age": known["crop_age"], "past_crop": newer is not None,
        "newer_crop": newer.lot if newer else None, "reading_due": due,
        "on_hand_g": left_g, "held": row.held,
    })  # fmt: skip


def _days(since: date | None, today: date) -> int | None:
    return None if since is None else (today - since).days


def _is_wanted(lot: AgedLot, wanted: Wanted) -> bool:
    asked: Sequence[tuple[object, object]] = (
        (wanted.light, lot.crop_age.light),
        (wanted.past_crop, lot.past_crop),
        (wanted.reading_due, lot.reading_due),
        (wanted.origin, lot.origin),
    )
    return all(want is None or want == has for want, has in asked)
