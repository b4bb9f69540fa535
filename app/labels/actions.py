"""Ordering labels: which codes, how often before, one line in the journal."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import func, insert, select
from sqlmodel import Session, col

from app.green.tables import Sack
from app.labels.queries import order
from app.labels.schemas import MOST, LabelsIn, OrderOut
from app.labels.sheets import GRIDS
from app.labels.tables import LabelLine, LabelOrder
from app.ledger.posting import Pen
from app.ledger.queries import live, unit_by_code, unknown
from app.ledger.tables import Unit, UnitKind
from app.places.tables import Location
from app.shared.db import IdColumn, among, next_number
from app.shared.problems import FieldRefused, Refused

LABELLED = (UnitKind.SACK, UnitKind.ROAST, UnitKind.BLEND, UnitKind.PACK, UnitKind.RETURN)
"""What stands somewhere and can carry a label; a lot is labelled sack by sack."""


@dataclass(frozen=True)
class _Subject:
    """What a label is for."""

    code: str
    unit_id: int | None = None
    location_id: int | None = None


def print_labels(pen: Pen, asked: LabelsIn) -> OrderOut:
    """Record a print order; what was printed before is marked as a reprint."""
    subjects = _subjects(pen.session, asked)
    _refuse_too_many(asked, len(subjects))
    _refuse_off_the_sheet(asked)
    reprints = _reprints(pen.session, subjects)
    number = next_number(pen.session, col(LabelOrder.id))
    entry_id = pen.note("labels printed", {
        **asked.model_dump(mode="json"), "order": number,
        "codes": [subject.code for subject in subjects], "reprint": any(reprints),
        "reprints": {
            subject.code: reprint
            for subject, reprint in zip(subjects, reprints, strict=True) if reprint
        },
    })  # fmt: skip
    pen.session.execute(insert(LabelOrder).values(
        id=number, size=asked.size, sheet=asked.sheet, start_at=asked.start_at,
        copies=asked.copies, entry_id=entry_id,
    ))  # fmt: skip
    pen.session.execute(insert(LabelLine), [
        {"order_id": number, "number": place, "unit_id": subject.unit_id,
         "location_id": subject.location_id, "reprint": reprint}
        for place, (subject, reprint) in enumerate(zip(subjects, reprints, strict=True), 1)
    ])  # fmt: skip
    return order(pen.session, number)


def _subjects(session: Session, asked: LabelsIn) -> list[_Subject]:
    if asked.lot is not None:
        return _sacks_of(session, asked.lot)
    codes = asked.codes or []
    units = _units(session, codes) if asked.subject_kind != "location" else {}
    places = _places(session, codes) if asked.subject_kind != "unit" else {}
    return [_subject(code, units.get(code), places.get(code)) for code in codes]


def _units(session: Session, codes: Sequence[str]) -> dict[str, Unit]:
    found = session.scalars(select(Unit).where(col(Unit.code).in_(codes)))
    return {unit.code: unit for unit in found}


def _places(session: Session, codes: Sequence[str]) -> dict[str, Location]:
    found = session.scalars(select(Location).where(col(Location.code).in_(codes)))
    return {location.code: location for location in found}


def _subject(code: str, unit: Unit | None, location: Location | None) -> _Subject:
    if unit is not None and location is not None:
        raise Refused(
            "ambiguous-code", f"{code} is a {unit.kind} and a location; say which.", code=code
        )
    if location is not None:
        return _Subject(code, location_id=location.id)
    if unit is None:
        raise unknown(code)
    if unit.kind not in LABELLED:
        hint = " Name it as lot for all its sacks." if unit.kind == UnitKind.LOT else ""
        raise Refused(
            "wrong-kind",
            f"{code} is a {unit.kind}; a label is for a {', '.join(LABELLED)} or location.{hint}",
            unit=code,
            kind=unit.kind,
            wanted=[*LABELLED, "location"],
        )
    return _Subject(code, unit_id=live(unit).id)


def _sacks_of(session: Session, code: str) -> list[_Subject]:
    """Name every sack of a lot that has coffee in it."""
    lot = live(unit_by_code(session, code, UnitKind.LOT))
    rows = session.execute(
        select(col(Unit.id), col(Unit.code))
        .join(Sack, col(Sack.unit_id) == col(Unit.id))
        .where(col(Sack.lot_id) == lot.id, col(Unit.left_g) > 0)
        .order_by(col(Sack.number))
    ).all()
    if not rows:
        raise Refused(
            "insufficient-stock", f"No sack of lot {lot.code} has coffee left in it.", unit=lot.code
        )
    return [_Subject(code, unit_id=unit_id) for unit_id, code in rows]


def _refuse_too_many(asked: LabelsIn, codes: int) -> None:
    labels = codes * asked.copies
    if labels > MOST:
        pointer = "#/copies" if asked.copies > 1 else "#/lot"
        raise FieldRefused(
            pointer,
            f"{labels} labels are more than the {MOST} of one print order: "
            "name fewer codes at a time",
        )


def _refuse_off_the_sheet(asked: LabelsIn) -> None:
    if asked.sheet is None:
        if asked.start_at > 1:
            raise FieldRefused("#/start_at", "only a sheet has places: name the sheet too")
        return
    holds = GRIDS[asked.sheet, asked.size].places
    if asked.start_at > holds:
        raise FieldRefused(
            "#/start_at", f"a sheet {asked.sheet} of {asked.size} labels has {holds} places"
        )


def _reprints(session: Session, subjects: Sequence[_Subject]) -> list[int]:
    """Tell how often each was printed before."""
    units = _times(session, col(LabelLine.unit_id), [s.unit_id for s in subjects])
    places = _times(session, col(LabelLine.location_id), [s.location_id for s in subjects])
    return [
        units.get(subject.unit_id, 0) + places.get(subject.location_id, 0) for subject in subjects
    ]


def _times(session: Session, column: IdColumn, ids: Sequence[int | None]) -> dict[int | None, int]:
    rows = session.execute(
        select(column, func.count())
        .where(among(session, column, [each for each in ids if each is not None]))
        .group_by(column)
    )
    return {row[0]: row[1] for row in rows}
