"""Releasing what is held, and cupping what was set aside."""

from sqlalchemy import select
from sqlmodel import Session, col

from app.green.arrivals.checklist import arrivals_of
from app.green.arrivals.holds import arrival_lots
from app.ledger import actions as ledger
from app.ledger.corrections.tables import ActVoid
from app.ledger.posting import Pen
from app.ledger.queries import live, unit_by_code
from app.ledger.schemas import ReleaseIn
from app.ledger.tables import UnitKind
from app.quality.schemas import CuppingIn, CuppingOut, ReleaseOut
from app.quality.tables import Cupping, Verdict
from app.shared.problems import Refused


def verdicts(session: Session, unit_ids: list[int]) -> dict[int, Verdict]:
    """Name the verdict that stands for each roast that was tasted: a rejection is for good."""
    rows = session.execute(
        select(col(Cupping.unit_id), col(Cupping.verdict))
        .outerjoin(ActVoid, col(ActVoid.cupping_id) == col(Cupping.id))
        .where(col(Cupping.unit_id).in_(unit_ids), col(ActVoid.entry_id).is_(None))
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
    tasted = Cupping(
        unit_id=unit.id, verdict=asked.verdict, notes=asked.notes, entry_id=entry_id,
        score_milli=None if asked.score is None else int(asked.score * 1000),
    )  # fmt: skip
    pen.session.add(tasted)
    pen.session.flush()  # the database numbers the tasting
    assert tasted.id is not None  # noqa: S101 - flushed
    released = asked.verdict is Verdict.RELEASE
    return CuppingOut(
        id=tasted.id,
        roast=unit.code,
        verdict=asked.verdict,
        score=asked.score,
        notes=asked.notes,
        disposition="released" if released else "rejected",
        cupped_at=at,
        cupped_by=pen.who,
    )


def release(pen: Pen, number: int, asked: ReleaseIn) -> ReleaseOut:
    """End a hold; where it is an arrival's, say in the book what was still to be done then.

    It is never refused for that: releasing is the quality role's act.
    """
    lots = arrival_lots(pen.session, number)
    if not lots:
        return ReleaseOut(**dict(ledger.release(pen, number, asked)))
    standing = arrivals_of(pen.session, list(lots))
    steps = {code: standing[lot_id].open_steps for lot_id, code in lots.items()}
    released = ledger.release(pen, number, asked, {"open_steps": steps})
    return ReleaseOut(**dict(released), open_steps=steps)
