"""Undoing what was booked by mistake: a sample, a grading, a cupping."""

from collections.abc import Mapping

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.posting import Pen, Posting
from app.ledger.queries import unit_by_code
from app.ledger.tables import Reason, Unit, UnitKind
from app.quality.grading.schemas import RecordVoidIn, VoidedRecord
from app.quality.grading.tables import Grading, GradingVoid, LotCupping, Sample, SamplePart
from app.shared.problems import Refused


def void_of(session: Session, **record: int) -> GradingVoid | None:
    """Find the void of a sample, grading or cupping, named by its column."""
    return session.scalars(select(GradingVoid).filter_by(**record)).first()


def void_sample(pen: Pen, number: int, asked: RecordVoidIn) -> VoidedRecord:
    """Undo a sample that was booked by mistake: the sacks get their coffee back."""
    session = pen.session
    sample = session.get(Sample, number)
    if sample is None:
        raise Refused("not-found", f"There is no sample {number}.")
    _refuse_twice(session, "Sample", sample_id=number)
    _refuse_graded(session, number)
    posting = _posting(pen, {"sample": number}, asked, sample.entry_id)
    given: dict[str, int] = {}
    for sack_id, code, grams in session.execute(
        select(col(Unit.id), col(Unit.code), col(SamplePart.grams))
        .join(SamplePart, col(SamplePart.sack_id) == col(Unit.id))
        .where(col(SamplePart.sample_id) == number)
        .order_by(col(Unit.id))
    ):
        posting.adjust(sack_id, grams, Reason.SAMPLE, asked.reason)
        given[code] = grams
    entry_id = pen.post(posting)
    session.add(GradingVoid(entry_id=entry_id, sample_id=number, reason=asked.reason))
    lot = session.get_one(Unit, sample.lot_id).code if sample.lot_id is not None else None
    return _voided(pen, number, lot, asked, given)


def void_grading(pen: Pen, code: str, number: int, asked: RecordVoidIn) -> VoidedRecord:
    """Say that a grading never was."""
    lot = unit_by_code(pen.session, code, UnitKind.LOT)
    grading = pen.session.get(Grading, number)
    if grading is None or grading.lot_id != lot.id:
        raise Refused("not-found", f"Lot {lot.code} has no grading {number}.")
    _refuse_twice(pen.session, "Grading", grading_id=number)
    said = {"lot": lot.code, "grading": number}
    entry_id = pen.post(_posting(pen, said, asked, grading.entry_id))
    pen.session.add(GradingVoid(entry_id=entry_id, grading_id=number, reason=asked.reason))
    return _voided(pen, number, lot.code, asked, {})


def void_cupping(pen: Pen, code: str, number: int, asked: RecordVoidIn) -> VoidedRecord:
    """Say that a cupping of a lot never was."""
    lot = unit_by_code(pen.session, code, UnitKind.LOT)
    cupping = pen.session.get(LotCupping, number)
    if cupping is None or cupping.lot_id != lot.id:
        raise Refused("not-found", f"Lot {lot.code} has no cupping {number}.")
    _refuse_twice(pen.session, "Cupping", lot_cupping_id=number)
    said = {"lot": lot.code, "cupping": number}
    entry_id = pen.post(_posting(pen, said, asked, cupping.entry_id))
    pen.session.add(GradingVoid(entry_id=entry_id, lot_cupping_id=number, reason=asked.reason))
    return _voided(pen, number, lot.code, asked, {})


def _posting(pen: Pen, record: Mapping[str, object], asked: RecordVoidIn, undone: int) -> Posting:
    return Posting("void", pen.now, {**record, "reason": asked.reason}, reverses_id=undone)


def _refuse_twice(session: Session, noun: str, **record: int) -> None:
    void = void_of(session, **record)
    if void is not None:
        [number] = record.values()
        raise Refused("already-done", f"{noun} {number} was voided before: {void.reason}.")


def _refuse_graded(session: Session, number: int) -> None:
    """Refuse to void a sample that was graded or cupped, while that stands."""
    gradings = session.scalars(
        select(col(Grading.id))
        .outerjoin(GradingVoid, col(GradingVoid.grading_id) == col(Grading.id))
        .where(col(Grading.sample_id) == number, col(GradingVoid.entry_id).is_(None))
        .order_by(col(Grading.id))
    )
    cuppings = session.scalars(
        select(col(LotCupping.id))
        .outerjoin(GradingVoid, col(GradingVoid.lot_cupping_id) == col(LotCupping.id))
        .where(col(LotCupping.sample_id) == number, col(GradingVoid.entry_id).is_(None))
        .order_by(col(LotCupping.id))
    )
    done = [f"grading {each}" for each in gradings] + [f"cupping {each}" for each in cuppings]
    if done:
        raise Refused(
            "has-dependants",
            f"Sample {number} cannot be voided: {', '.join(done)} came from it. Void those first.",
            dependants=done,
        )


def _voided(
    pen: Pen, number: int, lot: str | None, asked: RecordVoidIn, given: dict[str, int]
) -> VoidedRecord:
    assert pen.entry_id is not None  # noqa: S101 - posted
    return VoidedRecord(
        id=number,
        lot=lot,
        given_back=given,
        reason=asked.reason,
        entry=pen.entry_id,
        voided_at=pen.now,
    )
