"""Running a drill: the clock starts with the request and stops with the complete report."""

from collections.abc import Iterator
from datetime import datetime
from typing import NamedTuple

from app.ledger.posting import Pen
from app.ledger.queries import live, unit_by_code
from app.ledger.rules import canonical
from app.ledger.tables import Unit, UnitKind
from app.recall import actions as recall
from app.recall.cases import case_at, take_step
from app.recall.drills.figures import find
from app.recall.drills.picking import picked
from app.recall.drills.queries import drill, drill_of, due
from app.recall.drills.rules import goal_met, is_overdue
from app.recall.drills.schemas import (
    CompletionIn,
    DrillIn,
    DrillOut,
    Gap,
    PickOut,
    SignOffIn,
)
from app.recall.drills.tables import Drill, DrillReport, DrillSignOff
from app.recall.frozen import first_scope, freeze
from app.recall.rules import CaseKind, Step
from app.recall.schemas import CaseIn, TriggerIn
from app.recall.starts import StartIn
from app.recall.tables import TriggerKind
from app.shared.answers import to_json
from app.shared.days import day_of
from app.shared.problems import FieldRefused, Refused
from app.tracing.schemas import Direction


class Subjects(NamedTuple):
    """What a drill traces."""

    lot: Unit | None
    material_lot: str | None
    """Forward in the place of a lot."""
    pack: Unit | None

    @property
    def start(self) -> StartIn | None:
        """Where the way forward begins."""
        if self.material_lot is not None:
            return StartIn(material_lot=self.material_lot)
        return StartIn(units=[self.lot.code]) if self.lot is not None else None


def begin(pen: Pen, asked: DrillIn) -> DrillOut:
    """Begin a drill: both directions are traced and frozen, and the clock runs."""
    lot, _, pack = subjects = _subjects(pen, asked)
    trigger = TriggerIn(kind=TriggerKind.DRILL, text=asked.scenario)
    body = CaseIn(
        code=asked.code, kind=CaseKind.INQUIRY, trigger=trigger, start=subjects.start
    )  # fmt: skip
    case, _ = recall.begin(pen, body, drill=True)
    entry_id = case.row.entry_id
    if pack is not None:
        scope = first_scope(pen.session, StartIn(units=[pack.code]), direction=Direction.BACKWARD)
        freeze(pen, case.row.id, scope, entry_id, entry_id - 1)
    pen.session.add(Drill(
        case_id=case.row.id, lot_id=lot.id if lot else None, pack_id=pack.id if pack else None,
        pick_id=asked.pick,
    ))  # fmt: skip
    pen.session.flush()  # it is read for the answer
    return drill(pen.session, case.row.code, pen.settings)


def _subjects(pen: Pen, asked: DrillIn) -> Subjects:
    lot, material_lot, pack = asked.lot, asked.material_lot, asked.pack
    if asked.pick is not None:
        drawn = picked(pen.session, asked.pick)
        lot, material_lot, pack = drawn.lot, None, drawn.pack
        if asked.traced == "material_lot":
            lot, material_lot = None, _drawn_material(drawn)
    return Subjects(
        live(unit_by_code(pen.session, lot, UnitKind.LOT)) if lot is not None else None,
        material_lot,
        live(unit_by_code(pen.session, pack, UnitKind.PACK)) if pack is not None else None,
    )


def _drawn_material(drawn: PickOut) -> str:
    if drawn.material_lot is None:
        said = f"draw {drawn.id} found no lot of packing material in any bag"
        raise FieldRefused("#/traced", said)
    return drawn.material_lot


def complete(pen: Pen, code: str, asked: CompletionIn) -> DrillOut:
    """Stop the clock: figures and gaps are kept as they are now."""
    case = case_at(pen.session, code)
    found = drill_of(pen.session, case)
    if pen.session.get(DrillReport, found.case_id) is not None:
        raise Refused("already-done", f"Drill {code} was completed before.")
    results = find(pen.session, case)
    goal = pen.settings.drill_goal_minutes
    gaps = [*results.gaps, *_of_the_drill(pen, case.steps[0].at, goal)]
    entry_id = pen.note("drill completed", {"recall": code, "gaps": [each.gap for each in gaps]})
    figures = {
        "goal_minutes": goal,
        "forward": dict(results.forward) if results.forward else None,
        "backward": dict(results.backward) if results.backward else None,
    }
    pen.session.add(DrillReport(
        case_id=found.case_id, figures=to_json(figures).decode(), entry_id=entry_id,
        gaps=canonical([each.model_dump() for each in gaps]), own_gaps=canonical(asked.gaps),
    ))  # fmt: skip
    take_step(pen, case, Step.CLOSED, entry_id)
    pen.session.flush()  # it is read for the answer
    return drill(pen.session, code, pen.settings)


def _of_the_drill(pen: Pen, started: datetime, goal_minutes: int) -> Iterator[Gap]:
    """Name what was amiss with the drill itself rather than with the records."""
    if not goal_met(started, pen.now, goal_minutes):
        yield Gap(gap=f"longer than {goal_minutes} minutes", count=1, named=[])
    last = due(pen.session, pen.settings).last_completed_at
    every = pen.settings.drill_every_months
    if last is not None and is_overdue(day_of(started), day_of(last), every):
        yield Gap(gap=f"more than {every} months since the last drill", count=1, named=[])


def sign_off(pen: Pen, code: str, asked: SignOffIn) -> DrillOut:
    """Sign off a drill that somebody else ran."""
    found = drill_of(pen.session, case_at(pen.session, code))
    shown = drill(pen.session, code, pen.settings)
    if shown.completed_by is None:
        raise Refused(
            "recall-state", f"Drill {code} is not completed yet.", recall_state=shown.state
        )
    if shown.signed_off_by is not None:
        raise Refused(
            "already-done", f"Drill {code} was signed off before, by {shown.signed_off_by}."
        )
    if pen.who in {shown.started_by, shown.completed_by}:
        raise Refused(
            "own-drill", f"{pen.who} ran drill {code}: somebody else signs it off.", person=pen.who
        )
    entry_id = pen.note("drill signed off", {"recall": code})
    pen.session.add(DrillSignOff(case_id=found.case_id, note=asked.note, entry_id=entry_id))
    pen.session.flush()  # it is read for the answer
    return drill(pen.session, code, pen.settings)
