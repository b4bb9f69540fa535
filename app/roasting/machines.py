"""Machines: which work they do, what came off them, when they were cleaned."""

from datetime import datetime

from app.ledger.cards import Shelf, card_at, named
from app.ledger.posting import Birth, Pen
from app.roasting.schemas import CleanDownIn, CleanDownOut, MachineOut
from app.roasting.tables import CleanDown, Machine, MachineKind, MachineRun
from app.shared.problems import Refused

MACHINES = Shelf("machine", Machine, MachineOut, key="code", folded="code")


def machine_for(pen: Pen, code: str, kind: MachineKind) -> Machine:
    """Find the machine a body names and refuse one that does other work."""
    machine = named(pen.session, MACHINES, code, "#/machine")
    if machine.kind != kind:
        raise Refused(
            "wrong-machine",
            f"{machine.code} is a {machine.kind}; this needs a {kind}.",
            machine=machine.code,
            kind=machine.kind,
            wanted=kind,
        )
    return machine


def record_run(pen: Pen, born: Birth, machine: Machine, at: datetime) -> None:
    """Record which machine a unit came off."""
    pen.write(MachineRun, [{"unit_id": born.id, "machine_id": machine.id, "ran_at": at}])


def clean_down(pen: Pen, code: str, asked: CleanDownIn) -> CleanDownOut:
    """Record that a machine was emptied and cleaned."""
    machine = card_at(pen.session, MACHINES, code)
    assert machine.id is not None  # noqa: S101 - read from the database
    at = pen.moment(asked.cleaned_at, "#/cleaned_at")
    said = {"machine": machine.code, **asked.model_dump(mode="json")}
    entry_id = pen.note("clean-down", said, at)
    cleaned = CleanDown(machine_id=machine.id, cleaned_at=at, note=asked.note, entry_id=entry_id)
    pen.session.add(cleaned)
    pen.session.flush()  # the database numbers the clean-down
    assert cleaned.id is not None  # noqa: S101 - flushed
    return CleanDownOut(
        id=cleaned.id, machine=machine.code, cleaned_at=at, note=asked.note, cleaned_by=pen.who
    )
