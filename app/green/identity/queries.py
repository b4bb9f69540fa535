"""Reading what lots are by their papers, and finding lots by it."""

from collections.abc import Collection, Iterable, Mapping
from datetime import date, datetime
from typing import Any

from sqlalchemy import ColumnElement, func, select
from sqlmodel import Session, col

from app.green.identity.rules import (
    AltitudeUnit,
    CropLimits,
    Papers,
    crop_age,
    read_papers,
)
from app.green.identity.schemas import AltitudeOut, CropAgeOut, CropYearsOut, altitude_out
from app.green.identity.tables import LotIdentity
from app.green.tables import GreenLot
from app.ledger.tables import Unit
from app.settings import Settings
from app.shared.days import day_of, today_here
from app.shared.db import among, batched
from app.standards.crop_years import crop_years
from app.standards.ico_marks import coffee_year_label, form_of, parse_mark

Shipment = tuple[str, int]
"""The key of a mark, and the coffee year."""


def papers_of(lot: GreenLot, received_at: datetime) -> Papers:
    """Read the papers of a lot that is in the book."""
    return read_papers(
        lot.ico_mark, lot.crop_year, lot.coffee_year, lot.shipped_on, day_of(received_at)
    )


def identity(lot: GreenLot, received_at: datetime, settings: Settings) -> dict[str, Any]:
    """Say what a lot is by its papers: the members of its answer."""
    papers = papers_of(lot, received_at)
    crop = papers.crop
    return {
        "species": lot.species, "variety": lot.variety, "region": lot.region,
        "producer": lot.producer, "altitude": _altitude(lot), "shipped_on": lot.shipped_on,
        "harvest_ended_on": lot.harvest_ended_on,
        "crop_years": CropYearsOut(start=crop.start, end=crop.end) if crop else None,
        "crop_age": _age(lot, papers, day_of(received_at), settings),
        "mark": papers.mark.canonical if papers.mark else None,
        "mark_form": form_of(lot.ico_mark or ""),
        "coffee_year": coffee_year_label(papers.coffee_year), "coffee_year_from": papers.year_from,
    }  # fmt: skip


def _altitude(lot: GreenLot) -> AltitudeOut | None:
    if lot.altitude_from is None or lot.altitude_unit is None:
        return None
    return altitude_out(lot.altitude_from, lot.altitude_to, AltitudeUnit(lot.altitude_unit))


def _age(lot: GreenLot, papers: Papers, received_on: date, settings: Settings) -> CropAgeOut:
    limits = CropLimits(settings.crop_amber_months, settings.crop_red_months)
    light, since, by_harvest = crop_age(
        lot.harvest_ended_on, received_on, papers.crop, today_here(), limits
    )
    return CropAgeOut(
        light=light, since=since, counted_from="harvest_ended_on" if by_harvest else "received_at"
    )


def carriers(
    session: Session, keys: Iterable[str], gone: Collection[int] = ()
) -> Mapping[Shipment, Mapping[str, int]]:
    """Find the live lots of shipments with these marks: code and number of each, oldest first.

    Those that are gone are left out.
    """
    found: dict[Shipment, dict[str, int]] = {}
    for some in batched(sorted(set(keys)), 500):
        rows = session.execute(
            select(
                col(LotIdentity.mark_key),
                col(LotIdentity.coffee_year),
                col(Unit.code),
                col(Unit.id),
            )
            .join(Unit, col(Unit.id) == col(LotIdentity.lot_id))
            .where(col(LotIdentity.mark_key).in_(some), col(Unit.voided_entry_id).is_(None))
            .order_by(col(Unit.id))
        )
        for key, year, code, lot_id in rows:
            if lot_id not in gone:
                found.setdefault((key, year), {})[code] = lot_id
    return found


def shipment_mates(session: Session, lot_ids: Collection[int]) -> Mapping[int, str]:
    """Name the lot that each of these was received as the same shipment with, if one was named."""
    rows = session.execute(
        select(col(LotIdentity.lot_id), col(Unit.code))
        .join(Unit, col(Unit.id) == col(LotIdentity.same_shipment_as_id))
        .where(among(session, col(LotIdentity.lot_id), lot_ids))
    )
    return {row[0]: row[1] for row in rows}


def marked(printed: str) -> ColumnElement[bool]:
    """Tell in a statement whether a lot carries a mark, in whatever form it is printed."""
    mark = parse_mark(printed)
    if mark is None:
        return func.trim(col(GreenLot.ico_mark)) == printed.strip()
    lots = select(col(LotIdentity.lot_id)).where(col(LotIdentity.mark_key) == mark.key)
    return col(GreenLot.unit_id).in_(lots)


def of_crop(printed: str) -> ColumnElement[bool]:
    """Tell in a statement whether a lot is of a crop year, in whatever form it is printed."""
    crop = crop_years(printed)
    if crop is None:
        return func.trim(col(GreenLot.crop_year)) == printed.strip()
    lots = select(col(LotIdentity.lot_id)).where(
        col(LotIdentity.crop_start) == crop.start, col(LotIdentity.crop_end) == crop.end
    )
    return col(GreenLot.unit_id).in_(lots)
