"""The tables of the evidence: the same in the workbook and in the files.

Kilograms are exact decimals with three places, times are UTC in the form that sorts as text, and
every row can be found again by its codes. A language changes what is read as a sentence alone, the
caution and what codes mean: programs find the same names and codes in each.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Final, NamedTuple

from app.recall.evidence.codes import code_rows
from app.recall.evidence.events import Event
from app.recall.evidence.reading import Evidence
from app.recall.scope import ScopeUnit
from app.shared.mass import GRAM
from app.shared.speech import PLAIN, Speech
from app.shared.times import text

Cell = str | int | Decimal | bool | None


class Table(NamedTuple):
    """A sheet, or a file."""

    name: str
    header: Sequence[str]
    rows: Iterable[Sequence[Cell]]


EVENTS: Final = "events"


def tables(found: Evidence, speech: Speech = PLAIN) -> Iterator[Table]:
    """Write every table, the case first and the code list last."""
    yield Table("case", ("what", "said"), _case(found, speech))
    yield Table(
        "units",
        (
            "unit", "kind", "in_scope", "made_at", "made_kg", "left_kg", "suspect_kg", "bags",
            "bags_left", "left_now_kg", "location_now", "held_now", "voided", "machine", "place",
            "after", "product", "lot_mark", "best_before", "name", "supplier", "delivery",
            "reference", "ico_mark",
        ),
        (_unit(found, unit) for unit in found.units),
    )  # fmt: skip
    yield events(found)
    yield Table(
        "flows",
        ("source", "target", "target_kind", "kg"),
        ((source, target, kind, _kg(grams)) for source, target, grams, kind in found.flows),
    )
    yield Table(
        "consignees",
        (
            "customer", "contact", "possible_contact", "dispatch", "dispatched_at", "bags", "kg",
            "returned_bags",
        ),
        _consignees(found),
    )  # fmt: skip
    yield Table("reconciliation", ("figure", "number"), _figures(found))
    yield Table(
        "working_off",
        (
            "customer", "possible_contact", "notices", "first_notice_at", "last_notice_how",
            "acknowledged_at", "reported_at", "sent_bags", "returned_bags", "held_bags",
            "destroyed_bags", "sold_bags", "unaccounted_bags", "recovered_pct",
        ),
        _worked_off(found),
    )  # fmt: skip
    yield Table(
        "log",
        ("entry", "what", "customer", "said", "at", "recorded_at", "by"),
        (
            (line.id, line.what, line.customer, line.said, text(line.at), text(line.recorded_at),
             line.by)
            for line in found.log
        ),
    )  # fmt: skip
    yield Table("codes", ("where", "code", "meaning"), code_rows(speech))


def events(found: Evidence) -> Table:
    """Write one row per unit and event."""
    units = {unit.id: unit for unit in found.units}
    return Table(
        EVENTS,
        (
            "unit", "kind", "in_scope", "event", "happened_at", "recorded_at", "by", "entry", "kg",
            "other", "said",
        ),
        (_event(units[event.unit_id], event) for event in found.events),
    )  # fmt: skip


def _kg(grams: int | None) -> Decimal | None:
    return None if grams is None else grams * GRAM


def _at(moment: datetime | None) -> str | None:
    return None if moment is None else text(moment)


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _event(unit: ScopeUnit, event: Event) -> Sequence[Cell]:
    written = event.written
    return (
        unit.code, unit.kind, unit.place, event.event, text(written.happened_at),
        text(written.recorded_at), written.by, written.entry, _kg(event.grams), event.other,
        event.said,
    )  # fmt: skip


def _unit(found: Evidence, unit: ScopeUnit) -> Sequence[Cell]:
    known = found.known[unit.id]
    beside = unit.contact or {}
    machine, place, after = (
        None if beside.get(name) is None else str(beside[name])
        for name in ("machine", "place", "after")
    )
    return (
        unit.code, unit.kind, unit.place, text(known.made_at), _kg(unit.made_g), _kg(unit.left_g),
        _kg(unit.suspect_g), unit.bags, unit.bags_left, _kg(known.left_now_g), known.location,
        known.held, known.voided, machine, place, after, known.product, known.lot_mark,
        _day(known.best_before), known.name, known.supplier, known.delivery, known.reference,
        known.ico_mark,
    )  # fmt: skip


def _case(found: Evidence, speech: Speech) -> Iterator[Sequence[Cell]]:
    case, scope = found.case, found.scope
    yield "case", case.code
    yield "drill", case.drill
    yield "of", found.firm
    yield "address", found.firm_address
    yield "kind", case.kind
    yield "class", f"{case.classed.named} ({case.classed.jurisdiction})" if case.classed else None
    yield "state", case.state
    yield "trigger", case.trigger
    yield "trigger_text", case.trigger_text
    yield "hazard", case.hazard
    yield "opened_at", text(case.opened_at)
    yield "opened_by", case.opened_by
    yield "scope", scope.number
    yield "scope_at_entry", scope.at_entry
    yield "scope_frozen_at", text(scope.frozen_at)
    yield "scope_frozen_by", scope.frozen_by
    for name, grams in scope.balance.items():
        yield f"balance_{name}_kg", _kg(grams)
    yield "read_at_entry", found.entry
    yield "read_recorded_at", text(found.recorded_at)
    yield "caution", speech.gettext(scope.caution)


def _consignees(found: Evidence) -> Iterator[Sequence[Cell]]:
    for each in found.scope.consignees:
        for sent in each.dispatches:
            yield (
                each.customer, each.contact, each.possible_contact, sent.code,
                text(sent.dispatched_at), sent.bags, _kg(sent.grams), sent.returned_bags,
            )  # fmt: skip


def _figures(found: Evidence) -> Iterator[Sequence[Cell]]:
    told = found.reconciliation
    for part in (told.bags, told.effectiveness):
        yield from part.model_dump().items()
    yield "closes", told.closes
    yield "at_entry", told.at_entry


def _worked_off(found: Evidence) -> Iterator[Sequence[Cell]]:
    for each in found.reconciliation.consignees:
        yield (
            each.customer, each.possible_contact, each.notices, _at(each.first_notice_at),
            each.last_notice_how, _at(each.acknowledged_at), _at(each.reported_at),
            each.sent_bags, each.returned_bags, each.held_bags, each.destroyed_bags,
            each.sold_bags, each.unaccounted_bags, each.recovered_pct,
        )  # fmt: skip
