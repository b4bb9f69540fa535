"""Events and documents of EPCIS 2.0 as JSON, made out of their parts.

Words of the vocabulary stand bare, words of our own behind a prefix that the document's context
explains. Every number is an exact decimal.
"""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any, Final

from app.standards.epcis.words import KILOGRAM

CONTEXT: Final = "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"
OWN: Final = "jutebook"
"""The prefix of our own words."""
LOT_NUMBER: Final = "cbvmda:lotNumber"
ORIGIN: Final = "cbvmda:countryOfOrigin"
BEST_BEFORE: Final = "cbvmda:bestBeforeDate"
NAME: Final = "cbvmda:name"
_PLACES: Final = "urn:epcglobal:epcis:vtype:Location"
_PARTIES: Final = "urn:epcglobal:epcis:vtype:SourceDest"

Event = dict[str, Any]


def own(word: str) -> str:
    """Write one of our own words."""
    return f"{OWN}:{word}"


def quantity(epc_class: str, kilograms: Decimal | None = None) -> Event:
    """Name so many kilograms of a class, or some of it where nobody says how much."""
    if kilograms is None:
        return {"epcClass": epc_class}
    return {"epcClass": epc_class, "quantity": kilograms, "uom": KILOGRAM}


def pieces(epc_class: str, count: int) -> Event:
    """Name so many pieces of a class: a quantity without a unit counts (EPCIS 2.0, uom)."""
    return {"epcClass": epc_class, "quantity": count}


def happened(moment: str, event_id: str, learnt: str) -> Event:
    """Begin an event: when it was, in UTC, when it was written down, and which one it is."""
    return {
        "eventTime": moment, "eventTimeZoneOffset": "+00:00", "recordTime": learnt,
        "eventID": event_id,
    }  # fmt: skip


def object_event(begun: Event, action: str, step: str, **parts: object) -> Event:
    """Make an event about things that stay what they are; what is empty is left out."""
    return _whole("ObjectEvent", begun, {"action": action, "bizStep": step, **parts})


def transformation(begun: Event, inputs: Sequence[Event], output: Event, **parts: object) -> Event:
    """Make an event in which things become another.

    It has no identifier of its own: all that share one would be suspect for one another (EPCIS 2.0,
    transformation event).
    """
    named: dict[str, object] = {
        "inputQuantityList": list(inputs), "outputQuantityList": [output],
        "bizStep": "commissioning", **parts,
    }  # fmt: skip
    return _whole("TransformationEvent", begun, named)


def aggregation(begun: Event, action: str, parent: str, **parts: object) -> Event:
    """Make an event in which things are put into another one, or taken out of it."""
    step = "packing" if action == "ADD" else "unpacking"
    named = {"parentID": parent, "action": action, "bizStep": step, **parts}
    return _whole("AggregationEvent", begun, named)


def _whole(kind: str, begun: Event, parts: Mapping[str, object]) -> Event:
    there = {name: part for name, part in parts.items() if part not in (None, [], {})}
    return {"type": kind, **begun, **there}


def at(place: str | None) -> Event | None:
    """Name a place as a read point or a location of business."""
    return {"id": place} if place else None


def paper(kind: str, name: str) -> Event:
    """Name a document that an event goes with."""
    return {"type": kind, "bizTransaction": name}


def handed_over(source: str, destination: str, kind: str = "owning_party") -> dict[str, object]:
    """Say from whom something comes and to whom it goes."""
    return {
        "sourceList": [{"type": kind, "source": source}],
        "destinationList": [{"type": kind, "destination": destination}],
    }


def declared_wrong(event: Event, when: str, why: str | None, by: Iterable[str] = ()) -> Event:
    """Repeat an event unchanged with the declaration that it was wrong.

    One that did not occur names no others (CBV 2.0, error reason), so whoever names some says
    that the data were incorrect.
    """
    corrective = list(by)
    said: Event = {
        "declarationTime": when,
        "reason": "incorrect_data" if corrective else "did_not_occur",
    }
    if corrective:
        said["correctiveEventIDs"] = corrective
    if why:
        said[own("why")] = why
    return event | {"recordTime": when, "errorDeclaration": said}


def document(
    events: Sequence[Event],
    namespace: str,
    created: str,
    *,
    parties: Mapping[str, str],
    places: Mapping[str, str],
) -> Event:
    """Put events into a document, with the names of the parties and places they mention."""
    known = [
        {"type": kind, "vocabularyElementList": [_named(*each) for each in sorted(names.items())]}
        for kind, names in ((_PARTIES, parties), (_PLACES, places))
        if names
    ]
    header = {"epcisHeader": {"epcisMasterData": {"vocabularyList": known}}} if known else {}
    return {
        "@context": [CONTEXT, {OWN: namespace}],
        "type": "EPCISDocument",
        "schemaVersion": "2.0",
        "creationDate": created,
        **header,
        "epcisBody": {"eventList": list(events)},
    }


def _named(name: str, said: str) -> Event:
    return {"id": name, "attributes": [{"id": NAME, "attribute": said}]}


def merged(elements: Iterable[Event]) -> list[Event]:
    """Name each lot once in a list: what is named twice in one unit adds up."""
    found: dict[tuple[str, object], Event] = {}
    for each in elements:
        key = (each["epcClass"], each.get("uom"))
        before = found.get(key)
        if before is None:
            found[key] = each
        elif "quantity" in before and "quantity" in each:
            found[key] = each | {"quantity": before["quantity"] + each["quantity"]}
        elif "quantity" in each:
            found[key] = each
    return list(found.values())
