"""What the schema of EPCIS 2.0 lets pass and sense does not: rules about one event by itself.

Masses below zero, mass out of nothing, wrong check digits, unknown units, one lot twice in a list,
a case without a number, times ahead, declarations that change what they declare. Shape is sound by
the time these are asked.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any, Final

from app.standards.epcis.naming import broken_key, plain
from app.standards.epcis.shape import Flaw, at, moment
from app.standards.epcis.words import GRAMS, UNITS, bare

Event = Mapping[str, Any]


class Rule(StrEnum):
    """What is wrong with an event of sound shape, for a program."""

    QUANTITY = "quantity"
    """A quantity that is not above zero, or a part of a piece."""
    UNIT = "unit"
    """A code of a unit that there is not, or that nothing here is measured in."""
    CHECK_DIGIT = "check_digit"
    """A name that claims to be a GS1 key and is none."""
    TWICE = "twice"
    """One lot twice in one list: nobody could tell whether it was meant so."""
    PARENT = "parent"
    """Things are put into something that has no name."""
    GAINED = "gained"
    """More mass came out of a transformation than went in."""
    AHEAD = "ahead"
    """It is said to happen later than now."""
    SENSOR_TIME = "sensor_time"
    """A sensor read later than the event that tells of it."""
    TOLD_TWICE = "told_twice"
    """One word about a sensor stands both with its element and with a report."""
    DECLARATION = "declaration"
    """An error declaration that is not otherwise the event it declares wrong."""
    DID_NOT_OCCUR = "did_not_occur"
    """What did not occur is corrected by nothing (CBV 2.0, error reason)."""
    NOT_NEW = "not_new"
    """A transformation makes a lot that was there before."""
    OVERDRAWN = "overdrawn"
    """More is taken of a lot than there is of it."""
    HELD = "held"
    """Something on hold was used or sent."""


QUANTITIES: Final = (
    "quantityList", "childQuantityList", "inputQuantityList", "outputQuantityList",
)  # fmt: skip
SINGLES: Final = ("epcList", "childEPCs", "inputEPCList", "outputEPCList")
_COUNTS: Final = frozenset({"stock_taking", "cycle_counting"})
_OUTSIDE: Final = frozenset({"errorDeclaration", "recordTime"})
"""What a declaration has and the event it repeats does not."""
_LATEST: Final = ("time", "startTime", "endTime")


def flaws_of_events(events: Sequence[tuple[str, Event]], latest: datetime) -> Iterator[Flaw]:
    """Hold events of sound shape, each with its place, against every rule about one by itself."""
    for pointer, event in events:
        yield from _quantities(event, pointer)
        yield from _keys(event, pointer)
        yield from _times(event, pointer, latest)
        yield from _sensors(event, pointer)
        put_in = event["type"] == "AggregationEvent" and event["action"] == "ADD"
        if put_in and "parentID" not in event:
            yield Flaw(pointer, Rule.PARENT, "what they are put into has no parentID")
        if event["type"] == "TransformationEvent":
            yield from _mass(event, pointer)
    yield from _declarations(events)


def _quantities(event: Event, pointer: str) -> Iterator[Flaw]:
    counted = bare(event.get("bizStep")) in _COUNTS
    for name in QUANTITIES:
        there = f"{pointer}/{name}"
        seen = set()
        for number, each in enumerate(event.get(name, ())):
            here = at(there, number)
            yield from _one_quantity(each, here, counted=counted)
            lot = plain(each["epcClass"])
            if lot in seen:
                yield Flaw(here, Rule.TWICE, f"{each['epcClass']} stands in the list before")
            seen.add(lot)
    for name in SINGLES:
        named = [plain(each) for each in event.get(name, ())]
        for number, each in enumerate(named):
            if each in named[:number]:
                yield Flaw(f"{pointer}/{name}/{number}", Rule.TWICE, f"{each} stands there before")


def _one_quantity(each: Event, pointer: str, *, counted: bool) -> Iterator[Flaw]:
    unit, much = each.get("uom"), each.get("quantity")
    if unit is not None and unit not in UNITS:
        yield Flaw(
            f"{pointer}/uom", Rule.UNIT,
            f"{unit} is no unit that is known here; the kilogram is KGM (UN/ECE Rec. 20)",
        )  # fmt: skip
    if much is None:
        return
    if much < 0 or (much == 0 and not counted):
        yield Flaw(f"{pointer}/quantity", Rule.QUANTITY, f"{much} is not above zero")
    elif unit is None and much != much.to_integral_value():
        yield Flaw(f"{pointer}/quantity", Rule.QUANTITY, f"{much} is no number of whole pieces")


def _keys(event: Event, pointer: str) -> Iterator[Flaw]:
    for where, name in _names(event):
        said = broken_key(name)
        if said is not None:
            yield Flaw(f"{pointer}/{where}", Rule.CHECK_DIGIT, said)


def _names(event: Event) -> Iterator[tuple[str, str]]:
    """Name every identifier of an event and where it stands."""
    for name in QUANTITIES:
        for number, each in enumerate(event.get(name, ())):
            yield f"{name}/{number}/epcClass", each["epcClass"]
    for name in SINGLES:
        for number, each in enumerate(event.get(name, ())):
            yield f"{name}/{number}", each
    for name, inner in (("sourceList", "source"), ("destinationList", "destination")):
        for number, each in enumerate(event.get(name, ())):
            yield f"{name}/{number}/{inner}", each[inner]
    for name in ("readPoint", "bizLocation"):
        if name in event:
            yield f"{name}/id", event[name]["id"]
    if "parentID" in event:
        yield "parentID", event["parentID"]


def _times(event: Event, pointer: str, latest: datetime) -> Iterator[Flaw]:
    when = moment(event["eventTime"])
    if when is not None and when > latest:
        yield Flaw(f"{pointer}/eventTime", Rule.AHEAD, f"{event['eventTime']} lies ahead")


def _sensors(event: Event, pointer: str) -> Iterator[Flaw]:
    when = moment(event["eventTime"])
    for number, element in enumerate(event.get("sensorElementList", ())):
        here = f"{pointer}/sensorElementList/{number}"
        about = element.get("sensorMetadata", {})
        told = [(f"{here}/sensorMetadata", about)]
        for place, report in enumerate(element["sensorReport"]):
            there = f"{here}/sensorReport/{place}"
            told.append((there, report))
            for word in sorted(about.keys() & report.keys()):
                said = "it stands with the sensor element as well"
                yield Flaw(f"{there}/{word}", Rule.TOLD_TWICE, said)
        for there, each in told:
            for word in _LATEST:
                read = moment(each.get(word))
                if read is not None and when is not None and read > when:
                    said = f"{each[word]} is later than the event at {event['eventTime']}"
                    yield Flaw(f"{there}/{word}", Rule.SENSOR_TIME, said)


def grams(each: Event) -> Decimal | None:
    """Read a quantity as grams; None where it is none of mass or nobody says how much."""
    factor, much = GRAMS.get(each.get("uom", "")), each.get("quantity")
    return None if factor is None or much is None else much * factor


def _mass(event: Event, pointer: str) -> Iterator[Flaw]:
    """Add up both sides of a transformation, unless others share its pot or pieces go in.

    Pieces may be bags of coffee that are opened, so what comes out of them is not known here.
    """
    if "transformationID" in event or event.get("inputEPCList"):
        return
    into = [grams(each) for each in event.get("inputQuantityList", ())]
    out = [grams(each) for each in event.get("outputQuantityList", ())]
    came = sum((each for each in out if each is not None), Decimal(0))
    went = sum((each for each in into if each is not None), Decimal(0))
    if None not in into and came > went:
        yield Flaw(
            f"{pointer}/outputQuantityList", Rule.GAINED,
            f"{came.scaleb(-3).normalize():f} kg came out of {went.scaleb(-3).normalize():f} kg",
        )  # fmt: skip


def _declarations(events: Sequence[tuple[str, Event]]) -> Iterator[Flaw]:
    first = {
        event["eventID"]: event
        for _, event in reversed(events)
        if "eventID" in event and "errorDeclaration" not in event
    }
    for pointer, event in events:
        declared = event.get("errorDeclaration")
        if declared is None:
            continue
        if bare(declared.get("reason")) == "did_not_occur" and declared.get("correctiveEventIDs"):
            yield Flaw(
                f"{pointer}/errorDeclaration/correctiveEventIDs", Rule.DID_NOT_OCCUR,
                "what did not occur is corrected by nothing",
            )  # fmt: skip
        before = first.get(event.get("eventID"))
        if before is not None and without_declaration(before) != without_declaration(event):
            other = sorted(
                name
                for name in (before.keys() | event.keys()) - _OUTSIDE
                if before.get(name) != event.get(name)
            )
            said = f"it repeats {event['eventID']} with another {', '.join(other)}"
            yield Flaw(pointer, Rule.DECLARATION, said)


def without_declaration(event: Event) -> dict[str, Any]:
    """Take an event without what its error declaration adds."""
    return {name: member for name, member in event.items() if name not in _OUTSIDE}
