"""Drawing a lot, a pack, a lot of packing material: first a group, so that rare ones come too."""

import secrets
from collections import defaultdict
from collections.abc import Sequence
from functools import cache
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Row, func, or_, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.tables import Delivery, GreenLot
from app.ledger.posting import Pen
from app.ledger.tables import Entry, Unit
from app.ledger.then import newest_entry
from app.packing.materials.tables import MaterialLot, MaterialUse
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


class UsedLot(NamedTuple):
    """A lot of packing material that went into bags, and the entry since which that is known."""

    id: int
    code: str
    material_id: int
    since_entry: int


def _used_lots(session: Session) -> list[UsedLot]:
    rows = session.execute(
        select(
            col(MaterialLot.id), col(MaterialLot.code), col(MaterialLot.material_id),
            func.min(col(Unit.born_entry_id)),
        )
        .join(MaterialUse, col(MaterialUse.lot_id) == col(MaterialLot.id))
        .join(Unit, col(Unit.id) == col(MaterialUse.pack_id))
        .group_by(col(MaterialLot.id), col(MaterialLot.code), col(MaterialLot.material_id))
        .order_by(col(MaterialLot.id))
    )  # fmt: skip
    return [UsedLot(*row) for row in rows]


def _material_lot(used: Sequence[UsedLot], seed: int, at_entry: int) -> tuple[str | None, int]:
    """Draw a lot of packing material, by material first; and tell how many there were.

    It is drawn again whenever a pick is read: seed and entry draw the same for ever.
    """
    there = {each.id: each for each in used if each.since_entry <= at_entry}
    groups: Groups = defaultdict(list)
    for each in there.values():
        groups[str(each.material_id)].append(each.id)
    drawn = choose(groups, seed, "material lot")
    return None if drawn is None else there[drawn].code, len(there)


@cache
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


def _pick_out(row: Row[Any], used: Sequence[UsedLot]) -> PickOut:
    code, count = _material_lot(used, row.seed, row.at_entry)
    drawn: dict[str, Any] = dict(row._mapping)  # noqa: SLF001 - public despite its name
    return PickOut(**drawn, material_lot=code, material_lots=count, caution=CAUTION)


def picked(session: Session, number: int) -> PickOut:
    """Read one draw."""
    row = session.execute(_picks().where(col(DrillPick.id) == number)).first()
    if row is None:
        raise FieldRefused("#/pick", f"there is no draw {number}", "unknown-reference")
    return _pick_out(row, _used_lots(session))


def pick_page(session: Session, page: Page) -> PageOf:
    """Read every draw, oldest first, those that no drill came of too."""
    rows, following = turn_page(session, _picks(), col(DrillPick.id), page)
    used = _used_lots(session)
    return [_pick_out(row, used).model_dump(by_alias=True) for row in rows], following
