"""Reading a document of a supplier or a packer: what it says came, as a delivery to look over.

Nothing is booked. What came becomes the body of a delivery that somebody completes and sends;
everything that was not understood, or comes from nowhere, is named with its place.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal
from itertools import islice
from typing import Any, Final

from pydantic import TypeAdapter, ValidationError
from sqlalchemy import select
from sqlmodel import Session, col

from app.epcis.schemas import (
    Finding,
    Missing,
    ProposalsOut,
    ProposedDelivery,
    ReadEvent,
    SaidMade,
    SaidQuantity,
    UnknownOrigin,
)
from app.green.actions import SUPPLIERS
from app.green.schemas import DeliveryIn
from app.green.tables import Condition, Supplier
from app.ledger.tables import Unit
from app.settings import Settings
from app.shared.codes import NewCode
from app.shared.db import batched
from app.shared.mass import HEAVIEST_G, kg_from_grams
from app.shared.problems import Refused, pointer
from app.shared.times import now
from app.standards.countries import is_country
from app.standards.epcis.arrivals import (
    SaidDelivery,
    SaidLot,
    SaidSack,
    party_names,
    said_deliveries,
)
from app.standards.epcis.naming import gln_of, lot_of, plain
from app.standards.epcis.rules import flaws_of_events, grams
from app.standards.epcis.shape import MOST_FLAWS, Flaw, events_of, flaws_of_shape
from app.standards.epcis.stock import Placed, follow, standing
from app.standards.epcis.words import bare
from app.standards.ico_marks import parse_mark
from app.standards.json_text import NotJsonError, parse
from app.tracing.queries import CAUTION

_TEXTS: Final = (
    ("crop_year", "cropYear", 100), ("process", "process", 200), ("variety", "variety", 200),
    ("region", "region", 200), ("producer", "producer", 200), ("certificate", "certificate", 500),
)  # fmt: skip
_DAYS: Final = (("shipped_on", "shippedOn"), ("harvest_ended_on", "harvestEndedOn"))
_MASSES: Final = (("advised_kg", "advisedKg"), ("shipped_kg", "shippedKg"))
_NOTED: Final = (
    ("supplierLot", "lot of the supplier"), ("ddsReference", "due-diligence statement"),
)  # fmt: skip
_CODE: Final = TypeAdapter[str](NewCode)
_MANY: Final = 5000
_HEAVIEST: Final = HEAVIEST_G // 1000
"""Kilograms that are no slip of the finger."""


def read_document(content: bytes, settings: Settings) -> Mapping[str, Any]:
    """Read a document, and refuse one that is not of the standard or cannot be true.

    Raises:
        Refused: `invalid` naming each flaw with its place and the rule that it breaks.
    """
    try:
        document = parse(content)
    except NotJsonError as error:
        raise _flawed([Flaw("#", "json", str(error))]) from error
    flaws = list(islice(flaws_of_shape(document), MOST_FLAWS))
    if flaws or not isinstance(document, dict):
        raise _flawed(flaws)
    events = placed(document)
    latest = now() + timedelta(minutes=settings.ahead_minutes)
    flaws = [*islice(flaws_of_events(events, latest), MOST_FLAWS), *follow(events).flaws]
    if flaws:
        raise _flawed(flaws)
    return document


def placed(document: Mapping[str, Any]) -> list[Placed]:
    """Name the events of a document, each with its place."""
    base, events = events_of(document)
    return [(f"{base}/{number}", event) for number, event in enumerate(events)]


def _flawed(flaws: Sequence[Flaw]) -> Refused:
    first, more = flaws[0], len(flaws) - 1
    further = f" (and {more} more)" if more else ""
    return Refused(
        "invalid",
        f"{first.pointer}: {first.detail}{further}",
        errors=[
            {"pointer": flaw.pointer, "rule": str(flaw.rule), "detail": flaw.detail}
            for flaw in flaws[:MOST_FLAWS]
        ],
    )


def propose(session: Session, document: Mapping[str, Any]) -> ProposalsOut:
    """Say what a document means for this book."""
    events = placed(document)
    standing_events = standing(events)
    findings: list[Finding] = []
    said = said_deliveries(standing_events)
    names = party_names(document)
    taken = _taken(session, said)
    for place, name in (each for one in said for each in one.not_coffee):
        findings.append(Finding(
            pointer=place, finding="no_mass",
            detail=f"{name} has no kilograms: it is not proposed as green coffee",
        ))  # fmt: skip
    deliveries = [_proposed(session, each, names, taken, findings) for each in said if each.lots]
    used = {each for one in deliveries for each in one.events}
    return ProposalsOut(
        deliveries=deliveries,
        made=list(_made(standing_events)),
        unknown_origin=[
            UnknownOrigin(pointer=each.pointer, name=each.name, lot=lot_of(each.name))
            for each in follow(events).unknown
        ],
        findings=findings,
        events=list(_understood(events, {pointer for pointer, _ in standing_events}, used)),
        caution=CAUTION,
    )


def _understood(
    events: Iterable[Placed], standing_there: set[str], used: set[str]
) -> Iterator[ReadEvent]:
    for where, event in events:
        step = bare(event.get("bizStep")) or None
        if "errorDeclaration" in event:
            read = "declaration"
        elif where not in standing_there:
            read = "declared_wrong"
        elif where in used:
            read = "delivery"
        elif event["type"] == "TransformationEvent":
            read = "made"
        elif "ilmd" in event:
            read = "master_data"
        else:
            read = "not_used"
        yield ReadEvent(pointer=where, type=event["type"], step=step, read_as=read)


def _made(events: Iterable[Placed]) -> Iterator[SaidMade]:
    for where, event in events:
        if event["type"] == "TransformationEvent":
            yield SaidMade(
                pointer=where,
                happened_at=event["eventTime"],
                inputs=list(_quantities(event, "input")),
                outputs=list(_quantities(event, "output")),
            )


def _quantities(event: Mapping[str, Any], side: str) -> Iterator[SaidQuantity]:
    for name in event.get(f"{side}EPCList", ()):
        yield SaidQuantity(name=name, lot=lot_of(name), kg=None, pieces=None)
    for each in event.get(f"{side}QuantityList", ()):
        mass, name = grams(each), each["epcClass"]
        pieces = each.get("quantity") if "uom" not in each else None
        yield SaidQuantity(
            name=name, lot=lot_of(name), kg=None if mass is None else mass.scaleb(-3), pieces=pieces
        )


def _taken(session: Session, said: Sequence[SaidDelivery]) -> set[str]:
    """Find the codes among those proposed that the book has already."""
    codes = {
        code
        for one in said
        for lot in one.lots
        for code in (_lot_code(lot), *(_code(lot_of(sack.name)) for sack in lot.sacks))
        if code is not None
    }
    return {
        code
        for some in batched(sorted(codes), 500)
        for code in session.scalars(select(col(Unit.code)).where(col(Unit.code).in_(some)))
    }


def _code(said: object) -> str | None:
    """Take what somebody calls a lot as our code, where it has the form of one."""
    try:
        return _CODE.validate_python(said)
    except ValidationError:
        return None


def _lot_code(lot: SaidLot) -> str | None:
    return _code(lot.words.get("lotNumber") or lot.words.get("parentLot"))


def _proposed(
    session: Session, said: SaidDelivery, names: Mapping[str, str], taken: set[str],
    findings: list[Finding],
) -> ProposedDelivery:  # fmt: skip
    where = said.pointers[0]
    body: dict[str, Any] = {
        "supplier": _supplier(session, said, names, where, findings),
        "reference": said.papers.get("desadv") or said.papers.get("bol"),
        "received_at": None if said.shipped else said.happened_at,
        "lots": [_lot(lot, taken, findings) for lot in said.lots],
    }
    if said.shipped:
        findings.append(Finding(
            pointer=where, finding="only_shipped",
            detail="it is told as shipped, not as received: say when it came",
        ))  # fmt: skip
    body = {name: value for name, value in body.items() if value is not None}
    missing = _missing(body)
    known = not any(
        each.finding == "unknown_supplier" and each.pointer == where for each in findings
    )
    return ProposedDelivery(
        events=said.pointers, ready=known and not missing, missing=missing, delivery=body
    )


def _missing(body: Mapping[str, Any]) -> list[Missing]:
    """Hold a body against what a delivery asks for."""
    try:
        DeliveryIn.model_validate(body)
    except ValidationError as error:
        return [
            Missing(pointer=pointer(flaw["loc"]), detail=flaw["msg"].removeprefix("Value error, "))
            for flaw in error.errors(include_url=False)
        ]
    return []


def _supplier(
    session: Session, said: SaidDelivery, names: Mapping[str, str], where: str,
    findings: list[Finding],
) -> str | None:  # fmt: skip
    """Find who it came from among the suppliers, by the name that the header gives."""
    name = names.get(plain(said.source)) if said.source else None
    if name is not None:
        known = session.scalars(
            select(col(Supplier.name)).where(col(Supplier.name_key) == SUPPLIERS.fold(name))
        ).first()
        if known is not None:
            return known
    gln = gln_of(said.source) if said.source else None
    called = name or (f"GLN {gln}" if gln else said.source) or "nobody"
    findings.append(Finding(
        pointer=where, finding="unknown_supplier",
        detail=f"it comes from {called}, who is no supplier here: enter it, or name another",
    ))  # fmt: skip
    return name


def _lot(lot: SaidLot, taken: set[str], findings: list[Finding]) -> dict[str, Any]:
    words = lot.words
    printed = _text(words.get("lotNumber") or words.get("parentLot"), 500)
    origin = str(words.get("countryOfOrigin", "")).upper()
    body: dict[str, Any] = {
        "code": _free(_lot_code(lot), lot.pointer, taken, findings),
        "name": _text(words.get("name"), 500) or printed,
        "origin": origin if is_country(origin) else None,
        "ico_mark": _mark(words),
        "note": _note(words),
    }
    if body["origin"] is None:
        findings.append(Finding(
            pointer=lot.pointer, finding="unknown_origin_country",
            detail="no country of origin is said as two letters of ISO 3166-1",
        ))  # fmt: skip
    body |= {name: _text(words.get(word), longest) for name, word, longest in _TEXTS}
    body |= {name: _day(words.get(word)) for name, word in _DAYS}
    body |= {name: _mass(words.get(word)) for name, word in _MASSES}
    swept = [sack for sack in lot.sacks if sack.condition == Condition.SWEEPINGS]
    if swept:
        body["sweepings_kg"] = _whole(sum((each.grams for each in swept), Decimal(0)))
    sacks = [sack for sack in lot.sacks if sack.condition != Condition.SWEEPINGS]
    body["sacks"] = list(_sacks(lot, sacks, taken, findings))
    return {name: value for name, value in body.items() if value is not None}


def _sacks(
    lot: SaidLot, sacks: Sequence[SaidSack], taken: set[str], findings: list[Finding]
) -> Iterator[dict[str, Any]]:
    count = lot.words.get("sackCount")
    if len(sacks) == 1 and isinstance(count, Decimal) and 1 < count <= _MANY:
        each = sacks[0].grams / count
        if count == count.to_integral_value() and each == each.to_integral_value():
            yield {"count": int(count), "net_kg": _whole(each)}
            return
        findings.append(Finding(
            pointer=sacks[0].pointer, finding="not_by_sack",
            detail=f"{count} sacks are said and one mass, which they do not share evenly",
        ))  # fmt: skip
    for sack in sacks:
        if sack.grams != sack.grams.to_integral_value():
            findings.append(Finding(
                pointer=sack.pointer, finding="rounded",
                detail=f"{sack.grams.normalize():f} g are no whole grams: weigh it",
            ))  # fmt: skip
        said = {
            "code": _free(_code(lot_of(sack.name)), sack.pointer, taken, findings),
            "net_kg": _whole(sack.grams),
            "condition": sack.condition if sack.condition in set(Condition) else None,
        }
        yield {name: value for name, value in said.items() if value is not None}


def _free(code: str | None, where: str, taken: set[str], findings: list[Finding]) -> str | None:
    """Leave out a code that the book has."""
    if code not in taken:
        return code
    findings.append(Finding(
        pointer=where, finding="code_taken", detail=f"{code} is in the book already",
    ))  # fmt: skip
    return None


def _whole(mass: Decimal) -> Decimal:
    """Write grams as kilograms, to the gram."""
    return kg_from_grams(int(mass.to_integral_value(ROUND_HALF_UP)))


def _text(said: object, longest: int) -> str | None:
    return said.strip()[:longest] or None if isinstance(said, str) else None


def _day(said: object) -> str | None:
    try:
        return date.fromisoformat(said).isoformat() if isinstance(said, str) else None
    except ValueError:
        return None


def _mass(said: object) -> Decimal | None:
    return _whole(said * 1000) if isinstance(said, Decimal) and 0 < said <= _HEAVIEST else None


def _mark(words: Mapping[str, Any]) -> str | None:
    """Take an ICO mark as it is printed, also where it stands as the supplier's lot."""
    printed = _text(words.get("icoMark"), 100)
    lot = _text(words.get("supplierLot"), 100)
    return printed or (lot if lot and parse_mark(lot) else None)


def _note(words: Mapping[str, Any]) -> str | None:
    said = [f"{noun} {words[word]}" for word, noun in _NOTED if isinstance(words.get(word), str)]
    return "; ".join(said)[:2000] or None
