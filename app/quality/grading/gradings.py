"""Grading a green lot."""

from app.ledger.posting import Pen
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import UnitKind
from app.quality.grading.judging import judge_all, refuse_contradictions
from app.quality.grading.queries import newest_readings
from app.quality.grading.samples import sample_of
from app.quality.grading.schemas import GradingIn, GradingOut
from app.quality.grading.showing import Booked, show_grading
from app.quality.grading.tables import Grading
from app.shared.answers import to_json


def grade(pen: Pen, code: str, asked: GradingIn) -> GradingOut:
    """Record what was found in a sample of a lot, and judge it by what is known now."""
    refuse_contradictions(asked, pen.settings)
    lot = live(unit_by_code(pen.session, code, UnitKind.LOT))
    sample = sample_of(pen.session, asked.sample, lot)
    at = pen.moment(asked.graded_at, "#/graded_at")
    judged = judge_all(asked, newest_readings(pen.session, lot.id), pen.settings)
    entry_id = pen.note("grading", {"lot": lot.code, **asked.model_dump(mode="json")}, at)
    grading = Grading(
        lot_id=lot.id,
        sample_id=sample.id if sample else None,
        found=_found(asked),
        judged=to_json(judged).decode(),
        entry_id=entry_id,
    )
    pen.session.add(grading)
    pen.session.flush()  # the database numbers the grading
    return show_grading(grading, Booked(lot.code, at, pen.who), asked, judged)


def _found(asked: GradingIn) -> str:
    """Write down what was counted and seen; where and when stand in the row and its entry."""
    beside = {"sample", "graded_at"}
    return to_json(asked.model_dump(exclude=beside, exclude_none=True)).decode()
