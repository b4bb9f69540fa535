"""Reading checks of weight."""

from functools import cache
from typing import Any

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.corrections.tables import ActVoid
from app.ledger.queries import unit_by_code
from app.ledger.tables import Entry, Unit, UnitKind
from app.packing.tables import Pack
from app.packing.weighing.schemas import CheckWeighingOut
from app.packing.weighing.showing import Weighed, show
from app.packing.weighing.tables import CheckWeighing
from app.shared.db import AnySelect
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import Refused


@cache
def _checks() -> AnySelect:
    return (
        select(
            col(CheckWeighing.id),
            CheckWeighing,
            col(Unit.code),
            col(Pack.nominal_g),
            col(Entry.happened_at),
            col(Entry.who),
            col(ActVoid.reason).label("void_reason"),
        )
        .join(Pack, col(Pack.unit_id) == col(CheckWeighing.pack_id))
        .join(Unit, col(Unit.id) == col(Pack.unit_id))
        .join(Entry, col(Entry.id) == col(CheckWeighing.entry_id))
        .outerjoin(ActVoid, col(ActVoid.check_weighing_id) == col(CheckWeighing.id))
    )


def _shown(row: Any) -> CheckWeighingOut:  # noqa: ANN401 - a row of `_checks`
    weighed = Weighed(row.code, row.nominal_g, row.happened_at, row.who, row.void_reason)
    return show(row.CheckWeighing, weighed)


def check_page(session: Session, page: Page, pack: str | None) -> PageOf:
    """Read checks in the order they were booked, of one pack or of all."""
    statement = _checks()
    if pack is not None:
        found = unit_by_code(session, pack, UnitKind.PACK)
        statement = statement.where(col(CheckWeighing.pack_id) == found.id)
    rows, following = turn_page(session, statement, col(CheckWeighing.id), page)
    return [_shown(row).model_dump(by_alias=True) for row in rows], following


def check(session: Session, check_id: int) -> CheckWeighingOut:
    """Read one check."""
    row = session.execute(_checks().where(col(CheckWeighing.id) == check_id)).first()
    if row is None:
        raise Refused("not-found", f"There is no check of weight {check_id}.")
    return _shown(row)
