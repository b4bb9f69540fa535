"""Releasing what is held, and cupping what was set aside."""

from sqlalchemy import select
from sqlmodel import Session, col

from app.green.arrivals.checklist import arrivals_of
from app.green.arrivals.holds import arrival_lots
from app.ledger import actions as ledger
from app.ledger.corrections.tables import ActVoid
from app.ledger.posting import Pen, Posting
from app.ledger.queries import live, made_of, unit_by_code
from app.ledger.rules import canonical
from app.ledger.schemas import ReleaseIn
from app.ledger.tables import Reason, Unit, UnitKind
from app.places.mixing import refuse_apart
from app.quality.rules import UNUSABLE, Decision, may_follow
from app.quality.schemas import CuppingIn, CuppingOut, ReleaseOut
from app.quality.tables import DECIDES, Cupping, Verdict
from app.shared.mass import kg_from_grams
from app.shared.problems import Refused


def standing_decision(session: Session, unit_id: int) -> Decision | None:
    """Find what the latest tasting of a roast decided that was not voided."""
    row = session.execute(
        select(col(Cupping.verdict), col(Cupping.at_most_milli))
        .outerjoin(ActVoid, col(ActVoid.cupping_id) == col(Cupping.id))
        .where(col(Cupping.unit_id) == unit_id, col(ActVoid.entry_id).is_(None))
        .order_by(col(Cupping.id).desc())
        .limit(1)
    ).first()
    return Decision(DECIDES[Verdict(row.verdict)], row.at_most_milli) if row else None


def cup(pen: Pen, code: str, asked: CuppingIn) -> CuppingOut:
    """Record a tasting and with it what the roast may be used for; `scrap` books off what is left.

    Raises:
        Refused: `not-set-aside` where what was decided before cannot change like that.
    """
    unit = live(unit_by_code(pen.session, code, UnitKind.ROAST))
    decided = Decision(DECIDES[asked.verdict], _at_most(pen, asked))
    _refuse_change(pen, unit, decided)
    at = pen.moment(asked.cupped_at, "#/cupped_at")
    cuppers = asked.cuppers or [pen.who]
    said = asked.model_dump(mode="json") | {
        "roast": unit.code, "cuppers": cuppers, "at_most_milli": decided.at_most_milli,
    }  # fmt: skip
    scrapped_g = unit.left_g if asked.verdict is Verdict.SCRAP else None
    if scrapped_g:
        refuse_apart(pen.session, unit)
    posting = Posting("cupping", at, said)
    if scrapped_g:
        posting.adjust(unit.id, -scrapped_g, Reason.DESTROYED, asked.reason)
    entry_id = pen.post(posting)
    tasted = Cupping(
        unit_id=unit.id, verdict=asked.verdict, reason=asked.reason, notes=asked.notes,
        cuppers=canonical(cuppers), at_most_milli=decided.at_most_milli, entry_id=entry_id,
        score_milli=None if asked.score is None else int(asked.score * 1000),
    )  # fmt: skip
    pen.session.add(tasted)
    pen.session.flush()  # the database numbers the tasting
    assert tasted.id is not None  # noqa: S101 - flushed
    return CuppingOut(
        id=tasted.id,
        roast=unit.code,
        verdict=asked.verdict,
        disposition=decided.disposition,
        reason=asked.reason,
        at_most_milli=decided.at_most_milli,
        scrapped_g=scrapped_g,
        score=asked.score,
        notes=asked.notes,
        cuppers=cuppers,
        cupped_at=at,
        cupped_by=pen.who,
    )


def _at_most(pen: Pen, asked: CuppingIn) -> int | None:
    if asked.verdict is not Verdict.BLEND_IN:
        return None
    return asked.at_most_milli or int(pen.settings.blend_in_at_most_pct * 1000)


def _refuse_change(pen: Pen, unit: Unit, decided: Decision) -> None:
    stands = standing_decision(pen.session, unit.id)
    into = made_of(pen.session, {unit.id})
    if stands is None or may_follow(stands, decided, used=bool(into)):
        return
    said = f"Roast {unit.code} was {_words(stands)}; that stands."
    if stands.disposition not in UNUSABLE:
        went = f"some of it went into {', '.join(into[:5])}"
        said = f"Roast {unit.code} was tasted ({_words(stands)}) and {went}: it is not widened."
    raise Refused(
        "not-set-aside", said, unit=unit.code, disposition=stands.disposition, made=into[:50]
    )


def _words(decided: Decision) -> str:
    said = decided.disposition.replace("_", " ")
    if decided.at_most_milli is None:
        return said
    return f"{said}, at most {kg_from_grams(decided.at_most_milli)} % of a blend"


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
