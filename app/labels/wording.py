"""What a label says: plain facts turned into words; where they stand is the layout's matter."""

from datetime import date
from typing import NamedTuple

from app.labels.pieces import Face, Item
from app.shared.speech import N_, PLAIN, Speech, pair
from app.shared.texts import country_in
from app.standards.countries import country_name
from app.standards.handling import sack_caution

ON_HOLD = N_("ON HOLD")
_MARKS = {
    "set_aside": N_("SET ASIDE"),
    "blend_in": N_("BLEND ONLY"),
    "rework": N_("REWORK"),
    "rejected": N_("REJECTED"),
    "scrapped": N_("SCRAPPED"),
}
"""Roasts that must not be packed say so in large print."""
DISPOSITIONS = {
    "passed": N_("Passed"),
    "set_aside": N_("Set aside"),
    "released": N_("Released"),
    "blend_in": N_("Blend in"),
    "rework": N_("Rework"),
    "rejected": N_("Rejected"),
    "scrapped": N_("Scrapped"),
}
PLACES = {
    "site": N_("Site"), "zone": N_("Zone"), "rack": N_("Rack"), "bay": N_("Bay"),
    "level": N_("Level"), "shelf": N_("Shelf"), "floor": N_("Floor"), "silo": N_("Silo"),
    "roaster_side": N_("Roaster side"), "hopper": N_("Hopper"), "tray": N_("Tray"),
    "external": N_("External"),
}  # fmt: skip
_BAGS = pair("%(number)s bag of %(grams)s g", "%(number)s bags of %(grams)s g")


class SackFacts(NamedTuple):
    """What the book knows of a sack."""

    code: str
    lot: str
    lot_name: str
    origin: str
    number: int
    of: int
    net_g: int
    left_g: int
    arrived_on: date
    place: str | None
    held: bool


def sack(facts: SackFacts, heavy_over_g: int, speech: Speech = PLAIN) -> Face:
    """Word the label of a sack; what it weighs now decides whether it is called heavy."""
    opened = facts.left_g != facts.net_g
    caution = sack_caution(facts.left_g, heavy_over_g)
    net = speech.gettext("%(mass)s net") % {"mass": speech.mass(facts.net_g)}
    left = speech.gettext("%(mass)s left") % {"mass": speech.mass(facts.left_g)}
    number = speech.gettext("sack %(number)s of %(of)s") % {"number": facts.number, "of": facts.of}
    arrived = speech.gettext("arrived %(day)s") % {"day": speech.day(facts.arrived_on)}
    at = speech.gettext("place %(code)s") % {"code": facts.place} if facts.place else None
    return Face(
        facts.code,
        (
            Item((facts.lot_name,), 125, bold=True),
            Item(_known(net, left if opened else None), 150, bold=True),
            Item((speech.gettext("Lot %(code)s") % {"code": facts.lot}, number)),
            Item((country(facts.origin, speech.language), arrived)),
            *_also(at),
        ),
        marks=_held(facts.held, speech),
        caution=speech.gettext(caution) if caution else None,
    )  # fmt: skip


class PlaceFacts(NamedTuple):
    """What the book knows of a place."""

    code: str
    kind: str
    site: str | None
    capacity_g: int | None


def place(facts: PlaceFacts, speech: Speech = PLAIN) -> Face:
    """Word the label of a rack or another place."""
    takes = None
    if facts.capacity_g is not None:
        takes = speech.gettext("takes %(mass)s") % {"mass": speech.mass(facts.capacity_g)}
    return Face(
        facts.code,
        (
            Item((speech.gettext(PLACES[facts.kind]),), 150, bold=True),
            *_also(facts.site),
            *_also(takes),
        ),
    )


class RoastFacts(NamedTuple):
    """What the book knows of a roast."""

    code: str
    style: str | None
    machine: str
    roasted_on: date
    end_g: int
    disposition: str
    held: bool


def roast(facts: RoastFacts, speech: Speech = PLAIN) -> Face:
    """Word the label of a roast; one that missed its checks says so in large print."""
    mark = _MARKS.get(facts.disposition)
    roasted = speech.gettext("roasted %(day)s") % {"day": speech.day(facts.roasted_on)}
    end = speech.gettext("end %(mass)s") % {"mass": speech.mass(facts.end_g)}
    return Face(
        facts.code,
        (
            Item((facts.style or speech.gettext("Roast"),), 125, bold=True),
            Item((end,), 150, bold=True),
            Item((roasted, _on(facts.machine, speech))),
            Item((speech.gettext(DISPOSITIONS[facts.disposition]),)),
        ),
        marks=_known(speech.gettext(mark) if mark else None) + _held(facts.held, speech),
    )


class BlendFacts(NamedTuple):
    """What the book knows of a blend."""

    code: str
    recipe: str | None
    machine: str | None
    blended_on: date
    made_g: int
    held: bool


def blend(facts: BlendFacts, speech: Speech = PLAIN) -> Face:
    """Word the label of a blend."""
    on = _on(facts.machine, speech) if facts.machine else None
    blended = speech.gettext("blended %(day)s") % {"day": speech.day(facts.blended_on)}
    return Face(
        facts.code,
        (
            Item((facts.recipe or speech.gettext("Blend"),), 125, bold=True),
            Item((speech.mass(facts.made_g),), 150, bold=True),
            Item(_known(blended, on)),
        ),
        marks=_held(facts.held, speech),
    )


class PackFacts(NamedTuple):
    """What the book knows of a pack."""

    code: str
    lot_mark: str
    sku: str
    product: str
    bags: int
    nominal_g: int
    date_mark: str | None
    packed_on: date
    held: bool


def pack(facts: PackFacts, speech: Speech = PLAIN) -> Face:
    """Word the label of a case of bags."""
    packed = speech.gettext("packed %(day)s") % {"day": speech.day(facts.packed_on)}
    return Face(
        facts.code,
        (
            Item((facts.product,), 125, bold=True),
            Item((_bags(facts.bags, facts.nominal_g, speech),), 125, bold=True),
            *_also(facts.date_mark),
            Item((facts.lot_mark, packed)),
            Item((facts.sku,)),
        ),
        marks=_held(facts.held, speech),
    )


class ReturnFacts(NamedTuple):
    """What the book knows of bags that came back."""

    code: str
    pack: str
    dispatch: str
    product: str
    bags: int
    nominal_g: int
    returned_on: date
    held: bool


def returned(facts: ReturnFacts, speech: Speech = PLAIN) -> Face:
    """Word the label of bags that came back."""
    back = speech.gettext("returned %(day)s") % {"day": speech.day(facts.returned_on)}
    of = speech.gettext("of pack %(code)s") % {"code": facts.pack}
    sent = speech.gettext("sent as %(code)s") % {"code": facts.dispatch}
    product = speech.gettext("Returned: %(product)s") % {"product": facts.product}
    return Face(
        facts.code,
        (
            Item((product,), 125, bold=True),
            Item((_bags(facts.bags, facts.nominal_g, speech),), 125, bold=True),
            Item((back,)),
            Item((of, sent)),
        ),
        marks=_held(facts.held, speech),
    )


def printed(order: int, reprint: int, speech: Speech = PLAIN) -> str:
    """Say which print order a label came from and whether the code was printed before."""
    told = speech.gettext("print %(order)s") % {"order": order}
    again = speech.gettext("reprint %(number)s") % {"number": reprint}
    return f"{told}, {again}" if reprint else told


def country(code: str, language: str = "en") -> str:
    """Name a country as people do: `VN` is Vietnam, not Viet Nam."""
    return country_name(code) if language == "en" else country_in(language, code)


def _on(machine: str, speech: Speech) -> str:
    return speech.gettext("on %(machine)s") % {"machine": machine}


def _bags(count: int, nominal_g: int, speech: Speech) -> str:
    return speech.ngettext(*_BAGS, count) % {"number": count, "grams": nominal_g}


def _held(held: object, speech: Speech) -> tuple[str, ...]:
    return (speech.gettext(ON_HOLD),) if held else ()


def _known(*texts: str | None) -> tuple[str, ...]:
    return tuple(text for text in texts if text)


def _also(text: str | None) -> tuple[Item, ...]:
    return (Item((text,)),) if text else ()
