"""The journal: who did what and when, each entry with the proof that nobody changed it."""

import json
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Path, Response
from pydantic import Field
from sqlalchemy import Row, select
from sqlmodel import Session, col

from app.ledger.journal.proving import proof
from app.ledger.journal.routes import check_book, export_journal
from app.ledger.journal.schemas import ProofOut
from app.ledger.queries import unit_by_code
from app.ledger.schemas import Asked
from app.ledger.tables import Entry, Unit
from app.recall.entries import OfCase, cases_of
from app.shared.answers import read_json
from app.shared.codes import Code
from app.shared.days import begin_of, end_of
from app.shared.problems import Refused
from app.shared.staff import Permission
from app.shared.times import Day
from app.web.acts import act
from app.web.desk import Desk, Visiting, may
from app.web.life import entries_of
from app.web.offers import Offer
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_

router = page_router()

TASKS = (Task("/journal", N_("Journal"), Room.OFFICE, Permission.READ),)
OFFERS = (Offer("/journal?code={code}", N_("Its entries"), Permission.READ, fits=lambda _: True),)

Exporter = Annotated[Desk, may(Permission.JOURNAL)]
EntryNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]

AT_ONCE: Final = 50
_UNITS: Final = 50
KINDS: Final = (
    "delivery", "move", "reading", "adjustment", "roast", "colour", "cupping", "blend", "pack",
    "check weighing", "dispatch", "return", "sale", "hold", "release", "void", "sample", "grading",
    "count approved", "labels printed", "recall opened", "recall stopped", "recall closed",
)  # fmt: skip
"""Actions that are asked for; the journal has others too."""


class JournalAsked(Asked):
    """Which entries; the newest first."""

    who: Annotated[str, Field(max_length=100)] | None = None
    kind: Annotated[str, Field(max_length=40)] | None = None
    code: Code | None = None
    on: Day | None = None
    before: Annotated[int, Field(ge=1, le=2**31 - 1)] | None = None


@router.get("/journal")
def show_journal(desk: Visiting) -> Response:
    """List entries, the newest first."""
    form = desk.blank(JournalAsked).read()
    found = _Found([], {})
    if form.asked is not None:
        try:
            found = desk.read(_found, form.asked)
        except Refused as refused:
            form.refuse(refused)
    lines = found.lines
    more = lines[AT_ONCE - 1].id if len(lines) > AT_ONCE else None
    return desk.show(
        "journal.html", form, lines=lines[:AT_ONCE], cases=found.cases, more=more,
        further=_further(form),
        act=act, kinds=[(kind, act(kind)) for kind in KINDS],
    )  # fmt: skip


class _Found(NamedTuple):
    """Entries, and the cases that some of them are about."""

    lines: Sequence[Row[Any]]
    cases: Mapping[int, OfCase]


def _found(session: Session, asked: JournalAsked) -> _Found:
    lines = _lines(session, asked)
    return _Found(lines, cases_of(session, [each.id for each in lines]))


def _further(form: Any) -> dict[str, str]:  # noqa: ANN401 - a form
    names = ("who", "kind", "code", "on")
    return {name: form.value(name) for name in names if form.value(name)}


def _lines(session: Session, asked: JournalAsked) -> Sequence[Row[Any]]:
    statement = select(
        col(Entry.id), col(Entry.kind), col(Entry.happened_at), col(Entry.recorded_at),
        col(Entry.who), col(Entry.reverses_id),
    )  # fmt: skip
    if asked.who is not None:
        statement = statement.where(col(Entry.who) == asked.who)
    if asked.kind is not None:
        statement = statement.where(col(Entry.kind) == asked.kind)
    if asked.on is not None:
        first, over = begin_of(asked.on), end_of(asked.on)
        statement = statement.where(col(Entry.recorded_at) >= first, col(Entry.recorded_at) < over)
    if asked.code is not None:
        unit = unit_by_code(session, asked.code)
        statement = statement.where(col(Entry.id).in_(entries_of(unit.id)))
    if asked.before is not None:
        statement = statement.where(col(Entry.id) < asked.before)
    return session.execute(statement.order_by(col(Entry.id).desc()).limit(AT_ONCE + 1)).all()


@router.get("/journal/check")
def show_check(desk: Visiting) -> Response:
    """Verify the chain and recompute every balance; one at a time."""
    return desk.show("journal_check.html", check=read_json(bytes(check_book(desk).body)))


@router.get("/journal/export")
def fetch_journal(desk: Exporter) -> Response:
    """Take the whole journal out."""
    return export_journal(desk)


class Line(NamedTuple):
    """An entry with its proof, and units it bore or the case it is about."""

    entry: Entry
    proof: ProofOut
    units: Sequence[Row[Any]]
    case: OfCase | None
    reversed_by: int | None


@router.get("/journal/{number}")
def show_entry(desk: Visiting, number: EntryNumber) -> Response:
    """Show an entry and verify its hash; what was said is for those who may take it out."""
    line = desk.read(_line, number)
    spoken = None
    if desk.staff.may(Permission.JOURNAL):
        spoken = json.dumps(json.loads(line.entry.facts)["said"], indent=2, ensure_ascii=False)
    return desk.show("journal_entry.html", line=line, spoken=spoken, most=_UNITS, act=act)


def _line(session: Session, number: int) -> Line:
    entry = session.get(Entry, number)
    if entry is None:
        raise Refused("not-found", f"There is no entry {number}.")
    units = session.execute(
        select(col(Unit.code), col(Unit.kind), col(Unit.made_g))
        .where(col(Unit.born_entry_id) == number)
        .order_by(col(Unit.id))
        .limit(_UNITS + 1)
    ).all()
    by = session.scalar(select(col(Entry.id)).where(col(Entry.reverses_id) == number).limit(1))
    case = cases_of(session, [number]).get(number)
    return Line(entry, proof(session, number, 1), units, case, by)
