"""Reading roasts and their disposition."""

import json
from collections.abc import Collection

from sqlalchemy import ColumnElement, bindparam, case, exists, select
from sqlmodel import Session, col

from app.ledger.cards import card_at
from app.ledger.queries import on_hold, parts_of, unit_by_code
from app.ledger.tables import Entry, Unit, UnitKind
from app.quality.tables import Cupping, Verdict
from app.roasting.batches.queries import batch_of_roast
from app.roasting.machines import MACHINES
from app.roasting.rules import loss_pct
from app.roasting.schemas import CheckOut, Disposition, Draw, RoastOut
from app.roasting.tables import CleanDown, Machine, MachineRun, Roast
from app.shared.db import AnySelect, batched
from app.shared.mass import kg_from_grams
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import Refused
from app.shared.times import text


def _tasted(verdict: Verdict) -> ColumnElement[bool]:
    return exists(
        select(col(Cupping.id))
        .where(col(Cupping.unit_id) == col(Roast.unit_id), col(Cupping.verdict) == verdict)
        .correlate(Roast)
    )


DISPOSITION = case(
    (_tasted(Verdict.REJECT), "rejected"),
    (_tasted(Verdict.RELEASE), "released"),
    (col(Roast.passed), "passed"),
    else_="set_aside",
).label("disposition")
"""What a roast may be used for: a rejection is for good, a release lifts a missed check."""


_UNRELEASED = (
    select(col(Unit.code), DISPOSITION)
    .join(Roast, col(Roast.unit_id) == col(Unit.id))
    .where(col(Unit.id).in_(bindparam("ids", expanding=True)))
    .where(DISPOSITION.in_(["set_aside", "rejected"]))
)


def refuse_unreleased(session: Session, unit_ids: Collection[int]) -> None:
    """Refuse roasts that missed a check and were not released, and rejected ones."""
    for some in batched(sorted(unit_ids), 500):
        rows = session.execute(_UNRELEASED, {"ids": some}).all()
        if rows:
            named = ", ".join(f"{code} ({state.replace('_', ' ')})" for code, state in rows)
            raise Refused(
                "not-released", f"Not released: {named}.", units=[code for code, _ in rows]
            )


def clean_down_page(session: Session, page: Page, code: str) -> PageOf:
    """Read when a machine was cleaned."""
    machine = card_at(session, MACHINES, code)
    statement = (
        select(col(CleanDown.id), col(CleanDown.cleaned_at), col(CleanDown.note), col(Entry.who))
        .join(Entry, col(Entry.id) == col(CleanDown.entry_id))
        .where(col(CleanDown.machine_id) == machine.id)
    )
    rows, following = turn_page(session, statement, col(CleanDown.id), page)
    return [
        {
            "machine": machine.code, "cleaned_at": text(row.cleaned_at), "note": row.note,
            "cleaned_by": row.who,
        }
        for row in rows
    ], following  # fmt: skip


def _roasts() -> AnySelect:
    return (
        select(
            col(Unit.id),
            col(Unit.code),
            col(Machine.code).label("machine"),
            col(Roast.style),
            col(Entry.happened_at),
            col(Roast.charge_g),
            col(Unit.made_g),
            col(Unit.left_g),
            DISPOSITION,
            col(Roast.checks),
            col(Roast.style_version),
            col(Roast.warnings),
            on_hold(col(Unit.id)).label("held"),
            col(Unit.voided_entry_id),
        )
        .join(Roast, col(Roast.unit_id) == col(Unit.id))
        .join(MachineRun, col(MachineRun.unit_id) == col(Unit.id))
        .join(Machine, col(Machine.id) == col(MachineRun.machine_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
    )


def roast(session: Session, code: str) -> RoastOut:
    """Read one roast with its checks and draws."""
    unit = unit_by_code(session, code, UnitKind.ROAST)
    row = session.execute(_roasts().where(col(Unit.id) == unit.id)).one()
    return RoastOut(
        code=row.code,
        machine=row.machine,
        style=row.style,
        style_version=row.style_version,
        batch=batch_of_roast(session, unit.id),
        warnings=json.loads(row.warnings or "[]"),
        roasted_at=row.happened_at,
        charge_g=row.charge_g,
        end_g=row.made_g,
        loss_pct=loss_pct(row.charge_g, row.made_g),
        disposition=row.disposition,
        left_g=row.left_g,
        held=row.held,
        voided=row.voided_entry_id is not None,
        checks=[CheckOut(**check) for check in json.loads(row.checks)],
        draws=[Draw(sack=sack, grams=grams) for sack, _, grams in parts_of(session, unit.id)],
    )


def roast_page(session: Session, page: Page, disposition: Disposition | None) -> PageOf:
    """Read roasts in the order they were booked."""
    statement = _roasts()
    if disposition is not None:
        statement = statement.where(DISPOSITION.in_([disposition]))
    rows, following = turn_page(session, statement, col(Unit.id), page)
    return [
        {
            "code": row.code, "machine": row.machine, "style": row.style,
            "roasted_at": text(row.happened_at), "charge_kg": kg_from_grams(row.charge_g),
            "end_kg": kg_from_grams(row.made_g), "loss_pct": loss_pct(row.charge_g, row.made_g),
            "disposition": row.disposition, "left_kg": kg_from_grams(row.left_g),
            "held": bool(row.held), "voided": row.voided_entry_id is not None,
        }
        for row in rows
    ], following  # fmt: skip
