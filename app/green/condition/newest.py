"""The newest readings of lots and of each of their sacks, in one statement."""

from collections.abc import Collection, Iterable
from typing import Any, NamedTuple

from sqlalchemy import func, select, union_all
from sqlmodel import Session, col

from app.green.condition.rules import Seen, State, lot_state
from app.green.readings.rules import NO_METHOD, Band
from app.green.readings.series import standing
from app.green.readings.showing import band_of
from app.green.readings.tables import Reading, ReadingKind
from app.green.tables import GreenLot, Sack
from app.ledger.tables import Entry, Unit, UnitKind
from app.settings import Settings
from app.shared.db import AnySelect, among
from app.shared.mass import kg_from_grams as from_milli
from app.shared.times import now

UNITS = {ReadingKind.MOISTURE: " %", ReadingKind.WATER_ACTIVITY: ""}


class Newest(NamedTuple):
    """The newest reading of one kind of a lot or of a sack."""

    reading: Reading
    seen: Seen
    sack_left_g: int | None
    """None for a reading of the lot itself."""

    @property
    def order(self) -> tuple[Any, int]:
        """What makes one reading newer than another."""
        return self.seen.taken_at, self.reading.id or 0

    @property
    def method(self) -> str:
        """The method, or the word for none."""
        return self.reading.method or NO_METHOD


class LotReadings(NamedTuple):
    """What is known of one lot."""

    moisture: Newest | None
    water_activity: Newest | None
    sacks: list[Newest]
    """The newest moisture of each sack with coffee in it that was read itself."""
    state: State


def lot_readings(
    session: Session, lot_ids: Collection[int], settings: Settings
) -> dict[int, LotReadings]:
    """Find the newest readings of every lot asked for, and judge it by them."""
    found: dict[int, list[Newest]] = {lot_id: [] for lot_id in lot_ids}
    for row in _rows(session, lot_ids):
        found[row.lot_id].append(_newest(row, settings))
    return {lot_id: _together(newest, settings) for lot_id, newest in found.items()}


def _rows(session: Session, lot_ids: Collection[int]) -> Iterable[Any]:
    lots: AnySelect = select(col(GreenLot.unit_id), col(GreenLot.unit_id).label("lot_id"))
    sacks: AnySelect = select(col(Sack.unit_id), col(Sack.lot_id))
    subjects = union_all(
        lots.where(among(session, col(GreenLot.unit_id), lot_ids)),
        sacks.where(among(session, col(Sack.lot_id), lot_ids)),
    ).subquery()
    ranked = (
        standing(
            col(Reading.id),
            subjects.c.lot_id,
            col(Entry.happened_at),
            func.row_number()
            .over(
                partition_by=(col(Reading.unit_id), col(Reading.kind)),
                order_by=(col(Entry.happened_at).desc(), col(Reading.id).desc()),
            )
            .label("place"),
        )
        .join(subjects, subjects.c.unit_id == col(Reading.unit_id))
        .where(col(Reading.kind).in_(list(UNITS)))
        .subquery()
    )
    return session.execute(
        select(ranked.c.lot_id, ranked.c.happened_at, Reading, Unit)
        .join(Reading, col(Reading.id) == ranked.c.id)
        .join(Unit, col(Unit.id) == col(Reading.unit_id))
        .where(ranked.c.place == 1)
    )


def _newest(row: Any, settings: Settings) -> Newest:  # noqa: ANN401 - a row of `_rows`
    reading: Reading = row.Reading
    unit: Unit = row.Unit
    kind, value = ReadingKind(reading.kind), from_milli(reading.value_milli)
    is_lot = unit.kind == UnitKind.LOT
    band = band_of(reading, UnitKind(unit.kind), settings) or Band.UNKNOWN
    what = f"{kind.replace('_', ' ')} {value}{UNITS[kind]}"
    seen = Seen(what, unit.code, value, band, row.happened_at)
    return Newest(reading, seen, None if is_lot else unit.left_g)


def _together(newest: list[Newest], settings: Settings) -> LotReadings:
    moisture = _latest(newest, ReadingKind.MOISTURE)
    activity = _latest(newest, ReadingKind.WATER_ACTIVITY)
    there = [each for each in newest if each.sack_left_g]
    red = sorted(
        (each for each in there
         if each.seen.band is Band.RED and each not in (moisture, activity)),
        key=lambda each: each.order,
    )  # fmt: skip
    state = lot_state(
        moisture.seen if moisture else None,
        activity.seen if activity else None,
        [each.seen for each in red],
        now(),
        settings.reading_every_days,
    )
    sacks = [each for each in there if each.reading.kind == ReadingKind.MOISTURE]
    return LotReadings(moisture, activity, sorted(sacks, key=lambda each: each.order), state)


def _latest(newest: Iterable[Newest], kind: ReadingKind) -> Newest | None:
    mine = (each for each in newest if each.reading.kind == kind)
    return max(mine, key=lambda each: each.order, default=None)
