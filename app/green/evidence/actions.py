"""Recording where green coffee grew, and what the firm is for a delivery."""

from sqlalchemy import insert, select
from sqlmodel import col

from app.green.evidence.queries import counting_file, file_out
from app.green.evidence.schemas import (
    DueDiligenceIn,
    DueDiligenceOut,
    GivenPlots,
    PlotFileOut,
    RoleIn,
    RoleOut,
    StatementLine,
)
from app.green.evidence.tables import DeliveryRole, DueDiligence, PlotFile, Statement
from app.green.tables import Delivery
from app.ledger.posting import Pen
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import Unit, UnitKind
from app.shared.days import day_of
from app.shared.problems import FieldRefused, Refused


def file_plots(pen: Pen, code: str, given: GivenPlots) -> PlotFileOut:
    """Put a file of plots on record; the one before it is superseded and stays.

    Raises:
        Refused: `already-done` for the very file that counts.
    """
    lot = _lot(pen, code)
    before = counting_file(pen.session, lot.id)
    if before is not None and before.sha256 == given.sha256:
        raise Refused(
            "already-done", f"That very file is on record for {lot.code} already.", file=before.id
        )
    said = given.model_dump(exclude={"content"})
    entry_id = pen.note("plots", {"lot": lot.code, **said})
    filed = PlotFile(
        lot_id=lot.id,
        entry_id=entry_id,
        **given.model_dump(exclude={"countries"}),
        countries=",".join(given.countries),
    )
    pen.session.add(filed)
    pen.session.flush()  # the database numbers the file
    return file_out(filed, lot.code, pen.now, pen.who, counts=True)


def record(pen: Pen, code: str, asked: DueDiligenceIn) -> DueDiligenceOut:
    """Put on record what is known of a lot: statements, time of production, HS code."""
    lot = _lot(pen, code)
    if asked.produced_to is not None and asked.produced_to > day_of(pen.now):
        raise FieldRefused("#/produced_to", f"{asked.produced_to} lies ahead of the server's day")
    entry_id = pen.note("due diligence", {"lot": lot.code, **asked.model_dump(mode="json")})
    said = DueDiligence(
        lot_id=lot.id, entry_id=entry_id, **asked.model_dump(exclude={"statements"})
    )
    pen.session.add(said)
    pen.session.flush()  # statements refer to it
    assert said.id is not None  # noqa: S101 - flushed
    rows = [{"due_diligence_id": said.id, **each.model_dump()} for each in asked.statements]
    if rows:
        pen.session.execute(insert(Statement), rows)
    return DueDiligenceOut(
        id=said.id,
        lot=lot.code,
        statements=[StatementLine(**each.model_dump()) for each in asked.statements],
        hs_code=asked.hs_code,
        produced_from=asked.produced_from,
        produced_to=asked.produced_to,
        not_available=asked.not_available,
        recorded_at=pen.now,
        recorded_by=pen.who,
    )


def set_role(pen: Pen, code: str, asked: RoleIn) -> RoleOut:
    """Say what the firm is for a delivery, and with it for every lot that came in it."""
    delivery = pen.session.scalars(
        select(Delivery).where(col(Delivery.code) == code.upper())
    ).first()
    if delivery is None:
        raise Refused("not-found", f"There is no delivery {code}.")
    assert delivery.id is not None  # noqa: S101 - read from the database
    entry_id = pen.note("role", {"delivery": delivery.code, **asked.model_dump(mode="json")})
    pen.session.add(DeliveryRole(delivery_id=delivery.id, entry_id=entry_id, **asked.model_dump()))
    return RoleOut(
        delivery=delivery.code,
        role=asked.role,
        from_operator=asked.from_operator,
        recorded_at=pen.now,
        recorded_by=pen.who,
    )


def _lot(pen: Pen, code: str) -> Unit:
    return live(unit_by_code(pen.session, code, UnitKind.LOT))
