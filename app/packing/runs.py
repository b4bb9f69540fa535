"""What a pack says of its run beside its mass: dates, warnings, packing materials, gaps."""

import json
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import bindparam, select
from sqlmodel import col

from app.ledger.posting import Pen
from app.ledger.tables import Entry, Unit, UnitKind
from app.ledger.walk import reached_from
from app.packing.materials.schemas import MaterialUseOut
from app.packing.materials.tables import MaterialKind
from app.packing.materials.using import Taken, gaps
from app.packing.rules import Roasted, warn_of_gas, warn_of_run
from app.packing.tables import Blend, Pack
from app.roasting.tables import Roast
from app.standards.best_before import DateForm, covers_until, serves_as_lot_mark, written

_REACHED = reached_from(col(Unit.id) == bindparam("unit"), forward=False)
# Built once: every pack asks this on its way into the book.
_BEHIND = (
    select(
        col(Unit.code),
        col(Entry.happened_at),
        col(Roast.style),
        col(Blend.components),
    )
    .join(_REACHED, _REACHED.c.id == col(Unit.id))
    .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
    .outerjoin(Roast, col(Roast.unit_id) == col(Unit.id))
    .outerjoin(Blend, col(Blend.unit_id) == col(Unit.id))
    .where(col(Unit.kind).in_((UnitKind.ROAST, UnitKind.BLEND)))
    .add_columns(col(Unit.kind))
    .order_by(col(Unit.id))
)


def run_warnings(
    pen: Pen, pack_id: int, packed_at: datetime, parts: Mapping[str, Unit], taken: Sequence[Taken]
) -> list[str]:
    """Point out what a run should not mix, as far as the book knows."""
    rows = pen.session.execute(_BEHIND, {"unit": pack_id}).all()
    components: dict[str, str] = {}
    for row in rows:
        components = json.loads(row.components or "{}") | components
    roasts = [
        Roasted(row.code, row.happened_at, components.get(row.code) or row.style or "")
        for row in rows
        if row.kind == UnitKind.ROAST
    ]
    blends = [unit.code for unit in parts.values() if unit.kind == UnitKind.BLEND]
    said = list(warn_of_run(blends, roasts))
    if _known_to_have_no_valve(taken):
        said += warn_of_gas(roasts, packed_at, pen.settings.degassing_days)
    return said


def _known_to_have_no_valve(taken: Sequence[Taken]) -> bool:
    """Tell whether the bags are closed for certain: where nobody said, nothing is known."""
    if any(each.lot.kind == MaterialKind.VALVE for each in taken):
        return False
    of_bags = [
        each.lot.has_valve
        for each in taken
        if each.lot.kind in {MaterialKind.BAG, MaterialKind.FILM}
    ]
    return bool(of_bags) and all(has_valve is False for has_valve in of_bags)


def date_mark(
    best_before: date | None, form: str | None, say: Callable[[str], str] = str
) -> str | None:
    """Word the date for the bags; packs of before its form was kept were dated to the day."""
    return written(best_before, DateForm(form or DateForm.DAY), say) if best_before else None


def told_of_run(pack: Pack, materials: Sequence[MaterialUseOut]) -> dict[str, Any]:
    """Show what a pack's run was like."""
    form = DateForm(pack.date_form or DateForm.DAY) if pack.best_before else None
    return {
        "date_form": form,
        "date_mark": date_mark(pack.best_before, form),
        "mark_covers_until": (
            covers_until(pack.best_before, form) if pack.best_before and form else None
        ),
        "lot_mark_needed": not serves_as_lot_mark(form),
        "materials": list(materials),
        "gaps": gaps(materials, pack.film_roll),
        "warnings": json.loads(pack.warnings or "[]"),
    }
