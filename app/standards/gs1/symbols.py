"""What a scanner sends: the identifier of the symbol, then its text.

The identifier is a closing bracket, a letter and one more character (ISO/IEC 15424); many scanners
leave it out. It tells symbols of GS1, whose text is element strings, from those with any text.
"""

import re
from dataclasses import dataclass
from typing import Final

from app.standards.gs1.elements import Element, check_elements, element, parse_element_string
from app.standards.gs1.keys import check_key
from app.standards.gs1.links import is_address, parse_link
from app.standards.gs1.rules import Rule, RuleBroken

_IDENTIFIER: Final = re.compile(r"\][A-Za-z][0-9A-F]")
_OF_ELEMENTS: Final = frozenset({"]C1", "]e0", "]e1", "]e2", "]d2", "]Q3", "]J1"})
"""GS1-128, DataBar and composites, DataMatrix, QR and DotCode of GS1."""
_OF_LINKS: Final = frozenset({"]Q1", "]d1", "]J0"})
"""QR, DataMatrix and DotCode with any text: where it is a web address, a link is wanted."""
_OF_A_GTIN: Final = {"]E0": 13, "]E4": 8, "]I1": 14}
"""EAN-13, EAN-8 and ITF-14, and how many digits each has."""
_COMPOSITE: Final = "|]e0"
"""Between a linear symbol and the one printed above it."""


@dataclass(frozen=True)
class Symbol:
    """What one symbol said."""

    identifier: str
    """Empty where the scanner sent none."""
    text: str
    """Without the identifier."""
    elements: tuple[Element, ...] = ()
    """Empty where the symbol carries text of any other sort."""


def split_identifier(scanned: str) -> tuple[str, str]:
    """Part the identifier of the symbol from its text; it is empty where there is none."""
    found = _IDENTIFIER.match(scanned)
    return (found[0], scanned[found.end() :]) if found else ("", scanned)


def carries_elements(identifier: str) -> bool:
    """Tell whether the text of such a symbol is element strings."""
    return identifier in _OF_ELEMENTS


def carries_gtin(identifier: str) -> bool:
    """Tell whether the text of such a symbol is a GTIN."""
    return identifier in _OF_A_GTIN


def read_symbol(scanned: str) -> Symbol:
    """Read what a scanner sent that names the symbol.

    Raises:
        RuleBroken: where the symbol is one of GS1, or holds a web address, and its text breaks a
            rule; also for a text without an identifier, of which nothing can be said.
    """
    identifier, text = split_identifier(scanned)
    if not identifier:
        raise RuleBroken(Rule.SYMBOLOGY, "no symbology identifier (such as ]C1) begins it")
    return Symbol(identifier, text, tuple(elements_of(identifier, text)))


def elements_of(identifier: str, text: str) -> list[Element]:
    """Read the elements that a symbol carries; none where it carries any other text."""
    if carries_gtin(identifier):
        return _gtin(identifier, text)
    if carries_elements(identifier):
        elements = parse_element_string(text)
    elif identifier in _OF_LINKS and is_address(text):
        elements = parse_link(text)
    else:
        return []
    check_elements(elements)
    return elements


def _gtin(identifier: str, text: str) -> list[Element]:
    digits, composite, more = text.partition(_COMPOSITE)
    length = _OF_A_GTIN[identifier]
    if len(digits) != length:
        raise RuleBroken(
            Rule.LENGTH_OR_CHARACTERS, f"{identifier} has {length} digits, not “{digits[:40]}”"
        )
    elements = [element("01", check_key(digits).zfill(14))]
    if composite:
        elements += parse_element_string(more)
    check_elements(elements)
    return elements
