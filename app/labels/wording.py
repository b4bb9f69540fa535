"""What a label says: plain facts turned into words; where they stand is the layout's matter."""

from datetime import date
from typing import NamedTuple

from app.labels.pieces import Face, Item
from app.shared.mass import kg_text
from app.standards.countries import country_name
from app.standards.handling import sack_caution

ON_HOLD = "ON HOLD"
_DISPOSITIONS = {
    "set_aside": "SET ASIDE",
    "blend_in": "BLEND ONLY",
    "rework": "REWORK",
    "rejected": "REJECTED",
    "scrapped": "SCRAPPED",
}
"""Roasts that must not be packed say so in large print."""


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


def sack(facts: SackFacts, heavy_over_g: int) -> Face:
    """Word the label of a sack; what it weighs now decides whether it is called heavy."""
    opened = facts.left_g != facts.net_g
    return Face(
        facts.code,
        (
            Item((facts.lot_name,), 125, bold=True),
            Item(_known(f"{kg_text(facts.net_g)} net",
                        f"{kg_text(facts.left_g)} left" if opened else None), 150, bold=True),
            Item((f"Lot {facts.lot}", f"sack {facts.number} of {facts.of}")),
            Item((country(facts.origin), f"arrived {facts.arrived_on}")),
            *_also(f"place {facts.place}" if facts.place else None),
        ),
        marks=_held(facts.held),
        caution=sack_caution(facts.left_g, heavy_over_g),
    )  # fmt: skip


class PlaceFacts(NamedTuple):
    """What the book knows of a place."""

    code: str
    kind: str
    site: str | None
    capacity_g: int | None


def place(facts: PlaceFacts) -> Face:
    """Word the label of a rack or another place."""
    takes = None if facts.capacity_g is None else f"takes {kg_text(facts.capacity_g)}"
    return Face(
        facts.code,
        (
            Item((_plain(facts.kind),), 150, bold=True),
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


def roast(facts: RoastFacts) -> Face:
    """Word the label of a roast; one that missed its checks says so in large print."""
    mark = _DISPOSITIONS.get(facts.disposition)
    return Face(
        facts.code,
        (
            Item((facts.style or "Roast",), 125, bold=True),
            Item((f"end {kg_text(facts.end_g)}",), 150, bold=True),
            Item((f"roasted {facts.roasted_on}", f"on {facts.machine}")),
            Item((_plain(facts.disposition),)),
        ),
        marks=_known(mark) + _held(facts.held),
    )


class BlendFacts(NamedTuple):
    """What the book knows of a blend."""

    code: str
    recipe: str | None
    machine: str | None
    blended_on: date
    made_g: int
    held: bool


def blend(facts: BlendFacts) -> Face:
    """Word the label of a blend."""
    on = f"on {facts.machine}" if facts.machine else None
    return Face(
        facts.code,
        (
            Item((facts.recipe or "Blend",), 125, bold=True),
            Item((kg_text(facts.made_g),), 150, bold=True),
            Item(_known(f"blended {facts.blended_on}", on)),
        ),
        marks=_held(facts.held),
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


def pack(facts: PackFacts) -> Face:
    """Word the label of a case of bags."""
    return Face(
        facts.code,
        (
            Item((facts.product,), 125, bold=True),
            Item((_bags(facts.bags, facts.nominal_g),), 125, bold=True),
            *_also(facts.date_mark),
            Item((facts.lot_mark, f"packed {facts.packed_on}")),
            Item((facts.sku,)),
        ),
        marks=_held(facts.held),
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


def returned(facts: ReturnFacts) -> Face:
    """Word the label of bags that came back."""
    return Face(
        facts.code,
        (
            Item((f"Returned: {facts.product}",), 125, bold=True),
            Item((_bags(facts.bags, facts.nominal_g),), 125, bold=True),
            Item((f"returned {facts.returned_on}",)),
            Item((f"of pack {facts.pack}", f"sent as {facts.dispatch}")),
        ),
        marks=_held(facts.held),
    )


def printed(order: int, reprint: int) -> str:
    """Say which print order a label came from and whether the code was printed before."""
    return f"print {order}, reprint {reprint}" if reprint else f"print {order}"


def country(code: str) -> str:
    """Name a country as people do: `VN` is Vietnam, not Viet Nam."""
    return country_name(code)


def _bags(count: int, nominal_g: int) -> str:
    return f"{count} {'bag' if count == 1 else 'bags'} of {nominal_g} g"


def _held(held: object) -> tuple[str, ...]:
    return (ON_HOLD,) if held else ()


def _known(*texts: str | None) -> tuple[str, ...]:
    return tuple(text for text in texts if text)


def _also(text: str | None) -> tuple[Item, ...]:
    return (Item((text,)),) if text else ()


def _plain(word: str) -> str:
    return word.replace("_", " ").capitalize()
