"""Names that others can look up: GS1 Digital Links where the firm has a prefix, else its own URIs.

Masses stand on classes of coffee, not on single sacks: a list of single objects has no quantities
(EPCIS 2.0, quantity element), so each sack, roast or pack is a lot of its kind, `(01)…(10)code`.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final
from urllib.parse import quote, unquote

from app.standards.gs1.elements import element
from app.standards.gs1.keys import GLN_LENGTH, GTIN_LENGTHS, gtin_14, with_check_digit
from app.standards.gs1.links import link, parse_link
from app.standards.gs1.rules import RuleBroken
from app.standards.sscc import is_sscc

RESOLVER: Final = "https://id.gs1.org/"
_URN: Final = re.compile(
    r"urn:epc:(?:id|class|idpat):(?P<scheme>[a-z]+):(?P<prefix>[0-9]+)\.(?P<reference>[0-9]+)"
    r"(?:\.(?P<serial>\S+))?"
)
_ANY: Final = "*"
_LOT: Final = "10"


@dataclass(frozen=True)
class Naming:
    """How a firm names what it has."""

    namespace: str
    """The beginning of its own addresses, up to and with `/`, `#` or `:`."""
    prefix: str | None = None
    """Its GS1 company prefix."""
    items: Mapping[str, int] = field(default_factory=dict)
    """Item references for coffee that is no article of trade by itself, by its kind."""
    house: int = 0
    """The location reference of the firm, as a party and as a place."""

    def coffee(self, kind: str, code: str, gtin: str | None = None) -> str:
        """Name a sack, a roast, a blend or a pack by its kind and code."""
        key = gtin or self._item(kind)
        if self.prefix and key:
            try:
                return link([element("01", gtin_14(key)), element(_LOT, code)])
            except RuleBroken:  # A code longer than a lot of GS1 may be, or a mistyped GTIN.
                pass
        return self.own("class", kind, code)

    def _item(self, kind: str) -> str | None:
        reference = self.items.get(kind)
        return None if reference is None else self._key(reference, GTIN_LENGTHS[-2])

    def _key(self, reference: int, length: int) -> str | None:
        """Make a key of the firm's prefix; None where the prefix leaves no room for the number."""
        room = length - 1 - len(self.prefix or "")
        if not self.prefix or room < 1 or len(digits := f"{reference:0{room}d}") > room:
            return None
        return with_check_digit(f"{self.prefix}{digits}")

    @property
    def gln(self) -> str | None:
        """The number of the firm itself."""
        return self._key(self.house, GLN_LENGTH)

    def place(self, code: str | None = None) -> str:
        """Name a place in the house, or the house itself."""
        if self.gln:
            try:
                extension = [element("254", code)] if code else []
                return link([element("414", self.gln), *extension])
            except RuleBroken:  # A code longer than the extension of a place may be.
                pass
        return self.own("place", code) if code else self.own("house")

    @property
    def firm(self) -> str:
        """The firm as a party."""
        return link([element("417", self.gln)]) if self.gln else self.own("firm")

    def box(self, code: str) -> str:
        """Name a case, a crate load or a pallet."""
        if self.prefix and is_sscc(code):
            return link([element("00", code)])
        return self.own("case", code)

    def paper(self, kind: str, number: str) -> str:
        """Name a document."""
        if self.gln:
            return f"urn:epcglobal:cbv:bt:{self.gln}:{quote(number, safe='')}"
        return self.own("paper", kind, number)

    def own(self, *steps: str | int) -> str:
        """Name something under the firm's own namespace."""
        return self.namespace + "/".join(quote(str(step), safe="") for step in steps)


def plain(name: str) -> str:
    """Write the URN of a GS1 key as its Digital Link, so that two names of one thing are equal.

    Links are read and written again, for their escapes may differ; any other name stays as it is.
    """
    urn = _URN.fullmatch(name)
    if urn is None:
        return _relinked(name)
    try:
        return _from_urn(**urn.groupdict(default="")) or name
    except RuleBroken:
        return name


def _relinked(name: str) -> str:
    if not name.startswith(RESOLVER):
        return name
    try:
        return link(parse_link(name))
    except RuleBroken:
        return name


def _from_urn(scheme: str, prefix: str, reference: str, serial: str) -> str | None:
    """Follow the Tag Data Standard: prefix and reference part by a dot, without check digits."""
    serial = unquote(serial)
    if scheme in {"sgtin", "lgtin"}:
        key = element("01", with_check_digit(f"{reference[0]}{prefix}{reference[1:]}"))
        ai = "21" if scheme == "sgtin" else _LOT
        return link([key] if serial == _ANY else [key, element(ai, serial)])
    if scheme == "sscc":
        digits = with_check_digit(f"{reference[0]}{prefix}{reference[1:]}")
        return link([element("00", digits)])
    if scheme == "sgln":
        key = element("414", with_check_digit(f"{prefix}{reference}"))
        return link([key] if serial in {"0", ""} else [key, element("254", serial)])
    if scheme == "pgln":
        return link([element("417", with_check_digit(f"{prefix}{reference}"))])
    return None


def broken_key(name: str) -> str | None:
    """Say what is wrong with a name that claims to be a link of GS1; None where nothing is."""
    if not name.startswith(RESOLVER):
        return None
    try:
        parse_link(name)
    except RuleBroken as broken:
        return broken.detail
    return None


def lot_of(name: str) -> str | None:
    """Read the lot that a class is of: its `(10)`, or the last step of an address of one's own."""
    name = plain(name)
    if name.startswith(RESOLVER):
        try:
            return next((each.value for each in parse_link(name) if each.ai == _LOT), None)
        except RuleBroken:
            return None
    return unquote(re.split(r"[/#:]", name)[-1]) or None


def gln_of(name: str) -> str | None:
    """Read the number of a party or place."""
    try:
        read = {each.ai: each.value for each in parse_link(plain(name))}
    except RuleBroken:
        return None
    return read.get("417") or read.get("414")
