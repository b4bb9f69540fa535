"""Undoing units: what goes together, what was made from it, and what is given back."""

from collections import Counter
from collections.abc import Collection, Sequence

from sqlalchemy import CTE, Select, select, true, union_all
from sqlmodel import Session, col

from app.ledger.posting import Posting
from app.ledger.queries import made_of
from app.ledger.tables import Adjustment, Flow, Reason, Unit, UnitKind
from app.ledger.walk import read_whole
from app.shared.db import AnySelect, among
from app.shared.problems import Refused

_SHOWN = 20
_ARRIVED = (UnitKind.LOT, UnitKind.SACK)


def goes_with(session: Session, unit: Unit) -> list[Unit]:
    """Name what is voided together: a lot takes its sacks, a return all that came with it.

    Raises:
        Refused: `not-voidable` for a single sack and what was voided before.
    """
    if unit.voided_entry_id is not None:
        raise Refused("not-voidable", f"{unit.kind} {unit.code} was voided before.", unit=unit.code)
    if unit.kind == UnitKind.SACK:
        raise Refused(
            "not-voidable",
            f"{unit.code} is one sack of a lot: adjust its mass, or void the whole lot.",
            unit=unit.code,
        )
    if unit.kind == UnitKind.LOT:
        sacks = session.scalars(
            select(Unit).join(Flow, col(Flow.target_id) == col(Unit.id))
            .where(col(Flow.source_id) == unit.id).order_by(col(Unit.id))
        ).all()  # fmt: skip
        return [unit, *sacks]
    if unit.kind == UnitKind.RETURN:
        return list(session.scalars(
            select(Unit).where(col(Unit.born_entry_id) == unit.born_entry_id).order_by(col(Unit.id))
        ))  # fmt: skip
    return [unit]


def refuse_dependants(session: Session, doomed: Sequence[Unit]) -> None:
    """Refuse to void what something was made from."""
    ids = {unit.id for unit in doomed}
    made = sorted({*made_of(session, ids), *_came_back(session, ids)})
    if made:
        raise Refused(
            "has-dependants",
            f"{doomed[0].code} cannot be voided: {', '.join(made[:_SHOWN])} came from it. "
            "Void those first.",
            dependants=made,
        )


def named_dependants(
    session: Session, doomed: Sequence[Unit], named: Collection[str]
) -> list[Unit]:
    """Find all that was made from units, if it is what somebody named: no more and no less.

    Raises:
        Refused: `has-dependants` with what is there now.
    """
    there = dependants(session, doomed)
    codes = [unit.code for unit in there]
    missing = [code for code in codes if code not in set(named)]
    surplus = sorted(set(named).difference(codes))
    if missing or surplus:
        said = [f"{', '.join(missing[:_SHOWN])} came from it and was not named"] if missing else []
        said += [f"{', '.join(surplus[:_SHOWN])} did not come from it"] if surplus else []
        raise Refused(
            "has-dependants",
            f"{doomed[0].code} was not voided: {'; '.join(said)}. Look again at what depends "
            "on it.",
            dependants=codes,
            missing=missing,
            surplus=surplus,
        )
    return there


def dependants(session: Session, doomed: Sequence[Unit]) -> list[Unit]:
    """Find every live unit that was made from these, at any remove, the youngest first.

    That is an order in which they could be voided one after another.

    Raises:
        Refused: `reaches-too-far` where they are more than one request may reach.
    """
    ids = [unit.id for unit in doomed]
    reached = _made_from(session, ids)
    found = read_whole(
        session,
        select(Unit)
        .join(reached, reached.c.id == col(Unit.id))
        .where(col(Unit.voided_entry_id).is_(None))
        .order_by(col(Unit.id).desc()),
    )
    among_themselves = set(ids)
    return [unit for unit in found if unit.id not in among_themselves]


def _made_from(session: Session, ids: Collection[int]) -> CTE:
    """Walk to what units went into, and from a dispatch to what came back of it as well.

    A return flows out of its pack, so a dispatch of two packs depends by it on the one as well as
    on the other.
    """
    start: AnySelect = select(col(Unit.id).label("id")).where(among(session, col(Unit.id), ids))
    reached = start.cte("reached", recursive=True)
    flowed = select(col(Flow.target_id)).where(col(Flow.source_id) == reached.c.id)
    came_back = _returned_to(reached)
    if session.get_bind().dialect.name == "postgresql":
        # The recursive name may stand in one arm alone.
        step = union_all(flowed.correlate(reached), came_back.correlate(reached)).lateral("step")
        return reached.union(select(step.c[0]).select_from(reached).join(step, true()))
    return reached.union(flowed, came_back)


def _returned_to(reached: CTE) -> Select[int]:
    return (
        select(col(Unit.id))
        .join(Adjustment, col(Adjustment.entry_id) == col(Unit.born_entry_id))
        .where(col(Adjustment.unit_id) == reached.c.id)
        .where(col(Adjustment.reason) == Reason.RETURNED, col(Adjustment.grams) < 0)
        .where(col(Adjustment.reverses_id).is_(None))
    )


def _came_back(session: Session, doomed_ids: Collection[int]) -> list[str]:
    """Name live returns of a dispatch: they lightened it without flowing out of it."""
    rows = session.execute(
        select(col(Unit.id), col(Unit.code))
        .join(Adjustment, col(Adjustment.entry_id) == col(Unit.born_entry_id))
        .where(col(Adjustment.reason) == Reason.RETURNED, col(Adjustment.reverses_id).is_(None))
        .where(among(session, col(Adjustment.unit_id), doomed_ids))
        .where(col(Unit.voided_entry_id).is_(None))
    )
    return [code for unit_id, code in rows if unit_id not in doomed_ids]


def undo(session: Session, posting: Posting, doomed: Sequence[Unit], reason: str) -> dict[str, int]:
    """Void units in a posting, and give back what they took; code to grams given back.

    Raises:
        Refused: `has-dependants` naming a sack whose mass was changed by itself.
    """
    posting.voided = [unit.id for unit in doomed]
    back = _flowed_in(session, posting)
    taken_back: Counter[int] = Counter()
    entries = {unit.born_entry_id for unit in doomed if unit.kind not in _ARRIVED}
    for line in session.scalars(
        select(Adjustment)
        .where(among(session, col(Adjustment.entry_id), entries))
        .where(col(Adjustment.reverses_id).is_(None))
        .order_by(col(Adjustment.id))
    ):
        posting.adjust(line.unit_id, -line.grams, line.reason, reason, reverses=line.id)
        back[line.unit_id] -= line.grams
        taken_back[line.unit_id] -= line.grams
    for unit in doomed:
        if unit.kind == UnitKind.SACK and unit.left_g + back[unit.id] != unit.made_g:
            raise Refused(
                "has-dependants",
                f"{doomed[0].code} cannot be voided: sack {unit.code} has been adjusted.",
                dependants=[unit.code],
            )
    return _given(session, posting, taken_back)


def _given(session: Session, posting: Posting, taken_back: Counter[int]) -> dict[str, int]:
    """Name what units that stay get back: what flowed out of them, with what was adjusted by it."""
    given = {unit: grams + taken_back[unit] for unit, grams in posting.given_back.items()}
    rows = session.execute(
        select(col(Unit.id), col(Unit.code))
        .where(among(session, col(Unit.id), given))
        .order_by(col(Unit.id))
    )
    return {code: given[unit_id] for unit_id, code in rows if given[unit_id]}


def _flowed_in(session: Session, posting: Posting) -> Counter[int]:
    """Add up what flowed into the voided units, and give it back to those that stay."""
    back: Counter[int] = Counter()
    voided = set(posting.voided)
    flows = session.execute(
        select(col(Flow.source_id), col(Flow.grams))
        .where(among(session, col(Flow.target_id), posting.voided))
        .order_by(col(Flow.source_id))
    )
    for source_id, grams in flows:
        back[source_id] += grams
        if source_id not in voided:
            posting.given_back[source_id] += grams
    return back
