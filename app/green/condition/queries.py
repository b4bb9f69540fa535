"""Reading the condition of lots: the newest readings, trends, drift and what follows from them."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from decimal import Decimal
from typing import NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.condition.climate import rooms_of
from app.green.condition.newest import LotReadings, Newest, lot_readings
from app.green.condition.schemas import (
    DriftOut,
    ExplainedMass,
    LotCondition,
    LotMoisture,
    NewestReading,
    PointOut,
    SacksTogether,
    TrendOut,
    WatchedLot,
)
from app.green.readings.rules import Band, Drift, Point, drift_of, is_overdue, method_key
from app.green.readings.series import points_of
from app.green.tables import GreenLot, Sack
from app.ledger.queries import on_hold, unit_by_code
from app.ledger.tables import Unit, UnitKind
from app.settings import Settings
from app.shared.paging import Page, PageOf, page_by_key
from app.shared.shares import plain
from app.shared.times import now
from app.standards.moisture import explained_change, half_up, mixed

_ALL_WATER = Decimal(100)


def lot_moistures(
    session: Session, lot_ids: Collection[int], settings: Settings
) -> dict[int, LotMoisture]:
    """Tell the newest moisture of each lot and what is known of the lot today."""
    return {
        lot_id: _lot_moisture(known)
        for lot_id, known in lot_readings(session, lot_ids, settings).items()
    }


def _lot_moisture(known: LotReadings) -> LotMoisture:
    newest = known.moisture
    return LotMoisture(
        value_pct=newest.value if newest else None,
        band=newest.band if newest else Band.UNKNOWN,
        status=known.state.status,
        taken_at=newest.taken_at if newest else None,
        overdue=known.state.overdue,
    )


def lot_condition(session: Session, code: str, settings: Settings) -> LotCondition:
    """Read everything that readings say of one lot."""
    return condition_of(session, unit_by_code(session, code, UnitKind.LOT), settings)


def condition_of(session: Session, unit: Unit, settings: Settings) -> LotCondition:
    """Read everything that readings say of a lot that was found."""
    known = lot_readings(session, [unit.id], settings)[unit.id]
    subjects = _subjects(session, unit)
    points = points_of(session, subjects)
    drift = drift_of(points.get(unit.id, []))
    on_hand_g = session.scalar(
        select(func.sum(col(Unit.left_g)))
        .join(Sack, col(Sack.unit_id) == col(Unit.id))
        .where(col(Sack.lot_id) == unit.id)
    )
    seen = known.moisture.seen if known.moisture else None
    return LotCondition(
        lot=unit.code,
        status=known.state.status,
        overdue=known.state.overdue,
        why=known.state.why,
        moisture=_newest_out(known.moisture, settings),
        water_activity=_newest_out(known.water_activity, settings),
        drift=_drift_out(drift, settings),
        trends=list(_trends(points, subjects, settings)),
        explained=_explained(drift, unit.made_g, int(on_hand_g or 0)),
        sacks_together=_together(known.sacks),
        rooms=rooms_of(session, unit.id, seen, settings),
    )


def _subjects(session: Session, lot: Unit) -> dict[int, str]:
    """Name the lot and its sacks, the lot first."""
    sacks = session.execute(
        select(col(Unit.id), col(Unit.code))
        .join(Sack, col(Sack.unit_id) == col(Unit.id))
        .where(col(Sack.lot_id) == lot.id)
        .order_by(col(Sack.number))
    )
    return {lot.id: lot.code, **{row.id: row.code for row in sacks}}


def _newest_out(newest: Newest | None, settings: Settings) -> NewestReading | None:
    if newest is None:
        return None
    return NewestReading(
        reading=newest.number,
        subject=newest.subject,
        value=newest.value,
        band=newest.band,
        taken_at=newest.taken_at,
        method=newest.method,
        instrument=newest.instrument,
        overdue=is_overdue(newest.taken_at, now(), settings.reading_every_days),
    )


def _trends(
    points: Mapping[int, Sequence[Point]], subjects: Mapping[int, str], settings: Settings
) -> Iterator[TrendOut]:
    for unit_id, code in subjects.items():
        by_method: dict[str | None, list[Point]] = {}
        for point in points.get(unit_id, []):
            by_method.setdefault(method_key(point.method), []).append(point)
        for series in by_method.values():
            yield TrendOut(
                subject=code,
                method=series[-1].method_name,
                points=[_point_out(point) for point in series],
                drift=_drift_out(drift_of(series), settings),
            )


def _point_out(point: Point) -> PointOut:
    return PointOut(
        reading=point.number,
        value_pct=point.value,
        taken_at=point.taken_at,
        trusted=point.trusted,
    )


def _drift_out(drift: Drift | None, settings: Settings) -> DriftOut | None:
    if drift is None:
        return None
    first, newest, points = drift.first, drift.newest, drift.points
    if points is None:
        detail = f"not comparable: methods differ ({first.method_name}, {newest.method_name})"
    else:
        detail = f"{first.value} to {newest.value} % by {newest.method_name} in {drift.days} days"
    return DriftOut(
        comparable=points is not None,
        method=newest.method_name,
        from_pct=first.value,
        from_at=first.taken_at,
        to_pct=newest.value,
        to_at=newest.taken_at,
        points=points,
        days=drift.days,
        alarm=points is not None and abs(points) >= settings.moisture_drift_points,
        detail=detail,
    )


def _explained(drift: Drift | None, received_g: int, on_hand_g: int) -> ExplainedMass | None:
    """Work out the change of mass that moisture explains; the one rounding is to the gram."""
    if (
        drift is None
        or drift.methods_differ
        or _ALL_WATER in {drift.first.value, drift.newest.value}
    ):
        return None
    before, after = drift.first.value, drift.newest.value
    return ExplainedMass(
        from_pct=before,
        to_pct=after,
        received_g=received_g,
        received_change_g=int(half_up(explained_change(received_g, before, after), 0)),
        on_hand_g=on_hand_g,
        on_hand_change_g=int(half_up(explained_change(on_hand_g, before, after), 0)),
    )


def _together(sacks: Sequence[Newest]) -> SacksTogether | None:
    """Put sacks that were read by one method together by their masses, never by a plain mean."""
    if len({method_key(each.said_method) for each in sacks}) != 1:
        return None
    parts = [(each.sack_left_g or 0, each.value) for each in sacks]
    if any(value == _ALL_WATER for _, value in parts):
        return None
    return SacksTogether(
        sacks=len(parts),
        kg=sum(grams for grams, _ in parts),
        method=sacks[0].method,
        moisture_pct=plain(half_up(mixed(parts))),
    )


class _Watched(NamedTuple):
    known: LotReadings
    left_g: int


def watch_page(
    session: Session, page: Page, settings: Settings, status: Band | None, overdue: bool | None
) -> PageOf:
    """Read lots on hand that are not green, or of one status, in the order they came."""
    sack = aliased(Unit)
    left = (
        select(col(Sack.lot_id), func.sum(col(sack.left_g)).label("grams"))
        .join(sack, col(sack.id) == col(Sack.unit_id))
        .where(col(sack.left_g) > 0)
        .group_by(col(Sack.lot_id))
        .subquery()
    )
    there = session.execute(
        select(
            col(Unit.id), col(Unit.code), col(GreenLot.name), left.c.grams,
            on_hold(col(Unit.id)).label("held"),
        )
        .join(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
        .join(left, left.c.lot_id == col(Unit.id))
    ).all()  # fmt: skip
    known = lot_readings(session, [row.id for row in there], settings)
    wanted = {
        row.id: row
        for row in there
        if _is_wanted(known[row.id], status) and overdue in {None, known[row.id].state.overdue}
    }
    rows, following = page_by_key(wanted, page)
    return [
        _watched(row.code, row.name, _Watched(known[row.id], int(row.grams)), held=row.held)
        for row in rows
    ], following


def _is_wanted(found: LotReadings, status: Band | None) -> bool:
    if status is None:
        return found.state.status is not Band.GREEN
    return found.state.status is status


def _watched(code: str, name: str, watched: _Watched, *, held: bool) -> dict[str, object]:
    known = watched.known
    moisture, activity = known.moisture, known.water_activity
    return WatchedLot(
        lot=code,
        name=name,
        status=known.state.status,
        overdue=known.state.overdue,
        why=known.state.why,
        value_pct=moisture.value if moisture else None,
        water_activity=activity.value if activity else None,
        taken_at=moisture.taken_at if moisture else None,
        on_hand_g=watched.left_g,
        held=held,
    ).model_dump(by_alias=True)
