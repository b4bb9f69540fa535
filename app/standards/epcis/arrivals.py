"""What a document of EPCIS says came: sacks with their mass and lots, from whom, by what papers.

Whoever sends coffee may tell of it as received or only as shipped. Names of fields beside the
standard are read by their last part, whatever prefix their maker gave them.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final, NamedTuple
from urllib.parse import unquote

from app.standards.epcis.naming import plain
from app.standards.epcis.rules import grams
from app.standards.epcis.stock import Placed
from app.standards.epcis.words import bare

_OWNERS: Final = ("owning_party", "possessing_party", "location")


class SaidSack(NamedTuple):
    """A quantity of a class, which is a sack unless its lot says how many it is."""

    pointer: str
    name: str
    grams: Decimal
    condition: str | None


@dataclass
class SaidLot:
    """Sacks with one set of master data."""

    pointer: str
    words: Mapping[str, Any]
    """What is said of the lot, by the last part of each name."""
    sacks: list[SaidSack] = field(default_factory=list)


@dataclass
class SaidDelivery:
    """What came at one time from one party by one paper."""

    happened_at: str
    source: str | None
    papers: Mapping[str, str]
    """The number of each paper by its kind."""
    shipped: bool
    """It was only told as shipped: when it came is for whoever receives it to say."""
    pointers: list[str] = field(default_factory=list)
    lots: list[SaidLot] = field(default_factory=list)
    not_coffee: list[tuple[str, str]] = field(default_factory=list)
    """What is no mass, with its place."""


def last_part(name: str) -> str:
    """Read the last part of a name, whatever stands before it."""
    return unquote(re.split(r"[:/#]", name)[-1])


def words_of(said: Mapping[str, Any]) -> dict[str, Any]:
    """Name what is said by the last part of each name."""
    return {last_part(name): value for name, value in said.items()}


def said_deliveries(events: Sequence[Placed]) -> list[SaidDelivery]:
    """Gather what was received; where nothing was, what was shipped. Give events that stand."""
    of_lots = _master_data(events)
    steps = "receiving", "shipping"
    for step in steps:
        found: dict[tuple[object, ...], SaidDelivery] = {}
        for pointer, event in events:
            if event["type"] == "ObjectEvent" and bare(event.get("bizStep")) == step:
                _gather(found, pointer, event, of_lots)
        if found:
            return list(found.values())
    return []


def _master_data(events: Sequence[Placed]) -> dict[str, tuple[str, Mapping[str, Any]]]:
    """Find the master data of each class, with the place of the event that has them."""
    return {
        plain(each["epcClass"]): (f"{pointer}/ilmd", words_of(event["ilmd"]))
        for pointer, event in events
        if "ilmd" in event and event["type"] == "ObjectEvent"
        for each in event.get("quantityList", ())
    }


def _gather(
    found: dict[tuple[object, ...], SaidDelivery],
    pointer: str,
    event: Mapping[str, Any],
    of_lots: Mapping[str, tuple[str, Mapping[str, Any]]],
) -> None:
    if bare(event.get("disposition")) == "returned" or event["action"] == "DELETE":
        return
    source, papers = _source(event), _papers(event)
    shipped = bare(event["bizStep"]) == "shipping"
    key = (event["eventTime"], source, *sorted(papers.items()))
    one = found.setdefault(key, SaidDelivery(event["eventTime"], source, papers, shipped))
    one.pointers.append(pointer)
    lots = {lot.pointer: lot for lot in one.lots}
    conditions = dict(_conditions(event))
    for number, each in enumerate(event.get("quantityList", ())):
        here, mass = f"{pointer}/quantityList/{number}", grams(each)
        if mass is None:
            one.not_coffee.append((here, each["epcClass"]))
            continue
        where, words = of_lots.get(plain(each["epcClass"]), (pointer, {}))
        if where not in lots:
            lots[where] = SaidLot(where, words)
            one.lots.append(lots[where])
        condition = conditions.get(plain(each["epcClass"]))
        lots[where].sacks.append(SaidSack(here, each["epcClass"], mass, condition))
    for number, name in enumerate(event.get("epcList", ())):
        one.not_coffee.append((f"{pointer}/epcList/{number}", name))


def _source(event: Mapping[str, Any]) -> str | None:
    """Name who something comes from: its owner before whoever carries it."""
    named = {bare(each["type"]): each["source"] for each in event.get("sourceList", ())}
    return next((named[kind] for kind in _OWNERS if kind in named), None)


def _papers(event: Mapping[str, Any]) -> dict[str, str]:
    return {
        bare(each.get("type")): last_part(each["bizTransaction"])
        for each in event.get("bizTransactionList", ())
    }


def _conditions(event: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Read in which condition single sacks came, as our own documents say it."""
    said = words_of(event).get("conditions")
    for each in said if isinstance(said, list) else ():
        words = words_of(each) if isinstance(each, dict) else {}
        of, condition = words.get("of"), words.get("condition")
        if isinstance(of, str) and isinstance(condition, str):
            yield plain(of), condition


def party_names(document: Mapping[str, Any]) -> dict[str, str]:
    """Read what the header of a document calls the parties and places in it."""
    header = document.get("epcisHeader", {}).get("epcisMasterData", {})
    return {
        plain(element["id"]): attribute["attribute"]
        for kind in header.get("vocabularyList", ())
        for element in kind.get("vocabularyElementList", ())
        for attribute in element.get("attributes", ())
        if last_part(attribute["id"]) == "name" and isinstance(attribute.get("attribute"), str)
    }
