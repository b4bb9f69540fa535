"""Reading roasts and their disposition."""

import json
from collections.abc import Collection, Sequence
from functools import cache
from typing import Any, NamedTuple

from sqlalchemy import Row, bindparam, case, literal, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.ledger.cards import card_at
from app.ledger.corrections.tables import ActVoid
from app.ledger.queries import on_hold, parts_of, unit_by_code
from app.ledger.tables import Entry, Unit, UnitKind
from app.places.tables import Location
from app.quality.rules import LIMITED, UNUSABLE, Disposition
from app.quality.tables import DECIDES, Cupping, Verdict
from app.roasting.batches.queries import batch_of_roast
from app.roasting.colours.queries import colours_of
from app.roasting.machines import MACHINES
from app.roasting.organic import Charged, organic_of
from app.roasting.rules import loss_pct
from app.roasting.schemas import CheckOut, Draw, RoastOut
from app.roasting.tables import CleanDown, Machine, MachineRun, Roast
from app.settings import Settings
from app.shared.db import AnySelect, among, batched
from app.shared.mass import kg_from_grams
from app.shared.mass import kg_from_grams as from_milli
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import Refused
from app.shared.times import text

_latest = aliased(Cupping)
_VERDICT, _AT_MOST = (
    select(column)
    .outerjoin(ActVoid, col(ActVoid.cupping_id) == col(_latest.id))
    .where(col(_latest.unit_id) == col(Roast.unit_id), col(ActVoid.entry_id).is_(None))
    .order_by(col(_latest.id).desc())
    .limit(1)
    .correlate(Roast)
    .scalar_subquery()
    for column in (col(_latest.verdict), col(_latest.at_most_milli))
)
"""What the latest tasting decided that was not voided: it stands."""

DISPOSITION = case(
    {verdict: literal(DECIDES[verdict].value) for verdict in Verdict},
    value=_VERDICT,
    else_=case((col(Roast.passed), Disposition.PASSED.value), else_=Disposition.SET_ASIDE.value),
).label("disposition")
"""What a roast may be used for: by its latest tasting, else by what its gate found."""


SET_ASIDE = (
    select(
        col(Unit.id), col(Unit.code), col(Unit.left_g), col(Roast.style), col(Roast.checks),
        col(Entry.happened_at),
    )
    .join(Roast, col(Roast.unit_id) == col(Unit.id))
    .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
    .where(col(Unit.left_g) > 0, col(Unit.voided_entry_id).is_(None))
    .where(DISPOSITION.in_([Disposition.SET_ASIDE]))
)  # fmt: skip
"""Roasts of which something is left and that wait for a taste."""


def set_aside(session: Session, most: int) -> Sequence[Row[Any]]:
    """Read the oldest of them."""
    return session.execute(SET_ASIDE.order_by(col(Unit.id)).limit(most)).all()


class Limited(NamedTuple):
    """A roast that a tasting lets into blends alone."""

    code: str
    disposition: Disposition
    at_most_milli: int | None
    """How much of a blend it may be; None where that is not limited."""


_NOT_FREE = (
    select(col(Unit.code), DISPOSITION, _AT_MOST.label("at_most_milli"))
    .join(Roast, col(Roast.unit_id) == col(Unit.id))
    .where(col(Unit.id).in_(bindparam("ids", expanding=True)))
    .where(DISPOSITION.in_([*UNUSABLE, *LIMITED]))
    .order_by(col(Unit.id))
)


def refuse_unreleased(
    session: Session, unit_ids: Collection[int], again: Collection[str] = ()
) -> list[Limited]:
    """Refuse roasts of which nothing may be made; name those that go into blends alone.

    Of those that are used `again`, in the place of an act that had used them, none moves now: what
    was decided since stops what is left of them.
    """
    found = [
        Limited(row.code, Disposition(row.disposition), row.at_most_milli)
        for some in batched(sorted(unit_ids), 500)
        for row in session.execute(_NOT_FREE, {"ids": some})
    ]
    unusable = [each for each in found if each.disposition in UNUSABLE]
    barred = [each for each in unusable if each.code not in again]
    if barred:
        named = ", ".join(f"{code} ({state.replace('_', ' ')})" for code, state, _ in barred)
        raise Refused(
            "not-released", f"Not released: {named}.", units=[each.code for each in barred]
        )
    return [each for each in found if each not in unusable]


def dispositions_of(session: Session, unit_ids: Collection[int]) -> dict[int, Disposition]:
    """Tell what those of the units that are roasts may be used for."""
    rows = session.execute(
        select(col(Roast.unit_id), DISPOSITION).where(among(session, col(Roast.unit_id), unit_ids))
    )
    return {unit_id: Disposition(disposition) for unit_id, disposition in rows}


def clean_down_page(session: Session, page: Page, code: str) -> PageOf:
    """Read when a machine was cleaned."""
    machine = card_at(session, MACHINES, code)
    statement: AnySelect = (
        select(
            col(CleanDown.id),
            col(CleanDown.cleaned_at),
            col(CleanDown.note),
            col(Entry.who),
            col(ActVoid.reason).label("void_reason"),
        )
        .join(Entry, col(Entry.id) == col(CleanDown.entry_id))
        .outerjoin(ActVoid, col(ActVoid.clean_down_id) == col(CleanDown.id))
        .where(col(CleanDown.machine_id) == machine.id)
    )
    rows, following = turn_page(session, statement, col(CleanDown.id), page)
    return [
        {
            "id": row.id, "machine": machine.code, "cleaned_at": text(row.cleaned_at),
            "note": row.note, "cleaned_by": row.who, "voided": row.void_reason is not None,
            "void_reason": row.void_reason,
        }
        for row in rows
    ], following  # fmt: skip


@cache
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
            col(Roast.roasted_moisture_milli),
            col(Roast.drop_milli),
            col(Roast.total_s),
            _AT_MOST.label("at_most_milli"),
            col(Location.code).label("location"),
            on_hold(col(Unit.id)).label("held"),
            col(Unit.voided_entry_id),
        )
        .join(Roast, col(Roast.unit_id) == col(Unit.id))
        .join(MachineRun, col(MachineRun.unit_id) == col(Unit.id))
        .join(Machine, col(Machine.id) == col(MachineRun.machine_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .outerjoin(Location, col(Location.id) == col(Unit.location_id))
    )


def roast(session: Session, code: str, settings: Settings) -> RoastOut:
    """Read one roast with its checks, its draws, its colours and its organic loss."""
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
        disposition=Disposition(row.disposition),
        location=row.location,
        drop_c=None if row.drop_milli is None else from_milli(row.drop_milli),
        total_s=row.total_s,
        colours=colours_of(session, unit.id, unit.code),
        organic=organic_of(session, [_charged(row)], settings)[unit.id],
        at_most_milli=row.at_most_milli,
        left_g=row.left_g,
        held=row.held,
        voided=row.voided_entry_id is not None,
        checks=[CheckOut(**check) for check in json.loads(row.checks)],
        draws=[Draw(sack=sack, grams=grams) for sack, _, grams in parts_of(session, unit.id)],
    )


def _charged(row: Any) -> Charged:  # noqa: ANN401 - a row of `_roasts`
    return Charged(row.id, row.made_g, row.happened_at, row.roasted_moisture_milli)


def roast_page(
    session: Session, page: Page, disposition: Disposition | None, settings: Settings
) -> PageOf:
    """Read roasts in the order they were booked."""
    statement = _roasts()
    if disposition is not None:
        statement = statement.where(DISPOSITION.in_([disposition]))
    rows, following = turn_page(session, statement, col(Unit.id), page)
    organic = organic_of(session, [_charged(row) for row in rows], settings)
    return [
        {
            "code": row.code, "machine": row.machine, "style": row.style,
            "roasted_at": text(row.happened_at), "charge_kg": kg_from_grams(row.charge_g),
            "end_kg": kg_from_grams(row.made_g), "loss_pct": loss_pct(row.charge_g, row.made_g),
            "disposition": row.disposition, "organic": organic[row.id].model_dump(),
            "at_most_pct": None if row.at_most_milli is None else from_milli(row.at_most_milli),
            "left_kg": kg_from_grams(row.left_g), "held": bool(row.held),
            "voided": row.voided_entry_id is not None,
        }
        for row in rows
    ], following  # fmt: skip
