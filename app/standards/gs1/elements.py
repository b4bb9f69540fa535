"""Element strings: an application identifier with its value, alone and in a row.

A text comes in brackets, `(01)09521234000105(10)A1`, as people write it, or as a scanner sends it:
values run on, and after one of no fixed length the separator FNC1 stands, sent as ASCII 29 (General
Specifications, 7.8). A library knows each identifier, its lengths and characters, reads dates by
the rule of the century (7.12) and decimals exactly; cutting a text is ours, since it cuts an
overlong value in two where the rest happens to begin like an identifier.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache
from typing import Final

from biip import ParseError
from biip.gs1_application_identifiers import GS1ApplicationIdentifier
from biip.gs1_element_strings import GS1ElementString

from app.standards.gs1.contents import check_contents
from app.standards.gs1.rules import Rule, RuleBroken
from app.standards.gs1.together import check_together

SEPARATOR: Final = "\x1d"
"""FNC1 as scanners send it inside a text."""

_BRACKETED: Final = re.compile(r"\((?P<ai>[0-9]{2,4})\)(?P<value>(?:\\\(|[^(])*)")
_DAYS: Final = frozenset({"11", "12", "13", "15", "16", "17"})
_LONGEST_AI: Final = 4
_STRETCH: Final = re.compile(r"([NXYZ])(\.\.)?([0-9]+)")
_TO: Final = "up to "
_OF: Final = {
    "N": "digits",
    "X": "of the 82 characters (no spaces, none of # $ @ ~)",
    "Y": "of the 39 characters (A to Z, digits, # - /)",
    "Z": "characters of base64url",
}
_PATTERNS: Final = {"8010": r"8010[#\-/0-9A-Z]{1,30}"}
"""Where the library asks for more than GS1 does: five characters at least."""
_HARVEST: Final = "7007"
"""A day, or the first and the last of several."""
_DAY: Final = 6
_WHOLE_DAY: Final = re.compile(r"[0-9]{6}(?:[0-9]{2}){0,3}")

NET_KG: Final = "310"
GROSS_KG: Final = "330"


@dataclass(frozen=True)
class Element:
    """An application identifier and its value, sound by itself."""

    ai: str
    value: str

    @property
    def title(self) -> str:
        """The data title of the identifier: `BATCH/LOT`."""
        return _known(self.ai).data_title

    @property
    def day(self) -> date | None:
        """The day it says; where the day was left open, the last of the month."""
        read = _read(self.ai, self.value)
        return read.date if read else None

    @property
    def last_day(self) -> date | None:
        """The last day of a harvest that took several."""
        last = self.value[_DAY:] if self.ai == _HARVEST else ""
        return element(_HARVEST, last).day if last else None

    @property
    def day_is_open(self) -> bool:
        """Tell whether a month is said and no day of it."""
        return self.ai in _DAYS and self.value.endswith("00")

    @property
    def moment(self) -> datetime | None:
        """The moment it says, without a zone: that of the place it was printed at."""
        read = _read(self.ai, self.value)
        return read.datetime if read else None

    @property
    def amount(self) -> Decimal | None:
        """A weight, a measure or a price, exactly; the title names what it is in."""
        read = _read(self.ai, self.value)
        return read.decimal if read else None


@lru_cache(maxsize=1024)
def _identifier(start: str) -> GS1ApplicationIdentifier | None:
    try:
        return GS1ApplicationIdentifier.extract(start)
    except ParseError:
        return None


def _known(ai: str) -> GS1ApplicationIdentifier:
    found = _identifier(ai)
    if found is None or found.ai != ai:
        raise RuleBroken(Rule.UNKNOWN_AI, f"({ai}) is no application identifier", ai)
    return found


def _read(ai: str, value: str) -> GS1ElementString | None:
    """Read a value as what it says; None where the library has its own mind about it."""
    # It takes the second day of a range for a time of day.
    said = value[:_DAY] if ai == _HARVEST else value
    try:
        return GS1ElementString.parse(f"{ai}{said}")
    except ParseError:
        return None


def element(ai: str, value: str) -> Element:
    """Make one element.

    Raises:
        RuleBroken: for an identifier that there is not, and a value that it cannot have.
    """
    known = _known(ai)
    # Where the table of the library lets a value be empty, GS1 wants one character.
    pattern = _PATTERNS.get(ai, known.pattern)
    if not value or not re.fullmatch(pattern, f"{ai}{value}", re.ASCII):
        # The library's table knows months and days too; a wrong one is no matter of length.
        if _WHOLE_DAY.fullmatch(value):
            check_contents(ai, value)
        title, form = known.data_title or known.description, _in_words(known)
        raise RuleBroken(
            Rule.LENGTH_OR_CHARACTERS, f"({ai}) {title} is {form}, not “{_shown(value)}”", ai
        )
    check_contents(ai, value)
    return Element(ai, value)


def _in_words(known: GS1ApplicationIdentifier) -> str:
    """Write the form of a value as people say it: `N14` is 14 digits."""
    form = known.format.partition("+")[2]
    said = _STRETCH.sub(lambda found: f"{_TO if found[2] else ''}{found[3]} {_OF[found[1]]}", form)
    return said.replace("[+", " [and ").replace("+", " and ")


def _shown(value: str) -> str:
    return value if len(value) <= 100 else f"{value[:100]}…"  # noqa: PLR2004 - enough to see it


def parse_bracketed(text: str) -> list[Element]:
    r"""Read element strings in brackets; `\(` stands for a bracket inside a value.

    Raises:
        RuleBroken: for the first rule that one of them breaks by itself.
    """
    elements, position = [], 0
    while position < len(text):
        found = _BRACKETED.match(text, position)
        if found is None:
            said = f"at “{_shown(text[position:])}” an identifier in brackets is wanted"
            raise RuleBroken(Rule.SHAPE, said)
        elements.append(element(found["ai"], found["value"].replace(r"\(", "(")))
        position = found.end()
    return _some(elements)


def parse_element_string(text: str) -> list[Element]:
    """Read element strings as a scanner sends them, without the FNC1 that opens the symbol.

    Raises:
        RuleBroken: for the first rule that one of them breaks by itself.
    """
    elements, rest = [], text
    while rest:
        known = _identifier(rest[:_LONGEST_AI])
        if known is None:
            raise RuleBroken(
                Rule.UNKNOWN_AI, f"no application identifier begins at “{_shown(rest)}”"
            )
        value, rest = _cut(known, rest[len(known.ai) :])
        elements.append(element(known.ai, value))
    return _some(elements)


def _cut(known: GS1ApplicationIdentifier, rest: str) -> tuple[str, str]:
    """Cut off a value: up to the separator, or so many characters where their number is fixed."""
    if known.separator_required:
        value, _, rest = rest.partition(SEPARATOR)
        return value, rest
    length = sum(map(int, re.findall(r"[0-9]+", known.format.partition("+")[2])))
    # General Specifications, 7.8.6: a separator that was not needed is passed over.
    return rest[:length], rest[length:].removeprefix(SEPARATOR)


def _some(elements: list[Element]) -> list[Element]:
    if not elements:
        raise RuleBroken(Rule.SHAPE, "there is nothing in it")
    return elements


def check_elements(elements: Iterable[Element]) -> None:
    """Refuse elements that do not go together."""
    check_together((each.ai, each.value) for each in elements)


def element_string(elements: Iterable[Element]) -> str:
    """Write elements as they go into a symbol, after the FNC1 that opens it."""
    return "".join(_separated(list(elements)))


def _separated(elements: list[Element]) -> Iterator[str]:
    for number, each in enumerate(elements, 1):
        yield f"{each.ai}{each.value}"
        if _known(each.ai).separator_required and number < len(elements):
            yield SEPARATOR


def bracketed(elements: Iterable[Element]) -> str:
    """Write elements as people read them."""
    return "".join(f"({each.ai}){each.value.replace('(', chr(92) + '(')}" for each in elements)


def is_predefined(ai: str) -> bool:
    """Tell whether the length of a value follows from its identifier."""
    return not _known(ai).separator_required


def weight(family: str, kg: Decimal) -> Element:
    """Write kilograms as six digits, with as many decimals as they are given with.

    Raises:
        RuleBroken: for a weight below zero, or of more digits than six.
    """
    decimals = max(-int(kg.as_tuple().exponent), 0)
    whole = int(kg.scaleb(decimals))
    if kg < 0 or decimals > 5 or whole > 999_999:  # noqa: PLR2004 - 310n has n to 5 and N6
        raise RuleBroken(
            Rule.LENGTH_OR_CHARACTERS, f"{kg} kg does not go into six digits", f"{family}n"
        )
    return element(f"{family}{decimals}", f"{whole:06d}")
