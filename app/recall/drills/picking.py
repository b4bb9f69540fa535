"""Drawing a lot and a pack: first a group, then one of it, so that rare coffees come too."""

import secrets
from collections import defaultdict
from typing import Any

from sqlalchemy import ColumnElement, Row, or_, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.tables import Delivery, GreenLot
from app.ledger.posting import Pen
from app.ledger.tables import Entry, Unit
from app.ledger.then import newest_entry
from app.packing.tables import Pack
from app.recall.drills.rules import choose
from app.recall.drills.schemas import PickIn, PickOut
from app.recall.drills.tables import DrillPick
from app.shared.db import AnySelect, next_number
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import FieldRefused, Refused
from app.tracing.queries import CAUTION

Groups = dict[str, list[int]]


def pick(pen: Pen, asked: PickIn) -> PickOut:
    """Draw a lot and a pack, and keep the draw: nobody draws until one pleases unseen."""
    newest = newest_entry(pen.session)
    at_entry = asked.at_entry or newest
    if at_entry > newest:
        raise FieldRefused("#/at_entry", f"the journal ends at entry {newest}")
    seed = asked.seed if asked.seed is not None else secrets.randbelow(2**31)
    lots, packs = _lots(pen.session, at_entry), _packs(pen.session, at_entry)
    lot_id, pack_id = choose(lots, seed, "lot"), choose(packs, seed, "pack")
    if lot_id is None and pack_id is None:
        raise Refused("not-found", "There is no lot and no pack to draw from yet.")
    entry_id = pen.note("drill picked", {"seed": seed, "at_entry": at_entry})
    number = next_number(pen.session, col(DrillPick.id))
    pen.write(DrillPick, [{
        "id": number, "seed": seed, "at_entry": at_entry, "lot_id": lot_id, "pack_id": pack_id,
        "lots": sum(map(len, lots.values())), "packs": sum(map(len, packs.values())),
        "entry_id": entry_id,
    }])  # fmt: skip
    return picked(pen.session, number)


def _there(at_entry: int) -> ColumnElement[bool]:
    """Tell what was in the book after an entry."""
    return (col(Unit.born_entry_id) <= at_entry) & or_(
        col(Unit.voided_entry_id).is_(None), col(Unit.voided_entry_id) > at_entry
    )


def _lots(session: Session, at_entry: int) -> Groups:
    return _grouped(
        session,
        select(col(Unit.id), col(GreenLot.origin), col(Delivery.supplier_id))
        .join(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
        .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .where(_there(at_entry)),
    )


def _packs(session: Session, at_entry: int) -> Groups:
    return _grouped(
        session,
        select(col(Unit.id), col(Pack.product_id))
        .join(Pack, col(Pack.unit_id) == col(Unit.id))
        .where(_there(at_entry)),
    )


def _grouped(session: Session, statement: AnySelect) -> Groups:
    groups: Groups = defaultdict(list)
    for unit_id, *group in session.connection().execute(statement):
        groups["/".join(str(each) for each in group)].append(unit_id)
    return groups


def _picks() -> AnySelect:
    lot, pack = aliased(Unit), aliased(Unit)
    return (
        select(
            col(DrillPick.id), col(DrillPick.seed), col(DrillPick.at_entry),
            col(lot.code).label("lot"), col(pack.code).label("pack"), col(DrillPick.lots),
            col(DrillPick.packs), col(Entry.recorded_at).label("picked_at"),
            col(Entry.who).label("picked_by"),
        )
        .join(Entry, col(Entry.id) == col(DrillPick.entry_id))
        .outerjoin(lot, col(lot.id) == col(DrillPick.lot_id))
        .outerjoin(pack, col(pack.id) == col(DrillPick.pack_id))
    )  # fmt: skip


def _pick_out(row: Row[Any]) -> PickOut:
    return PickOut(**row._mapping, caution=CAUTION)  # noqa: SLF001 - public despite its name


def picked(session: Session, number: int) -> PickOut:
    """Read one draw."""
    row = session.execute(_picks().where(col(DrillPick.id) == number)).first()
    if row is None:
        raise FieldRefused("#/pick", f"there is no draw {number}", "unknown-reference")
    return _pick_out(row)


def pick_page(session: Session, page: Page) -> PageOf:
    """Read every draw, oldest first, those that no drill came of too."""
    rows, following = turn_page(session, _picks(), col(DrillPick.id), page)
    return [_pick_out(row).model_dump(by_alias=True) for row in rows], following
