"""Cupping what was set aside."""

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.posting import Pen
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import UnitKind
from app.quality.schemas import CuppingIn, CuppingOut
from app.quality.tables import Cupping, Verdict
from app.shared.problems import Refused


def verdicts(session: Session, unit_ids: list[int]) -> dict[int, Verdict]:
    """Name the verdict that stands for each roast that was tasted: a rejection is for good."""
    rows = session.execute(
        select(col(Cupping.unit_id), col(Cupping.verdict))
        .where(col(Cupping.unit_id).in_(unit_ids))
        .order_by(col(Cupping.id))
    )
    return {unit_id: Verdict(verdict) for unit_id, verdict in rows}


def cup(pen: Pen, code: str, asked: CuppingIn) -> CuppingOut:
    """Record a tasting and with it release or reject the roast."""
    unit = live(unit_by_code(pen.session, code, UnitKind.ROAST))
    if verdicts(pen.session, [unit.id]).get(unit.id) is Verdict.REJECT:
        raise Refused(
            "not-set-aside", f"Roast {unit.code} was rejected; that stands.", unit=unit.code
        )
    at = pen.moment(asked.cupped_at, "#/cupped_at")
    entry_id = pen.note("cupping", {"roast": unit.code, **asked.model_dump(mode="json")}, at)
    pen.session.add(Cupping(
        unit_id=unit.id, verdict=asked.verdict, notes=asked.notes, entry_id=entry_id,
        score_milli=None if asked.score is None else int(asked.score * 1000),
    ))  # fmt: skip
    released = asked.verdict is Verdict.RELEASE
    return CuppingOut(
        roast=unit.code,
        verdict=asked.verdict,
        score=asked.score,
        notes=asked.notes,
        disposition="released" if released else "rejected",
        cupped_at=at,
        cupped_by=pen.who,
    )
