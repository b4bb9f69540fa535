"""Planning batches, cancelling them, and roasting one of them."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date
from typing import NamedTuple

from sqlmodel import Session, col

from app.green.reservations.actions import refuse_beyond, release_reservation, reserve
from app.green.reservations.queries import stock_of_lots
from app.ledger.posting import Pen
from app.ledger.queries import unit_by_code, units_by_code
from app.ledger.tables import Unit, UnitKind
from app.roasting.batches.queries import batch, batch_of_roast, batch_row, batches, state_of
from app.roasting.batches.rules import Slot, fill
from app.roasting.batches.schemas import BatchCancelIn, BatchesIn, BatchesOut, BatchOut
from app.roasting.batches.tables import PlannedBatch
from app.roasting.machines import machine_for
from app.roasting.schemas import RoastIn
from app.roasting.styles.actions import style_named
from app.roasting.styles.tables import Style
from app.roasting.tables import Machine, MachineKind
from app.roasting.yields import usual_charge
from app.shared.db import next_number
from app.shared.mass import kg_from_grams, kg_text
from app.shared.names import fold_name
from app.shared.problems import FieldRefused, Refused


class Planned(NamedTuple):
    """A batch to be planned, its lots by code."""

    style: Style
    machine: Machine | None
    charge_g: int
    green: Mapping[str, int]


def plan(pen: Pen, asked: BatchesIn) -> BatchesOut:
    """Plan batches of a style for a day, and keep the green for them.

    Raises:
        Refused: `insufficient-stock` where a lot has less to promise; `over-capacity`.
    """
    style = style_named(pen.session, asked.style)
    if style is None:
        raise FieldRefused(
            "#/style", f"there is no style {asked.style}: enter it first", "unknown-reference"
        )
    code = asked.machine or style.machine
    machine = machine_for(pen, code, MachineKind.ROASTER) if code else None
    charge_g = _charge(pen, asked, style, machine)
    if asked.green is None:
        green = _from_the_style(pen, style, charge_g, asked.count)
    else:
        green = [{each.lot: each.grams for each in asked.green}] * asked.count
    numbers = write_plan(
        pen, asked.on, [Planned(style, machine, charge_g, each) for each in green],
        asked.model_dump(mode="json"),
    )  # fmt: skip
    return BatchesOut(batches=batches(pen.session, numbers))


def _charge(pen: Pen, asked: BatchesIn, style: Style, machine: Machine | None) -> int:
    capacity_g = machine.capacity_g if machine else None
    charge_g = asked.charge_g
    if asked.green is not None:
        whole_g = sum(each.grams for each in asked.green)
        if charge_g is not None and charge_g != whole_g:
            raise FieldRefused(
                "#/green", f"the lots make {kg_text(whole_g)}, and the charge is "
                f"{kg_text(charge_g)}",
            )  # fmt: skip
        charge_g = whole_g
    elif charge_g is None:
        charge_g = usual_charge(style.batch_g, capacity_g, pen.settings.usual_charge_pct)
    if charge_g is None:
        raise FieldRefused("#/charge_kg", f"style {style.name} names no charge and no drum")
    if capacity_g is not None and machine is not None and charge_g > capacity_g:
        raise Refused(
            "over-capacity",
            f"{machine.code} takes {kg_text(capacity_g)}; the charge is {kg_text(charge_g)}.",
            machine=machine.code,
            capacity_kg=kg_from_grams(capacity_g),
            charge_kg=kg_from_grams(charge_g),
        )
    return charge_g


def slots_of(style: Style) -> list[Slot]:
    """Read the slots off a style's card; none where it names no green."""
    return [Slot(int(slot["share_milli"]), slot["lots"]) for slot in style.green or []]  # type: ignore[arg-type]


def _from_the_style(
    pen: Pen, style: Style, charge_g: int, count: int
) -> Sequence[Mapping[str, int]]:
    """Fill the charges from the lots of the style."""
    slots = slots_of(style)
    if not slots:
        raise FieldRefused("#/green", f"style {style.name} names no green: say which lots")
    codes = sorted({code for slot in slots for code in slot.lots})
    units = units_by_code(pen.session, codes, UnitKind.LOT)
    stock = stock_of_lots(pen.session, [unit.id for unit in units.values()])
    free = {code: stock[unit.id].available_g for code, unit in units.items()}
    there_g = sum(free.values())
    filled = [fill(slots, charge_g, free) for _ in range(count)]
    short_g = sum(each.short_g for each in filled)
    if short_g:
        raise Refused(
            "insufficient-stock",
            f"Style {style.name} wants {kg_text(count * charge_g)} of {', '.join(codes)}, of which "
            f"{kg_text(there_g)} are available: {kg_text(short_g)} are short.",
            lots=codes,
            asked_kg=kg_from_grams(count * charge_g),
            available_kg=kg_from_grams(there_g),
            short_kg=kg_from_grams(short_g),
        )
    return [each.green for each in filled]


def write_plan(
    pen: Pen, on: date, planned: Sequence[Planned], said: Mapping[str, object]
) -> Sequence[int]:
    """Write planned batches with what they reserve, as one entry; returns their numbers."""
    wanted: Counter[str] = Counter()
    for each in planned:
        wanted.update(each.green)
    lots = units_by_code(pen.session, list(wanted), UnitKind.LOT)
    refuse_beyond(pen, lots, wanted)
    entry_id = pen.note("batches planned", said)
    first = next_number(pen.session, col(PlannedBatch.id))
    reservations = reserve(pen, entry_id, [
        (f"planned batch {first + i} ({each.style.name}, {on})", _by_id(lots, each.green))
        for i, each in enumerate(planned)
    ])  # fmt: skip
    pen.write(PlannedBatch, [
        {"id": first + i, "planned_for": on, "style_id": each.style.id, "charge_g": each.charge_g,
         "machine_id": each.machine.id if each.machine else None, "entry_id": entry_id,
         "reservation_id": reservation}
        for i, (each, reservation) in enumerate(zip(planned, reservations, strict=True))
    ])  # fmt: skip
    return range(first, first + len(planned))


def _by_id(lots: Mapping[str, Unit], green: Mapping[str, int]) -> Mapping[int, int]:
    return {lots[code].id: grams for code, grams in green.items()}


def cancel(pen: Pen, number: int, asked: BatchCancelIn) -> BatchOut:
    """Cancel a planned batch: its green is free again."""
    batch(pen.session, number)
    row = batch_row(pen.session, number)
    _refuse_ended(row.id, state_of(row), row.roast or row.reason)
    said = {"batch": number, **asked.model_dump(mode="json")}
    entry_id = pen.note("batch cancelled", said)
    release_reservation(pen, entry_id, row.reservation_id, asked.reason)
    return batch(pen.session, number)


def _refuse_ended(number: int, state: str, why: str) -> None:
    if state != "planned":
        raise Refused(
            "batch-state", f"Planned batch {number} is {state}: {why}.", batch=number, state=state
        )


class ToRoast(NamedTuple):
    """A planned batch that somebody is about to roast."""

    id: int
    style: str
    machine: str | None
    reservation_id: int


def _batch_of(session: Session, corrected: str | None) -> int | None:
    if corrected is None:
        return None
    return batch_of_roast(session, unit_by_code(session, corrected, UnitKind.ROAST).id)


def to_roast(session: Session, asked: RoastIn) -> ToRoast | None:
    """Find the batch that a roast names; refuse one that has ended, and another style.

    A roast may correct the one by which the batch has ended, and is of its batch unless it names
    another.
    """
    style, number = asked.style, asked.batch or _batch_of(session, asked.corrects)
    if number is None:
        return None
    row = batch_row(session, number)
    if row is None:
        raise FieldRefused("#/batch", f"there is no planned batch {number}", "unknown-reference")
    if asked.corrects is None or row.roast != asked.corrects:
        if asked.batch is None:
            return None  # What is corrected was voided before, and is refused for that.
        _refuse_ended(row.id, state_of(row), row.roast or row.reason)
    if style is not None and fold_name(style) != fold_name(row.style):
        if asked.batch is None:
            return None  # The style is what the correction is about.
        raise FieldRefused("#/style", f"batch {number} was planned as {row.style}")
    return ToRoast(row.id, row.style, row.machine, row.reservation_id)
