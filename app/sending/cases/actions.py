"""Building cases and pallets and taking them apart."""

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.posting import Pen
from app.ledger.queries import on_hold, units_by_code
from app.ledger.tables import Entry, Unit
from app.sending.cases.contents import case_by_code, cased_bags, cases_by_code
from app.sending.cases.naming import CaseNamed
from app.sending.cases.queries import case_out
from app.sending.cases.rules import Contents
from app.sending.cases.schemas import CaseAddition, CaseIn, CaseOut, TakenOut
from app.sending.cases.standing import refuse_earlier, refuse_elsewhere
from app.sending.cases.tables import Case, CaseChange, CaseKind, CaseLine
from app.sending.loading import filled_bags
from app.sending.schemas import BagsIn
from app.settings import Settings
from app.shared.codes import issue
from app.shared.db import among, next_number
from app.shared.problems import FieldRefused, Refused
from app.shared.times import text
from app.standards.sscc import make_sscc

Lines = Sequence[BagsIn | CaseNamed]


class _Load(NamedTuple):
    """What goes in or out: bags by pack, and cases."""

    bags: dict[int, int]
    cases: list[Case]


def build(pen: Pen, asked: CaseIn) -> CaseOut:
    """Put bags into a case, or cases and bags onto a pallet.

    Raises:
        Refused: `code-taken`, `not-free`, `insufficient-stock`, `on-hold`, `voided`, `case-state`.
    """
    at = pen.moment(asked.packed_at, "#/packed_at")
    number = next_number(pen.session, col(Case.id))
    code = _code(pen.session, pen.settings, asked.code, number)
    load = _load(pen, asked.contents, asked.kind, at)
    entry_id = pen.note("case packed", {**asked.model_dump(mode="json"), "case": code}, at)
    pen.write(Case, [
        {"id": number, "code": code, "kind": asked.kind, "note": asked.note, "entry_id": entry_id},
    ])  # fmt: skip
    _write(pen, number, entry_id, load, 1)
    return case_out(pen.session, code, pen.settings)


def add(pen: Pen, code: str, asked: CaseAddition) -> CaseOut:
    """Put more into a case that stands here."""
    case = case_by_code(pen.session, code)
    at = pen.moment(asked.packed_at, "#/packed_at")
    refuse_elsewhere(pen.session, [case])
    refuse_earlier(pen.session, [case], at, "#/packed_at")
    load = _load(pen, asked.contents, case.kind, at)
    said = {**asked.model_dump(mode="json"), "case": case.code}
    _write(pen, case.id, pen.note("case packed", said, at), load, 1)
    return case_out(pen.session, case.code, pen.settings)


def take_apart(pen: Pen, code: str, asked: TakenOut) -> CaseOut:
    """Take something out of a case, or all of it.

    Raises:
        Refused: `case-state`; `insufficient-stock` for more than is in it.
    """
    case = case_by_code(pen.session, code)
    at = pen.moment(asked.taken_out_at, "#/taken_out_at")
    [there] = refuse_elsewhere(pen.session, [case])
    refuse_earlier(pen.session, [case], at, "#/taken_out_at")
    load = _out(pen.session, case, there, asked.contents)
    said = {**asked.model_dump(mode="json"), "case": case.code}
    entry_id = pen.note("case taken apart", said, at)
    _write(pen, case.id, entry_id, load, -1, asked.reason)
    return case_out(pen.session, case.code, pen.settings)


def _code(session: Session, settings: Settings, given: str | None, number: int) -> str:
    """Take the code that was given, or issue the next one that nobody took."""
    if given is not None:
        taken = session.scalar(select(col(Case.id)).where(col(Case.code) == given))
        if taken is not None or session.scalar(select(col(Unit.id)).where(col(Unit.code) == given)):
            raise Refused("code-taken", f"Already in the book: {given}.", codes=[given])
        return given
    while True:
        code = _issued(settings, number)
        if session.scalar(select(col(Case.id)).where(col(Case.code) == code)) is None:
            return code
        number += 1


def _issued(settings: Settings, number: int) -> str:
    if settings.gs1_company_prefix is None:
        return issue("C", number)
    try:
        return make_sscc(settings.gs1_company_prefix, number)
    except ValueError as why:
        raise FieldRefused("#/code", f"{why}: give the case a code") from why


def _load(pen: Pen, lines: Lines, kind: CaseKind, at: datetime) -> _Load:
    """Find what is to go in, free to go in: bags in no case, cases that stand here alone."""
    packs = [line for line in lines if isinstance(line, BagsIn)]
    codes = [line.case for line in lines if isinstance(line, CaseNamed)]
    inner = list(cases_by_code(pen.session, codes).values()) if codes else []
    if inner and kind != CaseKind.PALLET:
        raise FieldRefused("#/contents", f"a {kind} holds bags; only a pallet holds cases")
    on_top = [case.code for case in inner if case.kind == CaseKind.PALLET]
    if on_top:
        raise FieldRefused("#/contents", f"a pallet stands on no pallet: {', '.join(on_top)}")
    refuse_elsewhere(pen.session, inner)
    refuse_earlier(pen.session, inner, at, "#/packed_at")
    return _Load(_free_bags(pen.session, packs, at), inner)


def _free_bags(session: Session, lines: Sequence[BagsIn], at: datetime) -> dict[int, int]:
    """Check that so many bags of each pack were there, and stand in no case yet."""
    bags = filled_bags(session, [line.pack for line in lines])
    ids = {bags[line.pack].unit.id: line for line in lines}
    held = session.scalars(
        select(col(Unit.code)).where(among(session, col(Unit.id), list(ids)), on_hold(col(Unit.id)))
    ).all()
    if held:
        raise Refused("on-hold", f"On hold: {', '.join(sorted(held))}.", units=sorted(held))
    _refuse_unborn(session, ids, at)
    cased = cased_bags(session, ids)
    for unit_id, line in ids.items():
        left = bags[line.pack].unit.left_g // bags[line.pack].nominal_g
        free = max(left - cased[unit_id], 0)
        if line.bags > free:
            raise Refused(
                "not-free",
                f"{line.pack} has {left} bags left, {cased[unit_id]} of them in cases; "
                f"{line.bags} more do not go into one.",
                unit=line.pack,
                asked_bags=line.bags,
                left_bags=left,
                free_bags=free,
            )
    return {unit_id: line.bags for unit_id, line in ids.items()}


def _refuse_unborn(session: Session, unit_ids: Collection[int], at: datetime) -> None:
    """Refuse bags that were packed, or came back, later than they would be in a case."""
    later = session.execute(
        select(col(Unit.code), col(Entry.happened_at))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(among(session, col(Unit.id), unit_ids), col(Entry.happened_at) > at)
        .order_by(col(Unit.id))
    ).first()
    if later is not None:
        raise FieldRefused(
            "#/packed_at", f"{later.code} was there no earlier than {text(later.happened_at)}"
        )


def _out(session: Session, case: Case, there: Contents, lines: Lines | None) -> _Load:
    """Find what is to be taken out: what is named of it, or all that is there."""
    if lines is None:
        inner = session.scalars(select(Case).where(among(session, col(Case.id), there.inner)))
        return _Load(dict(there.bags), list(inner))
    packs = [line for line in lines if isinstance(line, BagsIn)]
    codes = [line.case for line in lines if isinstance(line, CaseNamed)]
    cases = list(cases_by_code(session, codes).values()) if codes else []
    for each in cases:
        if each.id not in there.inner:
            raise Refused(
                "wrong-kind", f"{case.code} has no case {each.code} on it.", case=each.code
            )
    # Voided packs are found too: what is in a case can always be taken out.
    units = units_by_code(session, [line.pack for line in packs])
    for line in packs:
        inside = there.bags[units[line.pack].id]
        if line.bags > inside:
            raise Refused(
                "insufficient-stock",
                f"{case.code} has {inside} bags of {line.pack} in it; {line.bags} were asked.",
                unit=line.pack,
                asked_bags=line.bags,
                left_bags=inside,
            )
    return _Load({units[line.pack].id: line.bags for line in packs}, cases)


def _write(  # noqa: PLR0917 - one change's members
    pen: Pen, case_id: int, entry_id: int, load: _Load, sign: int, reason: str | None = None
) -> None:
    number = next_number(pen.session, col(CaseChange.id))
    pen.write(CaseChange, [
        {"id": number, "case_id": case_id, "reason": reason, "entry_id": entry_id},
    ])  # fmt: skip
    lines: list[dict[str, int | None]] = [
        {"pack_id": pack, "inner_id": None, "count": sign * bags}
        for pack, bags in load.bags.items()
    ]
    lines += [{"pack_id": None, "inner_id": case.id, "count": sign} for case in load.cases]
    pen.write(CaseLine, [
        {"change_id": number, "number": place, **line} for place, line in enumerate(lines, 1)
    ])  # fmt: skip
