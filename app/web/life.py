"""The life of a unit: everything the book says of it, in the order it happened.

Each line of `_facts` is one sort of fact; all are read in one statement. What one entry did many
times, such as the sacks of a delivery, is told once.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime
from itertools import groupby
from typing import Any, Final, NamedTuple

from sqlalchemy import (
    BigInteger,
    CompoundSelect,
    String,
    bindparam,
    cast,
    func,
    literal,
    null,
    select,
    union_all,
)
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.readings.tables import Reading, ReadingVoid
from app.green.tables import GreenLot, Sack
from app.ledger.corrections.tables import ActVoid, Correction
from app.ledger.queries import held_with, on_hold, unknown
from app.ledger.tables import Adjustment, Entry, Flow, Hold, HoldRelease, HoldUnit, Unit, UnitKind
from app.places.tables import Location, Move
from app.quality.grading.tables import GradingVoid, LotCupping
from app.quality.tables import Cupping
from app.shared.db import AnySelect

SHOWN: Final = 12
"""So many of what one entry did are named; the rest is counted."""


class Link(NamedTuple):
    """A unit that an event is about, and how much of it."""

    code: str
    kind: str
    grams: int


class Event(NamedTuple):
    """Something that happened to a unit, by one entry."""

    what: str
    at: datetime
    who: str
    entry: int
    grams: int
    """All of it; of a reading its value in thousandths, of a tasting its score."""
    links: Sequence[Link]
    words: str | None
    more: str | None


class Life(NamedTuple):
    """A unit as it is, and what happened to it."""

    id: int
    code: str
    kind: UnitKind
    name: str | None
    lot: str | None
    made_g: int
    left_g: int
    place: str | None
    held: bool
    voided: bool
    events: Sequence[Event]


def _unit() -> AnySelect:
    lot, lot_unit, sack, in_sack = aliased(GreenLot), aliased(Unit), aliased(Sack), aliased(Unit)
    in_sacks = (
        select(func.sum(col(in_sack.left_g)))
        .join(sack, col(sack.unit_id) == col(in_sack.id))
        .where(col(sack.lot_id) == col(Unit.id))
        .correlate(Unit)
        .scalar_subquery()
    )
    return (
        select(
            col(Unit.id),
            col(Unit.code),
            col(Unit.kind),
            col(Unit.made_g),
            # A lot is used up by its sacks: what is left of it is in them.
            func.coalesce(in_sacks, col(Unit.left_g)).label("left_g"),
            col(Unit.voided_entry_id),
            col(Location.code).label("place"),
            col(lot.name).label("name"),
            col(lot_unit.code).label("lot"),
            on_hold(col(Unit.id)).label("held"),
        )
        .outerjoin(Location, col(Location.id) == col(Unit.location_id))
        .outerjoin(Sack, col(Sack.unit_id) == col(Unit.id))
        .outerjoin(lot_unit, col(lot_unit.id) == col(Sack.lot_id))
        .outerjoin(lot, (col(lot.unit_id) == col(Unit.id)) | (col(lot.unit_id) == col(Sack.lot_id)))
        .where(col(Unit.code) == bindparam("code"))
    )


def _fact(what: str, entry: Any, **said: Any) -> AnySelect:  # noqa: ANN401 - columns of any type
    return select(
        literal(what).label("what"),
        entry.label("entry_id"),
        cast(said.get("grams", null()), BigInteger).label("grams"),
        cast(said.get("code", null()), String).label("code"),
        cast(said.get("kind", null()), String).label("kind"),
        cast(said.get("words", null()), String).label("words"),
        cast(said.get("more", null()), String).label("more"),
    )


def _said_of(unit_id: Any) -> list[AnySelect]:  # noqa: ANN401 - a parameter
    """What was found out and decided about it: holds, readings, tastings."""
    return [
        _fact("held", col(Hold.entry_id), words=col(Hold.reason))
        .join_from(Hold, HoldUnit, col(HoldUnit.hold_id) == col(Hold.id))
        .where(held_with(unit_id)),
        _fact("released", col(HoldRelease.entry_id), words=col(HoldRelease.reason))
        .join_from(HoldRelease, HoldUnit, col(HoldUnit.hold_id) == col(HoldRelease.hold_id))
        .where(held_with(unit_id)),
        _fact("read", col(Reading.entry_id), grams=col(Reading.value_milli),
              words=col(Reading.kind), more=col(Reading.instrument))
        .outerjoin(ReadingVoid, col(ReadingVoid.reading_id) == col(Reading.id))
        .where(col(Reading.unit_id) == unit_id, col(ReadingVoid.reading_id).is_(None)),
        _fact("cupped", col(Cupping.entry_id), grams=col(Cupping.score_milli),
              words=col(Cupping.verdict), more=col(Cupping.notes))
        .outerjoin(ActVoid, col(ActVoid.cupping_id) == col(Cupping.id))
        .where(col(Cupping.unit_id) == unit_id, col(ActVoid.entry_id).is_(None)),
        _fact("tasted", col(LotCupping.entry_id), grams=col(LotCupping.score_centi) * 10,
              words=col(LotCupping.form), more=col(LotCupping.notes))
        .outerjoin(GradingVoid, col(GradingVoid.lot_cupping_id) == col(LotCupping.id))
        .where(col(LotCupping.lot_id) == unit_id, col(GradingVoid.entry_id).is_(None)),
    ]  # fmt: skip


def _everything() -> CompoundSelect[Any]:
    this, unit_id = aliased(Unit), bindparam("unit_id", type_=BigInteger)
    source, target, came, went = aliased(Unit), aliased(Unit), aliased(Flow), aliased(Flow)
    origin, to = aliased(Location), aliased(Location)
    return union_all(
        _fact("born", col(this.born_entry_id), grams=col(this.made_g)).where(
            col(this.id) == unit_id
        ),
        _fact("made_of", col(target.born_entry_id), grams=col(came.grams), code=col(source.code),
              kind=col(source.kind))
        .join_from(came, source, col(source.id) == col(came.source_id))
        .join(target, col(target.id) == col(came.target_id))
        .where(col(came.target_id) == unit_id),
        _fact("went_into", col(target.born_entry_id), grams=col(went.grams), code=col(target.code),
              kind=col(target.kind))
        .join_from(went, target, col(target.id) == col(went.target_id))
        .where(col(went.source_id) == unit_id, col(target.voided_entry_id).is_(None)),
        _fact("moved", col(Move.entry_id), words=col(to.code), more=col(origin.code))
        .join_from(Move, to, col(to.id) == col(Move.to_id))
        .outerjoin(origin, col(origin.id) == col(Move.from_id))
        .where(col(Move.unit_id) == unit_id),
        _fact("adjusted", col(Adjustment.entry_id), grams=col(Adjustment.grams),
              words=col(Adjustment.reason), more=col(Adjustment.note))
        .where(col(Adjustment.unit_id) == unit_id),
        *_said_of(unit_id),
        _fact("replaced", col(Correction.entry_id), code=col(target.code), kind=col(target.kind),
              words=col(Correction.reason))
        .join_from(Correction, target, col(target.id) == col(Correction.new_unit_id))
        .where(col(Correction.old_unit_id) == unit_id),
        _fact("voided", col(this.voided_entry_id)).where(
            col(this.id) == unit_id, col(this.voided_entry_id).is_not(None)
        ),
    )  # fmt: skip


def _facts() -> AnySelect:
    facts = _everything().subquery()
    return (
        select(facts, col(Entry.happened_at), col(Entry.who))
        .join(Entry, col(Entry.id) == facts.c.entry_id)
        .order_by(col(Entry.happened_at), col(Entry.id), facts.c.what, facts.c.code)
    )


_UNIT: Final = _unit()
_FACTS: Final = _facts()


def entries_of(unit_id: int) -> AnySelect:
    """Name every entry that says something of a unit, in a statement."""
    facts = _everything().params(unit_id=unit_id).subquery()
    return select(facts.c.entry_id)


def life(session: Session, code: str) -> Life:
    """Read what a unit is and what happened to it: two statements, however much it was.

    Raises:
        Refused: `unknown-code` or `misread-code`.
    """
    row = session.execute(_UNIT, {"code": code}).first()
    if row is None:
        raise unknown(code)
    facts = session.execute(_FACTS, {"unit_id": row.id})
    return Life(
        id=row.id,
        code=row.code,
        kind=UnitKind(row.kind),
        name=row.name,
        lot=row.lot,
        made_g=row.made_g,
        left_g=int(row.left_g),
        place=row.place,
        held=row.held,
        voided=row.voided_entry_id is not None,
        events=[*_events(facts)],
    )


def _events(facts: Any) -> Iterator[Event]:  # noqa: ANN401 - rows of `_FACTS`
    for (what, entry, words, more), same in groupby(
        facts, key=lambda row: (row.what, row.entry_id, row.words, row.more)
    ):
        rows = list(same)
        yield Event(
            what=what,
            at=rows[0].happened_at,
            who=rows[0].who,
            entry=entry,
            grams=sum(row.grams or 0 for row in rows),
            links=[Link(row.code, row.kind, row.grams) for row in rows if row.code],
            words=words,
            more=more,
        )
