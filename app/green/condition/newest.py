"""The newest readings of lots and of each of their sacks, in one statement."""

from collections.abc import Collection, Iterable
from datetime import datetime
from decimal import Decimal
from typing import Any, NamedTuple

from sqlalchemy import func, select, union_all
from sqlmodel import Session, col

from app.green.condition.rules import Seen, State, lot_state
from app.green.readings.rules import NO_METHOD, Band
from app.green.readings.series import standing
from app.green.readings.showing import Figure, band_of
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

    kind: ReadingKind
    value: Decimal
    band: Band
    taken_at: datetime
    number: int
    subject: str
    said_method: str | None
    instrument: str | None
    sack_left_g: int | None
    """None for a reading of the lot itself."""

    @property
    def seen(self) -> Seen:
        """The reading in the words of a reason."""
        what = f"{self.kind.replace('_', ' ')} {self.value}{UNITS[self.kind]}"
        return Seen(what, self.subject, self.value, self.band, self.taken_at)

    @property
    def order(self) -> tuple[datetime, int]:
        """What makes one reading newer than another."""
        return self.taken_at, self.number

    @property
    def method(self) -> str:
        """The method, or the word for none."""
        return self.said_method or NO_METHOD


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
            col(Reading.unit_id),
            col(Reading.kind),
            col(Reading.value_milli),
            col(Reading.method),
            col(Reading.instrument),
            col(Reading.calibration),
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
        select(ranked, col(Unit.code), col(Unit.kind).label("unit_kind"), col(Unit.left_g))
        .join(Unit, col(Unit.id) == ranked.c.unit_id)
        .where(ranked.c.place == 1)
    )


def _newest(row: Any, settings: Settings) -> Newest:  # noqa: ANN401 - a row of `_rows`
    kind, unit_kind = ReadingKind(row.kind), UnitKind(row.unit_kind)
    value = from_milli(row.value_milli)
    band = band_of(Figure(kind, value, row.calibration, unit_kind), settings) or Band.UNKNOWN
    left_g = None if unit_kind is UnitKind.LOT else row.left_g
    return Newest(
        kind, value, band, row.happened_at, row.id, row.code, row.method, row.instrument, left_g
    )


def _together(newest: list[Newest], settings: Settings) -> LotReadings:
    moisture = _latest(newest, ReadingKind.MOISTURE)
    activity = _latest(newest, ReadingKind.WATER_ACTIVITY)
    there = [each for each in newest if each.sack_left_g]
    # What was red of the lot as a whole stays so until the lot is read again, not one good sack.
    red = sorted(
        (each for each in newest
         if each.band is Band.RED and each not in (moisture, activity) and each.sack_left_g != 0),
        key=lambda each: each.order,
    )  # fmt: skip
    state = lot_state(
        moisture.seen if moisture else None,
        activity.seen if activity else None,
        [each.seen for each in red],
        now(),
        settings.reading_every_days,
    )
    sacks = [each for each in there if each.kind == ReadingKind.MOISTURE]
    return LotReadings(moisture, activity, sorted(sacks, key=lambda each: each.order), state)


def _latest(newest: Iterable[Newest], kind: ReadingKind) -> Newest | None:
    mine = (each for each in newest if each.kind == kind)
    return max(mine, key=lambda each: each.order, default=None)
