"""Scopes as they are answered."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from app.ledger.tables import UnitKind
from app.recall.frozen import Frozen
from app.recall.schemas import (
    Consignee,
    ContactUnit,
    KindTotal,
    ScopeBrief,
    ScopedUnit,
    ScopeOut,
    SentDispatch,
)
from app.recall.scope import CONTACT, START, ScopeLine, ScopeUnit
from app.tracing.queries import CAUTION


def brief(frozen: Frozen) -> ScopeBrief:
    """Add a scope up."""
    scope = frozen.scope
    reached = [unit for unit in scope.units if unit.place != CONTACT]
    sent = [line for line in scope.lines if line.place != CONTACT]
    return ScopeBrief(
        number=frozen.number,
        direction=scope.direction,
        at_entry=frozen.at_entry,
        frozen_at=frozen.frozen_at,
        frozen_by=frozen.frozen_by,
        units=len(reached),
        possible_contact=len(scope.units) - len(reached),
        kinds=list(_totals(reached)),
        customers=len({line.customer_id for line in sent}),
        sent_bags=sum(line.bags for line in sent),
        sent_g=sum(line.grams for line in sent),
    )


def _totals(units: Iterable[ScopeUnit]) -> Iterable[KindTotal]:
    by_kind: dict[str, list[ScopeUnit]] = defaultdict(list)
    for unit in units:
        by_kind[unit.kind].append(unit)
    for kind in UnitKind:
        some = by_kind.get(kind, [])
        bagged = [unit for unit in some if unit.bags is not None]
        if some:
            yield KindTotal(
                kind=kind,
                units=len(some),
                made_g=sum(unit.made_g for unit in some),
                left_g=sum(unit.left_g for unit in some),
                suspect_g=sum(unit.suspect_g or 0 for unit in some),
                bags=sum(unit.bags or 0 for unit in bagged) if bagged else None,
                bags_left=sum(unit.bags_left or 0 for unit in bagged) if bagged else None,
            )


def whole(frozen: Frozen) -> ScopeOut:
    """Show all that a scope holds."""
    scope = frozen.scope
    return ScopeOut(
        **dict(brief(frozen)),
        starts=[start.as_kept() for start in scope.starts],
        units_listed=[scoped(unit) for unit in scope.units if unit.place != CONTACT],
        contact_listed=[
            ContactUnit(
                **dict(scoped(unit)),
                machine=_word(unit.contact, "machine"),
                place=_word(unit.contact, "place"),
                after=_word(unit.contact, "after"),
            )
            for unit in scope.units
            if unit.place == CONTACT
        ],
        consignees=consignees(scope.lines),
        balance=dict(scope.balance),
        caution=CAUTION,
    )


def _word(beside: Mapping[str, object] | None, name: str) -> str | None:
    word = (beside or {}).get(name)
    return None if word is None else str(word)


def scoped(unit: ScopeUnit) -> ScopedUnit:
    """Show one unit."""
    return ScopedUnit(
        code=unit.code,
        kind=UnitKind(unit.kind),
        start=unit.place == START,
        made_g=unit.made_g,
        left_g=unit.left_g,
        suspect_g=unit.suspect_g,
        bags=unit.bags,
        bags_left=unit.bags_left,
    )


def by_customer(lines: Iterable[ScopeLine]) -> Mapping[int, Sequence[ScopeLine]]:
    """Gather lines by who they were sent to."""
    found: dict[int, list[ScopeLine]] = defaultdict(list)
    for line in lines:
        found[line.customer_id].append(line)
    return found


def consignees(lines: Iterable[ScopeLine]) -> list[Consignee]:
    """Show who was sent bags, those of possible contact alone after the others."""
    listed = [_consignee(some) for some in by_customer(lines).values()]
    return sorted(listed, key=lambda each: (each.possible_contact, each.customer.casefold()))


def _consignee(lines: Sequence[ScopeLine]) -> Consignee:
    """Add up what one was sent: where anything was reached, that alone counts."""
    reached = [line for line in lines if line.place != CONTACT]
    counted = reached or lines
    return Consignee(
        customer=lines[0].customer,
        contact=lines[0].contact,
        possible_contact=not reached,
        dispatches=_dispatches(counted),
        bags=sum(line.bags for line in counted),
        grams=sum(line.grams for line in counted),
        suspect_g=sum(line.suspect_g or 0 for line in reached) if reached else None,
        returned_bags=sum(line.returned_bags for line in counted),
    )


def _dispatches(lines: Iterable[ScopeLine]) -> list[SentDispatch]:
    found: dict[str, list[ScopeLine]] = defaultdict(list)
    for line in lines:
        found[line.dispatch].append(line)
    return [
        SentDispatch(
            code=code,
            dispatched_at=some[0].dispatched_at,
            bags=sum(line.bags for line in some),
            grams=sum(line.grams for line in some),
            returned_bags=sum(line.returned_bags for line in some),
        )
        for code, some in found.items()
    ]
