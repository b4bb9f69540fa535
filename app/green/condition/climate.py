"""The climate of places, and where it pulls the coffee that stands there."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any, NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.green.condition.rules import Pull, Seen, State, place_state, pull
from app.green.condition.schemas import RoomAdvice, WatchedPlace
from app.green.readings.alarms import damp_words
from app.green.readings.rules import Band, is_damp_for_long, is_overdue
from app.green.readings.series import Spell, damp_since, standing
from app.green.readings.showing import Figure, band_of
from app.green.readings.tables import Reading, ReadingKind
from app.green.tables import Sack
from app.ledger.tables import Entry, Unit
from app.places.tables import Location
from app.places.tree import Place, paths
from app.settings import Settings
from app.shared.days import day_of
from app.shared.db import among
from app.shared.mass import kg_from_grams as from_milli
from app.shared.paging import Page, PageOf, turn_page
from app.shared.times import now
from app.standards.equilibrium import OutOfModelError, moisture_at
from app.standards.moisture import half_up

HUMIDITY, WARMTH = ReadingKind.RELATIVE_HUMIDITY, ReadingKind.TEMPERATURE

Climate = dict[ReadingKind, Seen]
"""The newest readings of a place, by kind."""


def climates(
    session: Session, settings: Settings, place_ids: Collection[int] | None = None
) -> dict[int, Climate]:
    """Find the newest climate readings of places, or of every place that has any."""
    ranked = standing(
        col(Reading.id),
        col(Entry.happened_at),
        func.row_number()
        .over(
            partition_by=(col(Reading.location_id), col(Reading.kind)),
            order_by=(col(Entry.happened_at).desc(), col(Reading.id).desc()),
        )
        .label("place"),
    ).where(col(Reading.kind).in_([HUMIDITY, WARMTH]), col(Reading.location_id).is_not(None))
    if place_ids is not None:
        ranked = ranked.where(among(session, col(Reading.location_id), place_ids))
    newest = ranked.subquery()
    found: dict[int, Climate] = {}
    for row in session.execute(
        select(newest.c.happened_at, Reading, col(Location.code))
        .join(Reading, col(Reading.id) == newest.c.id)
        .join(Location, col(Location.id) == col(Reading.location_id))
        .where(newest.c.place == 1)
    ):
        reading: Reading = row.Reading
        seen = _seen(reading, row.code, row.happened_at, settings)
        found.setdefault(reading.location_id or 0, {})[ReadingKind(reading.kind)] = seen
    return found


def _seen(reading: Reading, place: str, taken_at: datetime, settings: Settings) -> Seen:
    kind, value = ReadingKind(reading.kind), from_milli(reading.value_milli)
    band = band_of(Figure(kind, value, reading.calibration, None), settings) or Band.UNKNOWN
    what = f"{kind.replace('_', ' ')} {value} {'%' if kind is HUMIDITY else '°C'}"
    return Seen(what, place, value, band, taken_at)


class _Place(NamedTuple):
    climate: Climate
    spell: Spell | None
    state: State


def climate_page(session: Session, page: Page, settings: Settings, status: Band | None) -> PageOf:
    """Read places whose climate is not green, or of one status, in the order of their cards."""
    found = climates(session, settings)
    spells = damp_since(session, settings.storage_humidity_pct[1], found)
    places = {
        place_id: _place(climate, spells.get(place_id), settings)
        for place_id, climate in found.items()
    }
    wanted = [
        place_id
        for place_id, place in places.items()
        if (
            place.state.status is not Band.GREEN if status is None else place.state.status is status
        )
    ]
    statement = select(col(Location.id), col(Location.code)).where(
        among(session, col(Location.id), wanted)
    )
    rows, following = turn_page(session, statement, col(Location.id), page)
    return [_watched(row.code, places[row.id]).model_dump() for row in rows], following


def _place(climate: Climate, spell: Spell | None, settings: Settings) -> _Place:
    hours, every_days = settings.storage_damp_hours, settings.climate_every_days
    long = spell is not None and is_damp_for_long(spell.since, spell.newest, hours)
    damp = damp_words(settings.storage_humidity_pct[1], hours) if long else None
    readings = [climate[kind] for kind in (HUMIDITY, WARMTH) if kind in climate]
    return _Place(climate, spell, place_state(readings, damp, now(), every_days))


def _watched(code: str, place: _Place) -> WatchedPlace:
    humid, warm = place.climate.get(HUMIDITY), place.climate.get(WARMTH)
    return WatchedPlace(
        location=code,
        status=place.state.status,
        overdue=place.state.overdue,
        why=place.state.why,
        relative_humidity_pct=humid.value if humid else None,
        temperature_c=warm.value if warm else None,
        taken_at=max(seen.taken_at for seen in place.climate.values()),
        damp_since=place.spell.since if place.spell else None,
    )


def rooms_of(
    session: Session, lot_id: int, moisture: Seen | None, settings: Settings
) -> list[RoomAdvice]:
    """Advise on each place where sacks of a lot stand.

    By its own climate readings, else by those of the nearest place that it is part of: a meter
    hangs in the room, not on the rack.
    """
    rows = session.execute(
        select(col(Location.id), col(Location.code), func.count().label("sacks"))
        .join(Unit, col(Unit.location_id) == col(Location.id))
        .join(Sack, col(Sack.unit_id) == col(Unit.id))
        .where(col(Sack.lot_id) == lot_id, col(Unit.left_g) > 0)
        .group_by(col(Location.id), col(Location.code))
        .order_by(col(Location.id))
    ).all()
    ways = paths(session, [row.id for row in rows])
    found = climates(session, settings, {place.id for way in ways.values() for place in way})
    return [_advice(row, _nearest(ways[row.id], found), moisture, settings) for row in rows]


def _nearest(way: Sequence[Place], found: Mapping[int, Climate]) -> Climate:
    """Take the climate of the last place on the way that has both its figures, else any."""
    measured = [found[place.id] for place in reversed(way) if place.id in found]
    whole = (climate for climate in measured if {HUMIDITY, WARMTH} <= climate.keys())
    return next(whole, measured[0] if measured else {})


def _advice(
    row: Any,  # noqa: ANN401 - a row of `rooms_of`
    climate: Climate,
    moisture: Seen | None,
    settings: Settings,
) -> RoomAdvice:
    humid, warm = climate.get(HUMIDITY), climate.get(WARMTH)
    taken_at = min(seen.taken_at for seen in climate.values()) if climate else None
    equilibrium, detail = _equilibrium(humid, warm, settings)
    direction = None
    if equilibrium is not None and moisture is not None:
        direction = pull(moisture.value, equilibrium)
        last = f"{moisture.subject} was last read at {moisture.value} %"
        detail = f"{detail}; {last}: {_SAID[direction]}"
    return RoomAdvice(
        location=row.code,
        measured_at=next((seen.subject for seen in climate.values()), None),
        sacks=row.sacks,
        relative_humidity_pct=humid.value if humid else None,
        temperature_c=warm.value if warm else None,
        taken_at=taken_at,
        equilibrium_pct=equilibrium,
        pull=direction,
        detail=detail,
    )


_SAID = {
    Pull.DRIES: "it dries here",
    Pull.MOISTENS: "it takes up moisture here",
    Pull.STAYS: "within the error of the model, no direction",
}


def _equilibrium(
    humid: Seen | None, warm: Seen | None, settings: Settings
) -> tuple[Decimal | None, str]:
    if humid is None or warm is None:
        return None, "no advice: humidity and temperature of this place were not both read"
    for seen in (humid, warm):
        if is_overdue(seen.taken_at, now(), settings.climate_every_days):
            return None, f"no advice: {seen.what} was read on {day_of(seen.taken_at)}, too long ago"
        if seen.band is Band.UNKNOWN:
            return None, f"no advice: {seen.what} was read with an instrument nobody can trust"
    try:
        moist = moisture_at(humid.value, warm.value)
    except OutOfModelError as outside:
        return None, f"no advice: {outside}"
    rounded = half_up(Fraction(moist.wet_basis_pct), 2)
    return rounded, f"this room pulls parchment-like coffee towards {rounded} %"
