"""Reading print orders, and gathering the labels of one."""

from functools import cache
from typing import Any

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.labels.drawing import PrintJob
from app.labels.faces import faces_of
from app.labels.pieces import MM
from app.labels.schemas import OrderOut, Reprint
from app.labels.sheets import GRIDS, Size
from app.labels.tables import LabelLine, LabelOrder
from app.labels.wording import printed
from app.ledger.queries import unit_by_code
from app.ledger.tables import Entry, Unit
from app.places.tables import Location
from app.settings import Settings
from app.shared.db import AnySelect
from app.shared.paging import Page, PageOf, turn_page
from app.shared.problems import Refused
from app.shared.texts import speech_in
from app.shared.times import text


@cache
def _orders() -> AnySelect:
    lines = (
        select(func.count())
        .where(col(LabelLine.order_id) == col(LabelOrder.id))
        .correlate(LabelOrder)
    )
    return select(
        col(LabelOrder.id),
        col(LabelOrder.size),
        col(LabelOrder.sheet),
        col(LabelOrder.start_at),
        col(LabelOrder.copies),
        lines.scalar_subquery().label("codes"),
        lines.where(col(LabelLine.reprint) > 0).scalar_subquery().label("reprinted"),
        col(LabelOrder.entry_id),
        col(Entry.recorded_at),
        col(Entry.who),
    ).join(Entry, col(Entry.id) == col(LabelOrder.entry_id))


def _order_fields(row: Any) -> dict[str, Any]:  # noqa: ANN401 - a row of `_orders`
    return {
        "id": row.id, "size": row.size, "sheet": row.sheet, "start_at": row.start_at,
        "copies": row.copies, "labels": row.codes * row.copies, "reprinted": row.reprinted,
        "printed_at": row.recorded_at, "printed_by": row.who, "pdf": f"/api/v1/labels/{row.id}.pdf",
    }  # fmt: skip


def order(session: Session, number: int) -> OrderOut:
    """Read one print order with its codes."""
    row = _order_row(session, number)
    lines = session.execute(
        select(func.coalesce(col(Unit.code), col(Location.code)), col(LabelLine.reprint))
        .outerjoin(Unit, col(Unit.id) == col(LabelLine.unit_id))
        .outerjoin(Location, col(Location.id) == col(LabelLine.location_id))
        .where(col(LabelLine.order_id) == number)
        .order_by(col(LabelLine.number))
    ).all()
    return OrderOut(
        **_order_fields(row),
        codes=[code for code, _ in lines],
        reprints=[Reprint(code=code, reprint=reprint) for code, reprint in lines if reprint],
        entry=row.entry_id,
    )


def _order_row(session: Session, number: int) -> Any:  # noqa: ANN401 - a row of `_orders`
    row = session.execute(_orders().where(col(LabelOrder.id) == number)).first()
    if row is None:
        raise Refused("not-found", f"There is no print order {number}.")
    return row


def order_page(session: Session, page: Page, code: str | None) -> PageOf:
    """Read print orders, oldest first; all, or those with labels of one unit."""
    statement = _orders()
    if code is not None:
        unit = unit_by_code(session, code)
        with_it = select(col(LabelLine.order_id)).where(col(LabelLine.unit_id) == unit.id)
        statement = statement.where(col(LabelOrder.id).in_(with_it))
    rows, following = turn_page(session, statement, col(LabelOrder.id), page)
    return [_order_fields(row) | {"printed_at": text(row.recorded_at)} for row in rows], following


def print_job(session: Session, number: int, settings: Settings) -> PrintJob:
    """Gather what the labels of an order say, as the book knows it now.

    A unit that was voided since has no label any more, and neither has its order.
    """
    row = _order_row(session, number)
    lines = session.execute(
        select(LabelLine, col(Unit.kind), col(Unit.code), col(Unit.voided_entry_id))
        .outerjoin(Unit, col(Unit.id) == col(LabelLine.unit_id))
        .where(col(LabelLine.order_id) == number)
        .order_by(col(LabelLine.number))
    ).all()
    voided = [code for _, _, code, entry in lines if entry is not None]
    if voided:
        raise Refused("voided", f"Voided since: {', '.join(voided)}.", units=voided)
    faces = faces_of(
        session,
        {line.unit_id: kind for line, kind, *_ in lines if line.unit_id is not None},
        [line.location_id for line, *_ in lines if line.location_id is not None],
        settings,
    )
    width, height = _label_mm(row.size, settings)
    speech = speech_in(settings.house_language)
    return PrintJob(
        title=f"Labels {number}",
        ordered_at=row.recorded_at,
        faces=[
            faces[line.unit_id, line.location_id].noting(printed(number, line.reprint, speech))
            for line, *_ in lines
            for _ in range(row.copies)
        ],
        label=(width * MM, height * MM),
        grid=GRIDS[row.sheet, row.size] if row.sheet else None,
        start_at=row.start_at,
    )


def _label_mm(size: str, settings: Settings) -> tuple[int, int]:
    return settings.label_large_mm if size == Size.LARGE else settings.label_small_mm
