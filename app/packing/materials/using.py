"""What a pack takes of packing materials: looked at before it is booked, written after."""

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlmodel import col

from app.ledger.posting import Pen, Posting
from app.packing.materials.actions import too_little
from app.packing.materials.queries import LOTS_TO_USE, refuse_voided
from app.packing.materials.rules import ONE, Said, Used, WrongUseError, settle
from app.packing.materials.schemas import MaterialUseIn, MaterialUseOut
from app.packing.materials.tables import MaterialKind, MaterialUse
from app.packing.schemas import PackIn
from app.shared.codes import fold
from app.shared.problems import FieldRefused, Refused

LotRow = Any
"""A row of `LOTS_TO_USE`."""


class Taken(NamedTuple):
    """A lot of packing material on its way into the bags of a pack."""

    lot: LotRow
    used: Used | None
    """None where only the lot is known: the film roll that was named."""

    def told(self) -> MaterialUseOut:
        """Show it as it is answered."""
        return MaterialUseOut(
            lot=self.lot.code,
            material=self.lot.material,
            kind=self.lot.kind,
            unit=self.lot.unit,
            used=self.used.used if self.used else None,
            issued=self.used.issued if self.used else None,
            spoiled=self.used.spoiled if self.used else 0,
            returned=self.used.returned if self.used else None,
        )


def take(pen: Pen, posting: Posting, pack: PackIn) -> list[Taken]:
    """Look up what a pack uses and refuse what is not there, is held, or does not add up.

    What a pack used that this one replaces is there again.

    Raises:
        Refused: `unknown-reference` for a lot that is not there; `invalid`; `voided`; `on-hold`;
            `insufficient-stock`.
    """
    asked, roll = pack.materials, str(fold(pack.film_roll)) if pack.film_roll else None
    lots = _lots(pen, {use.lot for use in asked} | ({roll} if roll else set()))
    taken = [_taken(lots, place, use, asked, pack.bags) for place, use in enumerate(asked)]
    if roll and roll in lots and roll not in {use.lot for use in asked}:
        taken.append(Taken(lots[roll], None))
    if not taken and pen.settings.require_packing_materials:
        raise FieldRefused(
            "#/materials",
            "name the lots of packing material: this roastery books no pack without them",
        )
    given_back = _given_back(pen, posting)
    for each in taken:
        refuse_voided(each.lot.code, voided=bool(each.lot.voided))
    held = sorted(each.lot.code for each in taken if each.lot.held and _more(each, given_back))
    if held:
        raise Refused("on-hold", f"On hold: {', '.join(held)}.", material_lots=held)
    for each in taken:
        left = int(each.lot.left) + given_back[each.lot.id]
        if each.used is not None and each.used.gone > left:
            raise too_little(each.lot.code, each.used.gone, left)
    return sorted(taken, key=lambda each: int(each.lot.id))


def _more(taken: Taken, given_back: Mapping[int, int]) -> bool:
    """Tell whether a pack takes more of a lot than the one that it replaces, if that took any."""
    gone = taken.used.gone if taken.used is not None else 0
    return taken.lot.id not in given_back or gone > given_back[taken.lot.id]


def _given_back(pen: Pen, posting: Posting) -> Counter[int]:
    """Add up by lot what packs used that the posting voids."""
    given: Counter[int] = Counter()
    if posting.voided:
        rows = pen.session.execute(
            select(
                col(MaterialUse.lot_id), col(MaterialUse.used_milli), col(MaterialUse.spoiled_milli)
            ).where(col(MaterialUse.pack_id).in_(posting.voided))
        )
        for lot_id, used, spoiled in rows:
            given[lot_id] += (used or 0) + (spoiled or 0)
    return given


def _lots(pen: Pen, codes: set[str]) -> Mapping[str, LotRow]:
    if not codes:
        return {}
    rows = pen.session.execute(LOTS_TO_USE, {"codes": sorted(codes)})
    return {row.code: row for row in rows}


def _taken(
    lots: Mapping[str, LotRow],
    place: int,
    use: MaterialUseIn,
    asked: Sequence[MaterialUseIn],
    bags: int,
) -> Taken:
    pointer = f"#/materials/{place}"
    if use.lot not in lots:
        raise FieldRefused(
            f"{pointer}/lot",
            f"there is no lot of packing material {use.lot}: take it in first",
            "unknown-reference",
        )
    lot = lots[use.lot]
    said = Said(use.used_milli, use.issued_milli, use.spoiled_milli, use.returned_milli)
    # One a bag is no guess where a case holds many, or where two lots share the bags.
    of_it = Counter(lots[other.lot].material for other in asked if other.lot in lots)
    shared = lot.kind == MaterialKind.CASE or of_it[lot.material] > 1
    try:
        return Taken(lot, settle(said, lot.unit, None if shared else bags * ONE))
    except WrongUseError as why:
        raise FieldRefused(f"{pointer}/{why.member}", f"{use.lot}: {why}") from why


def put_on_record(pen: Pen, pack_id: int, taken: Sequence[Taken]) -> None:
    """Write what a pack used, as part of the entry that booked it."""
    if not taken:
        return
    pen.session.flush()  # the pack that these rows name
    pen.write(MaterialUse, (
        {
            "pack_id": pack_id, "lot_id": each.lot.id,
            "used_milli": each.used.used if each.used else None,
            "issued_milli": each.used.issued if each.used else None,
            "spoiled_milli": each.used.spoiled if each.used else 0,
            "returned_milli": each.used.returned if each.used else None,
        }
        for each in taken
    ))  # fmt: skip


def gaps(used: Sequence[MaterialUseOut], film_roll: str | None) -> list[str]:
    """Say what a trace will miss of a pack (Regulation (EC) No 1935/2004, article 17)."""
    if used:
        return []
    roll = f": film roll {film_roll} is a word alone" if film_roll else ""
    return [f"no packing material on record{roll}"]
