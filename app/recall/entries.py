"""Finding the case that an entry of the journal is about."""

from collections.abc import Collection, Mapping
from typing import Final, NamedTuple

from sqlalchemy import select, union
from sqlmodel import Session, col

from app.recall.drills.tables import Drill, DrillPick, DrillReport, DrillSignOff
from app.recall.tables import (
    RecallAcknowledgement,
    RecallCase,
    RecallNotice,
    RecallReport,
    RecallScope,
    RecallStep,
    RecallStop,
)
from app.shared.db import AnySelect, among

_WRITTEN: Final = (
    (col(RecallStep.entry_id), col(RecallStep.case_id)),
    (col(RecallScope.entry_id), col(RecallScope.case_id)),
    (col(RecallStop.entry_id), col(RecallStop.case_id)),
    (col(RecallNotice.entry_id), col(RecallNotice.case_id)),
    (col(RecallAcknowledgement.entry_id), col(RecallAcknowledgement.case_id)),
    (col(RecallReport.entry_id), col(RecallReport.case_id)),
    (col(DrillReport.entry_id), col(DrillReport.case_id)),
    (col(DrillSignOff.entry_id), col(DrillSignOff.case_id)),
)
"""What is written of a case, each by an entry."""


class OfCase(NamedTuple):
    """A case, or a drill, by its code."""

    code: str
    drill: bool


def cases_of(session: Session, entries: Collection[int]) -> Mapping[int, OfCase]:
    """Name the case of each of these entries that is about one, in one statement."""
    opened: AnySelect = select(col(RecallCase.entry_id), col(RecallCase.id).label("case_id"))
    drawn = select(col(DrillPick.entry_id), col(Drill.case_id)).join(
        Drill, col(Drill.pick_id) == col(DrillPick.id)
    )
    written: list[AnySelect] = [select(*columns) for columns in _WRITTEN]
    of_entry = union(
        *(
            each.where(among(session, each.selected_columns.entry_id, entries))
            for each in (opened, drawn, *written)
        )
    ).subquery()
    rows = session.execute(
        select(of_entry.c.entry_id, col(RecallCase.code), col(RecallCase.drill)).join(
            RecallCase, col(RecallCase.id) == of_entry.c.case_id
        )
    )
    return {row.entry_id: OfCase(row.code, row.drill) for row in rows}
