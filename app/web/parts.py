"""What a blend or a pack is poured from: one field that takes the code of a unit or of a place."""

import re
from collections.abc import Sequence
from datetime import datetime
from typing import Any, Final, NamedTuple

from sqlalchemy import Row, case, func, select
from sqlmodel import Session, col

from app.ledger.queries import on_hold
from app.ledger.tables import Entry, Unit
from app.packing.tables import Blend
from app.places.mixing import LOOSE
from app.places.tables import MIXING, Location
from app.quality.rules import LIMITED, UNUSABLE
from app.roasting.queries import DISPOSITION
from app.roasting.tables import Roast
from app.shared.codes import fold
from app.shared.names import fold_name
from app.web.forms import Typed

MOST: Final = 500


def by_what_they_are(session: Session, typed: Typed, member: str) -> dict[str, Sequence[str]]:
    """Let a field for a unit that holds the code of a silo, hopper or tray fill in `place`."""
    said = codes_in(typed, member, "unit")
    places = set(session.scalars(
        select(col(Location.code)).where(
            col(Location.code).in_(set(said.values())), col(Location.kind).in_(MIXING)
        )
    ))  # fmt: skip
    return {
        name.removesuffix("unit") + "place" if said.get(name) in places else name: values
        for name, values in typed.items()
    }


def codes_in(typed: Typed, member: str, field: str) -> dict[str, str]:
    """Name the codes in one field of every row of a list, by the name of the field."""
    row = re.compile(rf"{member}\.\d+\.{field}")
    fields = [name for name in typed if row.fullmatch(name)]
    return {name: str(fold("".join(typed[name]))) for name in fields}


class Loose(NamedTuple):
    """Roasted coffee that may be used: one unit, or all that has mixed in a place."""

    code: str
    """What is scanned for it."""
    names: Sequence[str]
    """Of which styles and recipes it is."""
    units: Sequence[str]
    place: str | None
    left_g: int
    since: datetime
    limited: str | None
    """What a tasting lets it be used for, where that is not everything."""
    stopped: bool
    """Something in it is on hold, set aside or rejected."""


def loose_coffee(session: Session) -> list[Loose]:
    """Read the roasted coffee that stands loose, the oldest first; what has mixed stands as one."""
    rows = session.execute(
        select(
            col(Unit.code),
            col(Unit.left_g),
            col(Location.code).label("place"),
            col(Location.kind).label("place_kind"),
            func.coalesce(col(Roast.style), col(Blend.recipe)).label("name"),
            case((col(Roast.unit_id).is_not(None), DISPOSITION)).label("disposition"),
            on_hold(col(Unit.id)).label("held"),
            col(Entry.happened_at),
        )
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .outerjoin(Location, col(Location.id) == col(Unit.location_id))
        .outerjoin(Roast, col(Roast.unit_id) == col(Unit.id))
        .outerjoin(Blend, col(Blend.unit_id) == col(Unit.id))
        .where(col(Unit.kind).in_(LOOSE), col(Unit.left_g) > 0)
        .order_by(col(Unit.id))
        .limit(MOST)
    ).all()
    found: dict[str, list[Row[Any]]] = {}
    for row in rows:
        if row.place_kind in MIXING:
            found.setdefault(row.place, []).append(row)
        elif row.disposition not in UNUSABLE:
            found[row.code] = [row]
    return [_loose(code, there) for code, there in found.items()]


def _loose(code: str, rows: Sequence[Row[Any]]) -> Loose:
    return Loose(
        code,
        list(dict.fromkeys(row.name or "" for row in rows)),
        [row.code for row in rows],
        rows[0].place,
        sum(row.left_g for row in rows),
        rows[0].happened_at,
        next((row.disposition for row in rows if row.disposition in LIMITED), None),
        any(row.held or row.disposition in UNUSABLE for row in rows),
    )


def is_of(loose: Loose, name: str) -> bool:
    """Tell whether coffee is of one style or recipe and nothing else, and may be used."""
    return {fold_name(each) for each in loose.names} == {fold_name(name)} and not loose.stopped


def take(loose: Sequence[Loose], grams: int) -> list[tuple[Loose, int]]:
    """Take so much of what may be used for anything, the oldest first, or all there is."""
    taken, missing = [], grams
    for each in loose:
        if missing and not each.limited:
            some = min(missing, each.left_g)
            taken.append((each, some))
            missing -= some
    return taken
