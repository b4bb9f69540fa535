"""Drawing samples: their mass leaves the sacks, and the plan says from how many."""

from collections.abc import Sequence
from typing import NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.green.tables import Condition, Sack
from app.ledger.posting import Pen, Posting
from app.ledger.queries import live, unit_by_code, units_by_code
from app.ledger.tables import Reason, Unit, UnitKind
from app.quality.grading.schemas import (
    SampleDraw,
    SampleIn,
    SampleOut,
)
from app.quality.grading.showing import Booked, show_sample
from app.quality.grading.tables import Sample, SampleKind, SamplePart
from app.quality.grading.voids import void_of
from app.settings import Settings
from app.shared.db import among
from app.shared.problems import FieldRefused
from app.standards.sampling import SamplePlan, SamplingRule, plan

OUT_OF_STOCK_ONLY = frozenset({SampleKind.ARRIVAL, SampleKind.RETAINED})
"""Samples that can be drawn nowhere but from sacks that are here."""


def plan_of(session: Session, lot_id: int, settings: Settings) -> SamplePlan:
    """Plan a sample of the sacks of a lot in which there is coffee; sweepings are no sack."""
    sacks = session.scalar(
        select(func.count())
        .select_from(Sack)
        .join(Unit, col(Unit.id) == col(Sack.unit_id))
        .where(col(Sack.lot_id) == lot_id, col(Unit.left_g) > 0)
        .where(col(Sack.condition) != Condition.SWEEPINGS)
    )
    return plan(sacks or 0, sampling_rule(settings))


def sampling_rule(settings: Settings) -> SamplingRule:
    """Read the roastery's rule out of its settings."""
    return SamplingRule(
        share_pct=settings.sample_share_pct,
        fewest_sacks=settings.sample_fewest_sacks,
        increment_g=settings.sample_increment_g,
        bulk_g=settings.sample_bulk_g,
    )


class Whereof(NamedTuple):
    """What a sample is of: the lot, the lot or sack that was named, and the sacks drawn from."""

    lot: Unit | None
    subject: Unit | None
    drawn: Sequence[tuple[Unit, int]]


def take(pen: Pen, asked: SampleIn) -> SampleOut:
    """Book a sample; what is drawn out of sacks leaves all of them in one entry."""
    _refuse_contradictions(asked)
    of = _whereof(pen.session, asked)
    planned = _planned(pen, of)
    at = pen.moment(asked.taken_at, "#/taken_at")
    posting = Posting("sample", at, asked.model_dump(mode="json"))
    for sack, grams in of.drawn:
        posting.adjust(sack.id, -grams, Reason.SAMPLE, asked.purpose)
    entry_id = pen.post(posting)
    sample = _write(pen, entry_id, asked, of, planned)
    parts = [SampleDraw(sack=sack.code, grams=grams) for sack, grams in of.drawn]
    booked = Booked(of.lot.code if of.lot else None, at, pen.who)
    return show_sample(sample, booked, asked.subject, parts)


def _planned(pen: Pen, of: Whereof) -> SamplePlan | None:
    """Plan what is drawn from a whole lot; who means one sack follows no plan."""
    if of.lot is None or of.lot is not of.subject or not of.drawn:
        return None
    return plan_of(pen.session, of.lot.id, pen.settings)


def _refuse_contradictions(asked: SampleIn) -> None:
    if (asked.subject is None) is (asked.typical_of is None):
        raise FieldRefused(
            "#/subject", "a sample is of a lot or a sack (subject) or only typical (typical_of)"
        )
    if asked.drawn is not None and asked.grams is not None:
        raise FieldRefused("#/kg", "the mass is what the sacks of `from` gave: leave it out")
    if asked.drawn is not None and asked.subject is None:
        raise FieldRefused("#/from", "a sample out of sacks here has them as its subject")
    if asked.drawn is None and asked.kind in OUT_OF_STOCK_ONLY:
        raise FieldRefused("#/from", f"{asked.kind} samples come out of sacks: name them")
    if asked.drawn is None and asked.increments is not None:
        raise FieldRefused("#/increments", "increments are drawn from sacks: name them in `from`")
    if asked.drawn and asked.increments is not None and asked.increments < len(asked.drawn):
        raise FieldRefused("#/increments", f"{len(asked.drawn)} sacks take as many increments")


def _whereof(session: Session, asked: SampleIn) -> Whereof:
    if asked.subject is None:
        return Whereof(None, None, ())
    subject = live(unit_by_code(session, asked.subject, UnitKind.LOT, UnitKind.SACK))
    lot = subject
    if subject.kind == UnitKind.SACK:
        lot = session.get_one(Unit, session.get_one(Sack, subject.id).lot_id)
    return Whereof(lot, subject, _drawn(session, asked, subject))


def _drawn(session: Session, asked: SampleIn, subject: Unit) -> list[tuple[Unit, int]]:
    """Find the sacks, each named once and each the sack or of the lot that is sampled."""
    draws = asked.drawn or []
    sacks = units_by_code(session, [draw.sack for draw in draws], UnitKind.SACK)
    mine = {subject.id} if subject.kind == UnitKind.SACK else set(
        session.scalars(
            select(col(Sack.unit_id))
            .where(among(session, col(Sack.unit_id), [sack.id for sack in sacks.values()]))
            .where(col(Sack.lot_id) == subject.id)
        )
    )  # fmt: skip
    named: set[str] = set()
    for number, draw in enumerate(draws):
        where = f"#/from/{number}/sack"
        if draw.sack in named:
            raise FieldRefused(where, f"named twice: {draw.sack}")
        if live(sacks[draw.sack]).id not in mine:
            raise FieldRefused(where, f"{draw.sack} is no part of {subject.code}")
        named.add(draw.sack)
    return [(sacks[draw.sack], draw.grams) for draw in draws]


def _write(
    pen: Pen, entry_id: int, asked: SampleIn, of: Whereof, planned: SamplePlan | None
) -> Sample:
    sample = Sample(
        lot_id=of.lot.id if of.lot else None, kind=asked.kind, purpose=asked.purpose,
        subject_id=of.subject.id if of.subject else None, typical_of=asked.typical_of,
        grams=sum(grams for _, grams in of.drawn) if of.drawn else asked.grams,
        increments=asked.increments, drawn_with=asked.drawn_with, entry_id=entry_id,
        lot_sacks=planned.sacks if planned else None,
        sacks_to_sample=planned.to_sample if planned else None,
        plan_why=planned.why if planned else None,
    )  # fmt: skip
    pen.session.add(sample)
    pen.session.flush()  # the database numbers the sample
    assert sample.id is not None  # noqa: S101 - flushed
    pen.session.add_all(
        SamplePart(sample_id=sample.id, sack_id=sack.id, grams=grams) for sack, grams in of.drawn
    )
    return sample


def sample_of(session: Session, number: int | None, lot: Unit) -> Sample | None:
    """Find the sample that a grading or cupping was done on: one of this lot, not voided."""
    if number is None:
        return None
    sample = session.get(Sample, number)
    if sample is None or sample.lot_id != lot.id:
        raise FieldRefused("#/sample", f"lot {lot.code} has no sample {number}")
    if void_of(session, sample_id=number) is not None:
        raise FieldRefused("#/sample", f"sample {number} was voided")
    return sample
