"""Showing cases and pallets with what is in them."""

from collections import Counter
from collections.abc import Collection, Mapping
from datetime import datetime
from functools import cache
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.queries import unit_by_code
from app.ledger.tables import Entry
from app.places.cautions import heavy_over_g
from app.sending.bags import BagFacts, facts_of
from app.sending.cases.contents import (
    Left,
    case_by_code,
    contents_of,
    departures,
    pallets_of,
)
from app.sending.cases.rules import CaseState, Contents, state_of
from app.sending.cases.schemas import CaseBrief, CasedBags, CaseOut, InnerCase
from app.sending.cases.tables import Case, CaseChange, CaseKind, CaseLine
from app.settings import Settings
from app.shared.db import AnySelect, among
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import Refused
from app.shared.times import text
from app.standards.handling import case_caution


class Seen(NamedTuple):
    """Cases with all that is in them, at one time."""

    own: Mapping[int, Contents]
    """What is in each itself, the cases on asked pallets among them."""
    facts: Mapping[int, BagFacts]
    sent: Mapping[int, Left]
    on: Mapping[int, str]

    def whole(self, case_id: int) -> Counter[int]:
        """Count the bags by pack, with those in the cases on a pallet."""
        contents = self.own.get(case_id, Contents())
        bags = Counter(contents.bags)
        for inner in contents.inner:
            bags.update(self.own.get(inner, Contents()).bags)
        return bags

    def grams(self, case_id: int) -> int:
        """Weigh the coffee in a case."""
        return sum(bags * self.facts[pack].nominal_g for pack, bags in self.whole(case_id).items())


def look_at(session: Session, case_ids: Collection[int], at: datetime | None = None) -> Seen:
    """Read what is in cases and on pallets, now or at a time."""
    own = contents_of(session, case_ids, at)
    inner = {each for contents in own.values() for each in contents.inner}
    own |= contents_of(session, inner - own.keys(), at)
    packs = {pack for contents in own.values() for pack in contents.bags}
    return Seen(
        own,
        facts_of(session, packs),
        departures(session, case_ids, at),
        pallets_of(session, case_ids, at),
    )


@cache
def _cases() -> AnySelect:
    return select(
        col(Case.id),
        col(Case.code),
        col(Case.kind),
        col(Case.note),
        col(Entry.happened_at),
        col(Entry.who),
    ).join(Entry, col(Entry.id) == col(Case.entry_id))


def _brief(row: Any, seen: Seen) -> dict[str, Any]:  # noqa: ANN401 - a row of `_cases`
    sent = seen.sent.get(row.id)
    return {
        "code": row.code, "kind": row.kind,
        "state": state_of(seen.own.get(row.id, Contents()), sent=sent is not None),
        "bags": sum(seen.whole(row.id).values()), "grams": seen.grams(row.id),
        "pallet": seen.on.get(row.id), "dispatch": sent.dispatch if sent else None,
        "packed_at": row.happened_at, "packed_by": row.who,
    }  # fmt: skip


def case_out(
    session: Session, code: str, settings: Settings, at: datetime | None = None
) -> CaseOut:
    """Read one case with what is in it, or was at a time."""
    case = case_by_code(session, code)
    row = session.execute(_cases().where(col(Case.id) == case.id)).one()
    if at is not None and at < row.happened_at:
        raise Refused(
            "not-found", f"{case.kind} {case.code} was packed later, at {text(row.happened_at)}."
        )
    seen = look_at(session, [case.id], at)
    contents = seen.own.get(case.id, Contents())
    brief = _brief(row, seen)
    heavy = case_caution(
        brief["grams"], heavy_over_g(settings), pallet=case.kind == CaseKind.PALLET
    )
    return CaseOut(
        **brief,
        at=at,
        contents=[_bags(seen.facts[pack], bags) for pack, bags in sorted(contents.bags.items())],
        cases=_inner(session, contents, seen),
        note=row.note,
        caution=heavy if brief["state"] is CaseState.HERE else None,
    )


def _bags(facts: BagFacts, bags: int) -> CasedBags:
    return CasedBags(
        pack=facts.code,
        product=facts.sku,
        lot_mark=facts.lot_mark,
        best_before=facts.best_before,
        bags=bags,
        grams=bags * facts.nominal_g,
    )


def _inner(session: Session, contents: Contents, seen: Seen) -> list[InnerCase]:
    if not contents.inner:
        return []
    cases = session.scalars(
        select(Case).where(among(session, col(Case.id), contents.inner)).order_by(col(Case.id))
    )
    return [
        InnerCase(
            code=case.code,
            kind=case.kind,
            bags=sum(seen.whole(case.id).values()),
            grams=seen.grams(case.id),
        )
        for case in cases
    ]


def case_page(session: Session, page: Page, pack: str | None) -> PageOf:
    """Read cases in the order they were built, all of them or those that held bags of a pack."""
    statement = _cases()
    if pack is not None:
        unit = unit_by_code(session, pack)
        holding = (
            select(col(CaseChange.case_id))
            .join(CaseLine, col(CaseLine.change_id) == col(CaseChange.id))
            .where(col(CaseLine.pack_id) == unit.id)
        )
        statement = statement.where(col(Case.id).in_(holding))
    rows, following = turn_page(session, statement, col(Case.id), page)
    seen = look_at(session, [row.id for row in rows])
    return [CaseBrief(**_brief(row, seen)).model_dump(by_alias=True) for row in rows], following
