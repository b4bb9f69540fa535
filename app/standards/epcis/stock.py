"""Following the lots of a document from event to event: what there is of each, and what is on hold.

A document seldom tells everything. What it takes from without having opened it is of unknown
origin: that is reported, not refused. What it opened itself is held against what it takes.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any, Final, NamedTuple

from app.standards.epcis.naming import plain
from app.standards.epcis.rules import Rule, grams, without_declaration
from app.standards.epcis.shape import Flaw, moment
from app.standards.epcis.words import STOPS, bare

Placed = tuple[str, Mapping[str, Any]]
"""An event and where it stands."""
_ONE_MORE: Final = "creating_class_instance"
"""The step of what is added to a lot that may have been there before."""
_MASS: Final = "g"
_EARLIEST: Final = datetime.min.replace(tzinfo=UTC)


class Unknown(NamedTuple):
    """Something that a document takes from and nowhere opens."""

    pointer: str
    """Where it is taken first."""
    name: str


@dataclass
class _Lot:
    """What is known of one lot."""

    unit: str | None
    left: Decimal | None
    """None where it cannot be told: it was opened elsewhere, or in other units."""
    held: set[str] = field(default_factory=set)

    def add(self, unit: str | None, much: Decimal | None) -> None:
        if unit != self.unit or much is None or self.left is None:
            self.left = None
        else:
            self.left += much


@dataclass
class Followed:
    """What following a document finds."""

    flaws: list[Flaw] = field(default_factory=list)
    unknown: list[Unknown] = field(default_factory=list)


def standing(events: Sequence[Placed]) -> list[Placed]:
    """Leave out error declarations and the events they declare wrong (EPCIS 2.0, error)."""
    wrong_ids = set()
    wrong = []
    for _, event in events:
        if "errorDeclaration" in event:
            if "eventID" in event:
                wrong_ids.add(event["eventID"])
            else:
                wrong.append(without_declaration(event))
    return [
        (pointer, event)
        for pointer, event in events
        if "errorDeclaration" not in event
        and event.get("eventID") not in wrong_ids
        and (not wrong or without_declaration(event) not in wrong)
    ]


def in_order(events: Sequence[Placed]) -> list[Placed]:
    """Bring events into the order in which they were written down, else in which they were."""
    recorded = all("recordTime" in event for _, event in events)
    name = "recordTime" if recorded else "eventTime"
    return sorted(events, key=lambda placed: moment(placed[1][name]) or _EARLIEST)


def follow(events: Sequence[Placed]) -> Followed:
    """Follow what stands of a document, in its order."""
    book = _Book()
    for pointer, event in in_order(standing(events)):
        book.take_in(pointer, event)
    return book.found


class _Book:
    """The lots of a document as they are after some of its events."""

    def __init__(self) -> None:
        self.found = Followed()
        self._lots: dict[str, _Lot] = {}
        self._told: set[str] = set()

    def take_in(self, pointer: str, event: Mapping[str, Any]) -> None:
        kind, step = event["type"], bare(event.get("bizStep"))
        if kind == "TransformationEvent":
            self._transform(pointer, event, step)
        elif kind == "ObjectEvent":
            self._happen(pointer, event, step)
        elif kind == "AggregationEvent" and event["action"] == "ADD":
            for where, each in _things(event, "childEPCs", "childQuantityList"):
                self._known(f"{pointer}/{where}", each)
            if "parentID" in event:
                self._lots.setdefault(plain(event["parentID"]), _Lot(None, None))
        lasting = event.get("persistentDisposition", {})
        named = _things(event, "epcList", "quantityList", "outputQuantityList")
        for _, each in named if lasting else ():
            self._mark(each, lasting)

    def _transform(self, pointer: str, event: Mapping[str, Any], step: str) -> None:
        for where, each in _things(event, "inputEPCList", "inputQuantityList"):
            self._take(f"{pointer}/{where}", each, uses=True)
        again = step == _ONE_MORE or "transformationID" in event
        for where, each in _things(event, "outputEPCList", "outputQuantityList"):
            name = plain(each["epcClass"])
            if name in self._lots and not again:
                said = f"{each['epcClass']} was there before; a new lot has a new name"
                self.found.flaws.append(Flaw(f"{pointer}/{where}", Rule.NOT_NEW, said))
            self._open(each, again=again)

    def _happen(self, pointer: str, event: Mapping[str, Any], step: str) -> None:
        action = event["action"]
        things = list(_things(event, "epcList", "quantityList"))
        if action == "ADD":
            for _, each in things:
                self._open(each, again=step == _ONE_MORE)
        elif action == "DELETE":
            for where, each in things:
                self._take(f"{pointer}/{where}", each, uses=False)
        elif step == "receiving" and bare(event.get("disposition")) != "returned":
            for _, each in things:
                if plain(each["epcClass"]) not in self._lots:
                    self._open(each, again=False)
        elif step == "shipping":
            for where, each in things:
                self._known(f"{pointer}/{where}", each)
                self._refuse_held(f"{pointer}/{where}", each)

    def _open(self, each: Mapping[str, Any], *, again: bool) -> None:
        name, (unit, much) = plain(each["epcClass"]), _amount(each)
        lot = self._lots.get(name)
        if lot is None:
            self._lots[name] = _Lot(unit, None if again else much)
        else:
            lot.add(unit, much)

    def _known(self, pointer: str, each: Mapping[str, Any]) -> bool:
        name = plain(each["epcClass"])
        if name in self._lots:
            return True
        if name not in self._told:
            self._told.add(name)
            self.found.unknown.append(Unknown(pointer, each["epcClass"]))
        return False

    def _take(self, pointer: str, each: Mapping[str, Any], *, uses: bool) -> None:
        if not self._known(pointer, each):
            return
        if uses:
            self._refuse_held(pointer, each)
        lot, (unit, much) = self._lots[plain(each["epcClass"])], _amount(each)
        there = lot.left
        lot.add(unit, None if much is None else -much)
        if there is not None and lot.left is not None and lot.left < 0:
            asked, left = _shown(-lot.left + there, unit), _shown(there, unit)
            said = f"{asked} are taken of {each['epcClass']}; {left} are left"
            self.found.flaws.append(Flaw(pointer, Rule.OVERDRAWN, said))

    def _refuse_held(self, pointer: str, each: Mapping[str, Any]) -> None:
        lot = self._lots.get(plain(each["epcClass"]))
        if lot is not None and lot.held:
            said = f"{each['epcClass']} is {' and '.join(sorted(lot.held))}"
            self.found.flaws.append(Flaw(pointer, Rule.HELD, said))

    def _mark(self, each: Mapping[str, Any], lasting: Mapping[str, Iterable[str]]) -> None:
        lot = self._lots.get(plain(each["epcClass"]))
        if lot is None:
            return
        unit, much = _amount(each)
        whole = much is None or lot.left is None or unit != lot.unit or much >= lot.left
        # A part of a lot on hold cannot be told from the rest by its name.
        if whole:
            lot.held |= STOPS.intersection(map(bare, lasting.get("set", ())))
        lot.held -= {bare(each) for each in lasting.get("unset", ())}


def _things(event: Mapping[str, Any], *names: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Name everything in some lists of an event; a single object is one without a quantity."""
    for name in names:
        for number, each in enumerate(event.get(name, ())):
            yield f"{name}/{number}", each if isinstance(each, Mapping) else {"epcClass": each}


def _amount(each: Mapping[str, Any]) -> tuple[str | None, Decimal | None]:
    """Read a quantity in grams where it is one of mass, else in its own unit."""
    mass = grams(each)
    return (each.get("uom"), each.get("quantity")) if mass is None else (_MASS, mass)


def _shown(much: Decimal, unit: str | None) -> str:
    return f"{much.scaleb(-3).normalize():f} kg" if unit == _MASS else f"{much.normalize():f}"
