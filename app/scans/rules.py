"""Making out of a scanned text what it could be, before anything is looked up.

Scanners mostly type what they read. So spaces, control characters and line ends come with it, the
separator of GS1 comes as whatever the scanner was told to send, capitals are swapped while somebody
left caps lock on, and the identifier of the symbol is there or not. All of that is common practice,
no source. What is left is read strictly: a text of GS1 that breaks a rule is not repaired.
"""

import re
from enum import StrEnum
from typing import Final, NamedTuple

from app.standards.gs1.elements import (
    SEPARATOR,
    Element,
    bracketed,
    check_elements,
    element,
    parse_bracketed,
)
from app.standards.gs1.keys import GTIN_LENGTHS, gtin_14
from app.standards.gs1.links import is_address
from app.standards.gs1.rules import Rule, RuleBroken
from app.standards.gs1.symbols import carries_elements, carries_gtin, elements_of, split_identifier
from app.standards.ico_marks import Mark, parse_mark


class ScanKind(StrEnum):
    """What a scanned text is."""

    CODE = "code"
    """A code as this book gives them or takes them."""
    MISREAD = "misread"
    """A code of this book's own form with a wrong character or two swapped: scan it again."""
    ELEMENT_STRING = "element_string"
    """Application identifiers of GS1 with their values."""
    DIGITAL_LINK = "digital_link"
    """The same as a web address."""
    GTIN = "gtin"
    """The number of a trade item alone, as under the bars of a bag."""
    ICO_MARK = "ico_mark"
    UNKNOWN = "unknown"
    """Text of no form that is known here."""


class Reading(NamedTuple):
    """One thing that a text could be."""

    kind: ScanKind
    read_as: str
    """Without what the scanner added: a code in capitals, element strings in brackets."""
    elements: tuple[Element, ...] = ()
    mark: Mark | None = None


_NOISE: Final = "".join(map(chr, (*range(0x1D), *range(0x1E, 0x21), 0x7F, 0xA0, 0xFEFF)))
"""Control characters, spaces and the mark of byte order; the separator of GS1 is none of them."""
_SEPARATORS: Final = re.compile(
    r"<GS>|\{GS\}|\[GS\]|\\x1d|\\u001d|\^\]|[\x1c-\x1f\u241d|~^]", re.IGNORECASE
)
"""What comes for a separator: none of the signs may stand in a value."""
_BEGINS_LIKE_GS1: Final = re.compile(rf"{SEPARATOR}[0-9]{{2}}|0[12][0-9]{{14}}|00[0-9]{{18}}")
_BRACKETED: Final = re.compile(r"\(\s*[0-9]")
_CODE: Final = re.compile(r"[A-Z0-9][A-Z0-9._-]{0,31}")
_LOT_MARK: Final = re.compile(r"L ?[A-Z0-9][A-Z0-9._-]{1,31}")
_EAN_13: Final = re.compile(r"[0-9]{13}")
_DIGITS: Final = re.compile(r"[0-9]+")


def tidy(text: str) -> str:
    """Take off what a scanner puts around what it reads."""
    return text.strip(_NOISE)


def readings(text: str) -> list[Reading]:
    """Name what a tidy text could be, the likeliest first; at least one.

    Raises:
        RuleBroken: for a text that claims to be one of GS1 and breaks a rule.
    """
    identifier, body = _identified(text)
    body = tidy(body)
    if carries_elements(identifier):
        return [_elements(elements_of(identifier, _separated(body)))]
    if carries_gtin(identifier):
        return [_gtin(elements_of(identifier, body))]
    if is_address(body):
        return [_link(body)]
    if _BRACKETED.match(body):
        elements = parse_bracketed(re.sub(r"\s+", "", body))
        check_elements(elements)
        return [_elements(elements)]
    return _plain(body) or [Reading(ScanKind.UNKNOWN, body)]


def _identified(text: str) -> tuple[str, str]:
    """Part off the identifier, and undo caps lock where the identifier betrays it."""
    identifier, body = split_identifier(text)
    swapped = identifier.swapcase()
    # Both exist: an EAN-13 has 13 digits and no more, a DataBar begins as all of GS1 does.
    if identifier == "]E0":
        caps = _BEGINS_LIKE_GS1.match(_separated(body)) is not None
    elif identifier == "]e0":
        caps = _EAN_13.fullmatch(body) is not None
    else:
        caps = _is_of_gs1(swapped) and not _is_of_gs1(identifier)
    return (swapped, body.swapcase()) if caps else (identifier, body)


def _is_of_gs1(identifier: str) -> bool:
    return carries_elements(identifier) or carries_gtin(identifier)


def _plain(body: str) -> list[Reading]:
    """Name what a text could be that no symbol and no form of its own speaks for."""
    found = []
    folded = body.upper() if body.isascii() else body
    if _CODE.fullmatch(folded) or _LOT_MARK.fullmatch(folded):
        found.append(Reading(ScanKind.CODE, folded))
    if _DIGITS.fullmatch(body) and len(body) in GTIN_LENGTHS and _is_gtin(body):
        found.append(_gtin([element("01", gtin_14(body))]))
    mark = parse_mark(body)
    if mark is not None:
        found.append(Reading(ScanKind.ICO_MARK, mark.canonical, mark=mark))
    return found


def _is_gtin(digits: str) -> bool:
    try:
        gtin_14(digits)
    except RuleBroken:
        return False
    return True


def unmarked(text: str) -> Reading | None:
    """Read element strings that no identifier announces; None where nothing looks like them.

    To be asked after codes of the house, since such a code may look like anything.

    Raises:
        RuleBroken: where it looks like them and breaks a rule.
    """
    identifier, body = split_identifier(text)
    separated = _SEPARATORS.sub(SEPARATOR, body)
    if identifier or not (_BEGINS_LIKE_GS1.match(separated) or SEPARATOR in body):
        return None
    return _elements(elements_of("]C1", _separated(body)))


def _separated(body: str) -> str:
    """Write every separator as GS1 does; the one that opens a symbol is none inside."""
    return _SEPARATORS.sub(SEPARATOR, body).strip(SEPARATOR)


def _elements(elements: list[Element]) -> Reading:
    return Reading(ScanKind.ELEMENT_STRING, bracketed(elements), tuple(elements))


def _gtin(elements: list[Element]) -> Reading:
    return Reading(ScanKind.GTIN, bracketed(elements), tuple(elements))


def _link(address: str) -> Reading:
    try:
        elements = elements_of("]Q1", address)
    except RuleBroken as broken:
        if broken.rule == Rule.NO_KEY:
            return Reading(ScanKind.UNKNOWN, address)
        raise
    return Reading(ScanKind.DIGITAL_LINK, bracketed(elements), tuple(elements))
