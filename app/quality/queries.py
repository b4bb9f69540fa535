"""Reading holds and cuppings."""

import json
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.corrections.tables import ActVoid
from app.ledger.queries import unit_by_code
from app.ledger.tables import Adjustment, Entry, Hold, HoldRelease, HoldUnit, Unit, UnitKind
from app.quality.schemas import CuppingOut
from app.quality.tables import DECIDES, Cupping, Verdict
from app.shared.db import AnySelect
from app.shared.mass import kg_from_grams
from app.shared.paging import Page, PageOf, turn_page
from app.shared.times import text


def hold_page(session: Session, page: Page, code: str | None, opened: bool | None) -> PageOf:
    """Read holds in the order they were placed."""
    placed, ended = aliased(Entry), aliased(Entry)
    statement: AnySelect = (
        select(
            col(Hold.id),
            col(Hold.reason),
            col(placed.recorded_at).label("placed_at"),
            col(placed.who).label("placed_by"),
            col(ended.recorded_at).label("released_at"),
            col(ended.who).label("released_by"),
            col(HoldRelease.reason).label("release_reason"),
        )
        .join(placed, col(placed.id) == col(Hold.entry_id))
        .outerjoin(HoldRelease, col(HoldRelease.hold_id) == col(Hold.id))
        .outerjoin(ended, col(ended.id) == col(HoldRelease.entry_id))
    )
    if code is not None:
        unit_id = unit_by_code(session, code).id
        mine = select(col(HoldUnit.hold_id)).where(col(HoldUnit.unit_id) == unit_id)
        statement = statement.where(col(Hold.id).in_(mine))
    if opened is not None:
        ends = col(HoldRelease.hold_id)
        statement = statement.where(ends.is_(None) if opened else ends.is_not(None))
    rows, following = turn_page(session, statement, col(Hold.id), page)
    units: dict[int, list[str]] = {}
    for hold_id, unit in session.execute(
        select(col(HoldUnit.hold_id), col(Unit.code))
        .join(Unit, col(Unit.id) == col(HoldUnit.unit_id))
        .where(col(HoldUnit.hold_id).in_([row.id for row in rows]))
        .order_by(col(Unit.id))
    ):
        units.setdefault(hold_id, []).append(unit)
    return [_hold_line(row, units.get(row.id, [])) for row in rows], following


def _hold_line(row: Any, units: list[str]) -> dict[str, object]:  # noqa: ANN401 - a row of `hold_page`
    return {
        "id": row.id, "units": units, "reason": row.reason, "placed_at": text(row.placed_at),
        "placed_by": row.placed_by, "released_by": row.released_by,
        "released_at": text(row.released_at) if row.released_at else None,
        "release_reason": row.release_reason,
    }  # fmt: skip


def cupping_page(session: Session, page: Page, code: str) -> PageOf:
    """Read the tastings of a roast."""
    unit = unit_by_code(session, code, UnitKind.ROAST)
    statement: AnySelect = (
        select(
            col(Cupping.id),
            col(Cupping.verdict),
            col(Cupping.reason),
            col(Cupping.at_most_milli),
            col(Cupping.score_milli),
            col(Cupping.notes),
            col(Cupping.cuppers),
            col(Adjustment.grams),
            col(Entry.happened_at),
            col(Entry.who),
            col(ActVoid.reason).label("void_reason"),
        )
        .join(Entry, col(Entry.id) == col(Cupping.entry_id))
        .outerjoin(
            Adjustment,
            (col(Adjustment.entry_id) == col(Cupping.entry_id))
            & (col(Adjustment.unit_id) == col(Cupping.unit_id)),
        )
        .outerjoin(ActVoid, col(ActVoid.cupping_id) == col(Cupping.id))
        .where(col(Cupping.unit_id) == unit.id)
    )
    rows, following = turn_page(session, statement, col(Cupping.id), page)
    return [_cupping_line(unit.code, row) for row in rows], following


def _cupping_line(roast: str, row: Any) -> dict[str, object]:  # noqa: ANN401 - a row of `cupping_page`
    verdict = Verdict(row.verdict)
    return CuppingOut(
        id=row.id,
        roast=roast,
        verdict=verdict,
        disposition=DECIDES[verdict],
        reason=row.reason,
        at_most_milli=row.at_most_milli,
        scrapped_g=-(row.grams or 0) if verdict is Verdict.SCRAP else None,
        score=None if row.score_milli is None else kg_from_grams(row.score_milli),
        notes=row.notes,
        cuppers=json.loads(row.cuppers) if row.cuppers else [row.who],
        cupped_at=row.happened_at,
        cupped_by=row.who,
        voided=row.void_reason is not None,
        void_reason=row.void_reason,
    ).model_dump()
