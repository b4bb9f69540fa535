"""Packing materials in traces: from a lot to every pack that used it, and from packs to lots."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.green.tables import Supplier
from app.ledger.tables import Unit
from app.ledger.then import alive
from app.ledger.walk import read_whole
from app.packing.materials.queries import lot_by_code
from app.packing.materials.rules import number
from app.packing.materials.tables import Material, MaterialLot, MaterialUse
from app.shared.db import Among, AnySelect, OverIds
from app.shared.problems import Refused


def packs_with(session: Session, code: str, upto: int | None = None) -> Sequence[Unit]:
    """Find every pack that stands, or stood then, and used a lot of packing material."""
    lot = lot_by_code(session, code)
    packs = read_whole(
        session,
        select(Unit)
        .join(MaterialUse, col(MaterialUse.pack_id) == col(Unit.id))
        .where(col(MaterialUse.lot_id) == lot.id, alive(Unit, upto))
        .order_by(col(Unit.id)),
    )
    if not packs:
        raise Refused("not-found", f"No pack used packing material {lot.code}.")
    return packs


@dataclass
class _Tally:
    """What reached packs used of one lot."""

    row: Any
    packs: list[str] = field(default_factory=list)
    used_milli: int | None = None
    """None while only the lot is known."""


def materials_of(session: Session, units: Iterable[tuple[int, str]]) -> list[dict[str, object]]:
    """Name the lots of packing material that went into these units, oldest first."""
    codes = dict(units)
    tallies: dict[int, _Tally] = {}
    for row in _used.rows(session, codes):
        tally = tallies.setdefault(row.id, _Tally(row))
        tally.packs.append(codes[row.pack_id])
        if row.used_milli is not None:
            tally.used_milli = (tally.used_milli or 0) + row.used_milli
    return [
        {
            "lot": tally.row.code, "material": tally.row.material, "kind": tally.row.kind,
            "supplier": tally.row.supplier, "reference": tally.row.reference,
            "packs": tally.packs,
            "used": None if tally.used_milli is None else number(tally.used_milli),
        }
        for tally in tallies.values()
    ]  # fmt: skip


@OverIds
def _used(among: Among) -> AnySelect:
    return (
        select(
            col(MaterialUse.pack_id),
            col(MaterialUse.used_milli),
            col(MaterialLot.id),
            col(MaterialLot.code),
            col(Material.code).label("material"),
            col(Material.kind),
            func.coalesce(col(Supplier.name), col(MaterialLot.supplier_name)).label("supplier"),
            col(MaterialLot.reference),
        )
        .join(MaterialLot, col(MaterialLot.id) == col(MaterialUse.lot_id))
        .join(Material, col(Material.id) == col(MaterialLot.material_id))
        .outerjoin(Supplier, col(Supplier.id) == col(MaterialLot.supplier_id))
        .where(among(col(MaterialUse.pack_id)))
        .order_by(col(MaterialLot.id), col(MaterialUse.pack_id))
    )
