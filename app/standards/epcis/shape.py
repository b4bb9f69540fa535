"""The shape of an EPCIS 2.0 document: every place where it is not what the JSON schema asks for.

Written from the schema's demands (EPCIS 2.0, JSON binding) as a table of fields: each field is of
one form wherever it stands, and each kind of event has its own. Names that the standard does not
have are taken where they are addresses or have a prefix, and are looked at no further.
"""

import re
from collections.abc import Callable, Collection, Iterator, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any, Final, NamedTuple

from app.standards.epcis.words import (
    ACTIONS,
    ALERTS,
    COMPONENTS,
    DISPOSITIONS,
    ERRORS,
    MEASUREMENTS,
    PAPERS,
    PARTIES,
    STEPS,
)

SHAPE: Final = "shape"
"""The rule that a flaw of shape breaks."""
MOST_FLAWS: Final = 100


class Flaw(NamedTuple):
    """One thing that is not right: where, by which rule, and how."""

    pointer: str
    """A JSON Pointer in a URI fragment: `#/epcisBody/eventList/0`."""
    rule: str
    detail: str


Check = Callable[[Any, str], Iterator[Flaw]]
_URI: Final = re.compile(r"[A-Za-z][A-Za-z0-9+.\-]*:[^\s<>\"{}|\\^`\x00-\x1f]+")
_TIME: Final = re.compile(
    r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d+)?(?:Z|[+-]\d\d:\d\d)", re.ASCII | re.IGNORECASE
)
_OFFSET: Final = re.compile(r"[+-](?:(?:0[0-9]|1[0-3]):[0-5][0-9]|14:00)")
_UNIT: Final = re.compile(r"[A-Z0-9]{2,3}")
_VERSION: Final = re.compile(r"\d+(?:\.\d+)*", re.ASCII)
_HEX: Final = re.compile(r"[A-Fa-f0-9]+")
_OF_CBV: Final = re.compile(r"urn:epcglobal:cbv|https?://ns\.gs1\.org/cbv/")
_OF_GS1: Final = re.compile(r"https?://(?:www\.)?gs1\.org/voc/")
_SHOWN: Final = 60


def at(pointer: str, step: str | int) -> str:
    """Go one step down a pointer (RFC 6901)."""
    return f"{pointer}/{str(step).replace('~', '~0').replace('/', '~1')}"


def _flaw(pointer: str, value: object, wanted: str) -> Iterator[Flaw]:
    shown = f"“{value[:_SHOWN]}” is no" if isinstance(value, str) else "this is no"
    yield Flaw(pointer, SHAPE, f"{shown} {wanted}")


def is_uri(text: object) -> bool:
    """Tell whether a text is a URI with its scheme (RFC 3986); a prefix is a scheme as well."""
    return isinstance(text, str) and _URI.fullmatch(text) is not None


def moment(text: object) -> datetime | None:
    """Read a time with its offset (RFC 3339); None where it is none."""
    if not isinstance(text, str) or not _TIME.fullmatch(text):
        return None
    try:
        return datetime.fromisoformat(text.upper())
    except ValueError:
        return None


def _uri(value: object, pointer: str) -> Iterator[Flaw]:
    if not is_uri(value):
        yield from _flaw(pointer, value, "URI")


def _time(value: object, pointer: str) -> Iterator[Flaw]:
    if moment(value) is None:
        yield from _flaw(pointer, value, "time with its offset, as 2026-03-31T06:00:00Z")


def _number(value: object, pointer: str) -> Iterator[Flaw]:
    if not isinstance(value, Decimal):
        yield from _flaw(pointer, value, "number")


def _text(value: object, pointer: str) -> Iterator[Flaw]:
    if not isinstance(value, str):
        yield from _flaw(pointer, value, "text")


def _boolean(value: object, pointer: str) -> Iterator[Flaw]:
    if not isinstance(value, bool):
        yield from _flaw(pointer, value, "true or false")


def _anything(value: object, pointer: str) -> Iterator[Flaw]:
    del value, pointer
    yield from ()


def _matching(pattern: re.Pattern[str], wanted: str) -> Check:
    def check(value: object, pointer: str) -> Iterator[Flaw]:
        if not isinstance(value, str) or not pattern.fullmatch(value):
            yield from _flaw(pointer, value, wanted)

    return check


def _word(words: Collection[str], wanted: str, theirs: re.Pattern[str] = _OF_CBV) -> Check:
    """Take a bare word of the vocabulary, or an address that is none of the vocabulary's own."""

    def check(value: object, pointer: str) -> Iterator[Flaw]:
        known = isinstance(value, str) and value in words
        if not known and (not is_uri(value) or theirs.match(str(value))):
            yield from _flaw(pointer, value, f"{wanted}: a bare word of the CBV, or an address")

    return check


def _one_of(words: Collection[str], wanted: str) -> Check:
    def check(value: object, pointer: str) -> Iterator[Flaw]:
        if not isinstance(value, str) or value not in words:
            yield from _flaw(pointer, value, wanted)

    return check


def _list(each: Check, *, least: int = 0, once: bool = False) -> Check:
    def check(value: object, pointer: str) -> Iterator[Flaw]:
        if not isinstance(value, list):
            yield from _flaw(pointer, value, "list")
            return
        if len(value) < least:
            yield Flaw(pointer, SHAPE, "the list is empty")
        for number, one in enumerate(value):
            yield from each(one, at(pointer, number))
        if once and len({repr(one) for one in value}) < len(value):
            yield Flaw(pointer, SHAPE, "something stands twice in the list")

    return check


def _object(fields: Mapping[str, Check], *needed: str, more: bool = True) -> Check:
    """Take an object with these fields; `more` lets further ones in whose names are addresses."""

    def check(value: object, pointer: str) -> Iterator[Flaw]:
        if not isinstance(value, dict):
            yield from _flaw(pointer, value, "object")
            return
        for name in needed:
            if name not in value:
                yield Flaw(at(pointer, name), SHAPE, f"{name} is missing")
        for name, member in value.items():
            if name in fields:
                yield from fields[name](member, at(pointer, name))
            elif not more or not is_uri(name):
                why = "no such field here; a field of one's own has a prefix or is an address"
                yield Flaw(at(pointer, name), SHAPE, f"{name[:_SHOWN]}: {why}")

    return check


_disposition = _word(DISPOSITIONS, "disposition")
_quantity = _object(
    {"epcClass": _uri, "quantity": _number, "uom": _matching(_UNIT, "code of a unit")},
    "epcClass", more=False,
)  # fmt: skip
_place = _object({"id": _uri}, "id")
_paper = _object(
    {"type": _word(PAPERS, "kind of document"), "bizTransaction": _uri},
    "bizTransaction", more=False,
)  # fmt: skip
_party = _word(PARTIES, "kind of party")
_device: Final[Mapping[str, Check]] = {
    "time": _time, "deviceID": _uri, "deviceMetadata": _uri, "rawData": _uri,
    "dataProcessingMethod": _uri, "bizRules": _uri,
}  # fmt: skip
_report = _object(
    {
        **_device, "type": _word(MEASUREMENTS, "kind of measurement", _OF_GS1),
        "exception": _word(ALERTS, "alert", _OF_GS1), "microorganism": _uri,
        "chemicalSubstance": _uri, "coordinateReferenceSystem": _uri,
        "component": _word(COMPONENTS, "component"), "stringValue": _text,
        "booleanValue": _boolean, "hexBinaryValue": _matching(_HEX, "hexadecimal number"),
        "uriValue": _uri, "uom": _text,
        **dict.fromkeys(
            ("value", "minValue", "maxValue", "meanValue", "sDev", "percRank", "percValue"), _number
        ),
    },
    "type",
)  # fmt: skip
_sensor = _object(
    {
        "sensorMetadata": _object({**_device, "startTime": _time, "endTime": _time}),
        "sensorReport": _list(_report, least=1),
    },
    "sensorReport",
)
_lasting = _object(
    {name: _list(_disposition, least=1, once=True) for name in ("set", "unset")}, more=False
)


def _lasts(value: object, pointer: str) -> Iterator[Flaw]:
    yield from _lasting(value, pointer)
    if value == {}:
        yield Flaw(pointer, SHAPE, "neither set nor unset")


def _certified(value: object, pointer: str) -> Iterator[Flaw]:
    yield from (_list(_uri) if isinstance(value, list) else _uri)(value, pointer)


def _context(value: object, pointer: str) -> Iterator[Flaw]:
    several = value if isinstance(value, list) else [value]
    if not all(isinstance(each, dict) or is_uri(each) for each in several):
        yield Flaw(pointer, SHAPE, "a context is an address, an object, or a list of them")


_EVERY: Final[Mapping[str, Check]] = {
    "@context": _context, "type": _text, "eventTime": _time, "recordTime": _time,
    "eventTimeZoneOffset": _matching(_OFFSET, "offset, as +01:00"), "eventID": _uri,
    "certificationInfo": _certified,
    "errorDeclaration": _object(
        {"declarationTime": _time, "reason": _word(ERRORS, "reason"),
         "correctiveEventIDs": _list(_uri)},
        "declarationTime",
    ),
}  # fmt: skip
_COMMON: Final[Mapping[str, Check]] = {
    **_EVERY,
    "action": _one_of(ACTIONS, "ADD, OBSERVE or DELETE"),
    "bizStep": _word(STEPS, "business step"), "disposition": _disposition,
    "readPoint": _place, "bizLocation": _place, "bizTransactionList": _list(_paper),
    "sourceList": _list(_object({"type": _party, "source": _uri}, "type", "source", more=False)),
    "destinationList": _list(
        _object({"type": _party, "destination": _uri}, "type", "destination", more=False)
    ),
    "sensorElementList": _list(_sensor),
}  # fmt: skip
_THINGS: Final[Mapping[str, Check]] = {
    "epcList": _list(_uri, once=True), "quantityList": _list(_quantity),
}  # fmt: skip
_INSIDE: Final[Mapping[str, Check]] = {
    "parentID": _uri, "childEPCs": _list(_uri), "childQuantityList": _list(_quantity),
}  # fmt: skip
_BORN: Final[Mapping[str, Check]] = {"persistentDisposition": _lasts, "ilmd": _object({})}
_FIELDS: Final[Mapping[str, Mapping[str, Check]]] = {
    "ObjectEvent": {**_COMMON, **_THINGS, **_BORN},
    "AggregationEvent": {**_COMMON, **_INSIDE},
    "AssociationEvent": {**_COMMON, **_INSIDE},
    "TransactionEvent": {
        **_COMMON, **_THINGS, "parentID": _uri, "bizTransactionList": _list(_paper, least=1),
    },
    "TransformationEvent": {
        **{name: check for name, check in _COMMON.items() if name != "action"}, **_BORN,
        "inputEPCList": _list(_uri, once=True), "outputEPCList": _list(_uri, once=True),
        "inputQuantityList": _list(_quantity), "outputQuantityList": _list(_quantity),
        "transformationID": _uri,
    },
}  # fmt: skip
_NEEDED: Final[Mapping[str, tuple[str, ...]]] = {
    "ObjectEvent": ("action",),
    "AggregationEvent": ("action",),
    "AssociationEvent": ("action", "parentID"),
    "TransactionEvent": ("action", "bizTransactionList"),
    "TransformationEvent": (),
}


def _event(event: object, pointer: str) -> Iterator[Flaw]:
    kind = event.get("type") if isinstance(event, dict) else None
    if not isinstance(event, dict) or not isinstance(kind, str):
        yield Flaw(at(pointer, "type"), SHAPE, "an event is an object that names its type")
        return
    needed = ("eventTime", "eventTimeZoneOffset", *_NEEDED.get(kind, ()))
    if kind in _FIELDS:
        yield from _object(_FIELDS[kind], *needed)(event, pointer)
        yield from _about_something(kind, event, pointer)
    elif is_uri(kind):  # A kind of event of somebody's own.
        theirs = dict.fromkeys(event.keys() - _EVERY.keys(), _anything)
        yield from _object({**_EVERY, **theirs}, *needed)(event, pointer)
    else:
        yield from _flaw(at(pointer, "type"), kind, "kind of event")


def _about_something(kind: str, event: Mapping[str, object], pointer: str) -> Iterator[Flaw]:
    """Look for what an event is about, and for master data where none can be."""
    action = event.get("action")
    if kind == "TransformationEvent":
        into, out = (
            any(event.get(f"{side}{name}") for name in ("EPCList", "QuantityList"))
            for side in ("input", "output")
        )
        if not ((into and out) or ("transformationID" in event and (into or out))):
            yield Flaw(pointer, SHAPE, "a transformation has inputs and outputs")
        return
    if "ilmd" in event and action != "ADD":
        yield Flaw(at(pointer, "ilmd"), SHAPE, "master data go with ADD alone")
    if kind in {"ObjectEvent", "TransactionEvent"}:
        sensed = event.get("sensorElementList") and "readPoint" in event
        named = "epcList" in event or event.get("quantityList")
        sensed = sensed if kind == "ObjectEvent" else action == "DELETE"
    else:
        named = event.get("childEPCs") or event.get("childQuantityList")
        sensed = action == "DELETE"
    if not named and not sensed:
        yield Flaw(pointer, SHAPE, "the event is about nothing")


_events = _list(_event)
_vocabularies = _list(_object({
    "type": _uri,
    "vocabularyElementList": _list(_object({
        "id": _uri,
        "attributes": _list(_object({"id": _uri, "attribute": _anything}, "id")),
        "children": _list(_uri),
    }, "id")),
}, "type"))  # fmt: skip
_FRAME: Final[Mapping[str, Check]] = {
    "@context": _context, "id": _uri, "type": _text,
    "schemaVersion": _matching(_VERSION, "version"), "creationDate": _time,
}  # fmt: skip
_document = _object(
    {
        **_FRAME, "instanceIdentifier": _text, "sender": _text, "receiver": _text,
        "epcisHeader": _object(
            {"epcisMasterData": _object({"vocabularyList": _vocabularies})}
        ),
        "epcisBody": _object({"eventList": _events}, "eventList"),
    },
    "@context", "schemaVersion", "creationDate", "epcisBody",
)  # fmt: skip
_results = _object({"eventList": _events, "vocabularyList": _vocabularies}, "eventList")
_answered = _object(
    {"queryName": _text, "subscriptionID": _text, "resultsBody": _results},
    "queryName", "resultsBody",
)  # fmt: skip
_query_document = _object(
    {**_FRAME, "epcisBody": _object({"queryResults": _answered}, "queryResults")},
    "@context", "epcisBody",
)  # fmt: skip


def flaws_of_shape(document: object) -> Iterator[Flaw]:
    """Name every place where a document is not one of EPCIS 2.0, or the result of a query."""
    kind = document.get("type") if isinstance(document, dict) else None
    if kind == "EPCISDocument":
        yield from _document(document, "#")
    elif kind == "EPCISQueryDocument":
        yield from _query_document(document, "#")
    else:
        yield from _flaw("#/type", kind, "EPCISDocument or EPCISQueryDocument")


def events_of(document: Mapping[str, Any]) -> tuple[str, list[dict[str, Any]]]:
    """Find the events of a document of sound shape, and where their list stands."""
    body = document["epcisBody"]
    if document["type"] == "EPCISDocument":
        return "#/epcisBody/eventList", body["eventList"]
    return "#/epcisBody/queryResults/resultsBody/eventList", body["queryResults"]["resultsBody"][
        "eventList"
    ]
