"""What the book knows of everything that can carry a label, read for many at once."""

from collections.abc import Callable, Collection, Mapping

from sqlalchemy import ScalarSelect, func, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.tables import Delivery, GreenLot, Sack
from app.labels import wording
from app.labels.pieces import Face
from app.ledger.queries import on_hold
from app.ledger.tables import Entry, Unit, UnitKind
from app.packing.runs import date_mark
from app.packing.tables import Blend, Pack, Product
from app.places.tables import Location
from app.roasting.queries import DISPOSITION
from app.roasting.tables import Machine, MachineRun, Roast
from app.sending.tables import Returned
from app.settings import Settings
from app.shared.days import day_of
from app.shared.db import among
from app.shared.mass import grams_from_kg
from app.shared.speech import Speech
from app.shared.texts import speech_in

Faces = Mapping[int, Face]
"""What labels say, by the number of the unit or the place."""


def faces_of(
    session: Session,
    units: Mapping[int, UnitKind],
    places: Collection[int],
    settings: Settings,
) -> Mapping[tuple[int | None, int | None], Face]:
    """Word the labels of units and places: by the numbers of unit and place, one of them None."""
    faces: dict[tuple[int | None, int | None], Face] = {}
    for kind, read in _READ.items():
        ids = [unit_id for unit_id, of_kind in units.items() if of_kind == kind]
        if ids:
            faces |= {(each, None): face for each, face in read(session, ids, settings).items()}
    return faces | {(None, each): face for each, face in _places(session, places, settings).items()}


def _speech(settings: Settings) -> Speech:
    """Speak the language of the house: a label is read for years, and not by whoever printed it."""
    return speech_in(settings.house_language)


def _sacks(session: Session, ids: Collection[int], settings: Settings) -> Faces:
    lot = aliased(Unit)
    rows = session.execute(
        select(
            col(Unit.id),
            col(Unit.code),
            col(lot.code).label("lot"),
            col(GreenLot.name),
            col(GreenLot.origin),
            col(Sack.number),
            _sacks_of_the_lot().label("of"),
            col(Unit.made_g),
            col(Unit.left_g),
            col(Entry.happened_at),
            col(Location.code).label("place"),
            on_hold(col(Unit.id)).label("held"),
        )
        .join(Sack, col(Sack.unit_id) == col(Unit.id))
        .join(lot, col(lot.id) == col(Sack.lot_id))
        .join(GreenLot, col(GreenLot.unit_id) == col(Sack.lot_id))
        .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .join(Entry, col(Entry.id) == col(Delivery.entry_id))
        .outerjoin(Location, col(Location.id) == col(Unit.location_id))
        .where(among(session, col(Unit.id), ids))
    )
    heavy_over_g = grams_from_kg(settings.heavy_over_kg)
    return {
        row.id: wording.sack(
            wording.SackFacts(
                row.code,
                row.lot,
                row.name,
                row.origin,
                row.number,
                row.of,
                row.made_g,
                row.left_g,
                day_of(row.happened_at),
                row.place,
                bool(row.held),
            ),
            heavy_over_g,
            _speech(settings),
        )
        for row in rows
    }


def _sacks_of_the_lot() -> ScalarSelect[int]:
    """Count in a statement the sacks of the lot that a sack is of."""
    others = aliased(Sack)
    return (
        select(func.count())
        .where(col(others.lot_id) == col(Sack.lot_id))
        .correlate(Sack)
        .scalar_subquery()
    )


def _roasts(session: Session, ids: Collection[int], settings: Settings) -> Faces:
    rows = session.execute(
        select(
            col(Unit.id),
            col(Unit.code),
            col(Roast.style),
            col(Machine.code).label("machine"),
            col(Entry.happened_at),
            col(Unit.made_g),
            DISPOSITION,
            on_hold(col(Unit.id)).label("held"),
        )
        .join(Roast, col(Roast.unit_id) == col(Unit.id))
        .join(MachineRun, col(MachineRun.unit_id) == col(Unit.id))
        .join(Machine, col(Machine.id) == col(MachineRun.machine_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(among(session, col(Unit.id), ids))
    )
    return {
        row.id: wording.roast(
            wording.RoastFacts(
                row.code,
                row.style,
                row.machine,
                day_of(row.happened_at),
                row.made_g,
                row.disposition,
                bool(row.held),
            ),
            _speech(settings),
        )
        for row in rows
    }


def _blends(session: Session, ids: Collection[int], settings: Settings) -> Faces:
    rows = session.execute(
        select(
            col(Unit.id),
            col(Unit.code),
            col(Blend.recipe),
            col(Machine.code).label("machine"),
            col(Entry.happened_at),
            col(Unit.made_g),
            on_hold(col(Unit.id)).label("held"),
        )
        .join(Blend, col(Blend.unit_id) == col(Unit.id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .outerjoin(MachineRun, col(MachineRun.unit_id) == col(Unit.id))
        .outerjoin(Machine, col(Machine.id) == col(MachineRun.machine_id))
        .where(among(session, col(Unit.id), ids))
    )
    return {
        row.id: wording.blend(
            wording.BlendFacts(
                row.code,
                row.recipe,
                row.machine,
                day_of(row.happened_at),
                row.made_g,
                bool(row.held),
            ),
            _speech(settings),
        )
        for row in rows
    }


def _packs(session: Session, ids: Collection[int], settings: Settings) -> Faces:
    rows = session.execute(
        select(
            col(Unit.id),
            col(Unit.code),
            col(Pack.lot_mark),
            col(Product.sku),
            col(Product.name),
            col(Pack.bags),
            col(Pack.nominal_g),
            col(Pack.best_before),
            col(Pack.date_form),
            col(Entry.happened_at),
            on_hold(col(Unit.id)).label("held"),
        )
        .join(Pack, col(Pack.unit_id) == col(Unit.id))
        .join(Product, col(Product.id) == col(Pack.product_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(among(session, col(Unit.id), ids))
    )
    return {
        row.id: wording.pack(
            wording.PackFacts(
                row.code,
                row.lot_mark,
                row.sku,
                row.name,
                row.bags,
                row.nominal_g,
                date_mark(row.best_before, row.date_form, _speech(settings).gettext),
                day_of(row.happened_at),
                bool(row.held),
            ),
            _speech(settings),
        )
        for row in rows
    }


def _returns(session: Session, ids: Collection[int], settings: Settings) -> Faces:
    pack, sent = aliased(Unit), aliased(Unit)
    rows = session.execute(
        select(
            col(Unit.id),
            col(Unit.code),
            col(pack.code).label("pack"),
            col(sent.code).label("dispatch"),
            col(Product.name),
            col(Returned.bags),
            col(Returned.nominal_g),
            col(Entry.happened_at),
            on_hold(col(Unit.id)).label("held"),
        )
        .join(Returned, col(Returned.unit_id) == col(Unit.id))
        .join(pack, col(pack.id) == col(Returned.pack_id))
        .join(sent, col(sent.id) == col(Returned.dispatch_id))
        .join(Product, col(Product.id) == col(Returned.product_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(among(session, col(Unit.id), ids))
    )
    return {
        row.id: wording.returned(
            wording.ReturnFacts(
                row.code,
                row.pack,
                row.dispatch,
                row.name,
                row.bags,
                row.nominal_g,
                day_of(row.happened_at),
                bool(row.held),
            ),
            _speech(settings),
        )
        for row in rows
    }


def _places(session: Session, ids: Collection[int], settings: Settings) -> Faces:
    rows = session.scalars(select(Location).where(among(session, col(Location.id), ids)))
    return {
        each.id: wording.place(
            wording.PlaceFacts(each.code, each.kind, each.site, each.capacity_g), _speech(settings)
        )
        for each in rows
        if each.id is not None
    }


_READ: Mapping[UnitKind, Callable[[Session, Collection[int], Settings], Faces]] = {
    UnitKind.SACK: _sacks,
    UnitKind.ROAST: _roasts,
    UnitKind.BLEND: _blends,
    UnitKind.PACK: _packs,
    UnitKind.RETURN: _returns,
}
"""How the labels of each kind of unit are read."""
