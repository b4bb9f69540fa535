"""What the parts of a value must be, beyond its length and its characters."""

import re
from collections.abc import Callable, Iterator, Mapping
from datetime import date
from typing import Final, NamedTuple

import pycountry
from biip import ParseError
from biip.gs1_element_strings import GS1ElementString
from stdnum import iban

from app.standards.gs1.keys import check_key
from app.standards.gs1.rules import Rule, RuleBroken

_PERCENT: Final = re.compile(r"%(?![0-9A-Fa-f]{2})")
_SOME_DATE: Final = "11"
"""An identifier whose value is a day and nothing else."""
_OPEN_DAY: Final = "00"
_HALF_TURN: Final = 180 * 10**7
"""Geographic parts are degrees from the south pole, or eastwards, times ten millions."""
_ANY_TIME: Final = "9999"


class Part(NamedTuple):
    """A stretch of a value and what it must be."""

    start: int
    stop: int | None
    check: Callable[[str, str], None]
    """Takes the stretch and the identifier."""


def _key(text: str, ai: str) -> None:
    check_key(text, ai)


def day_or_month(text: str, ai: str) -> None:
    """Take `YYMMDD`; `DD` may be 00 where the day is left open (General Specifications, 3.4)."""
    try:
        GS1ElementString.parse(f"{_SOME_DATE}{text}")
    except ParseError:
        raise RuleBroken(Rule.DATE, f"({ai}): {text} is no day as YYMMDD", ai) from None


def day(text: str, ai: str) -> None:
    """Take `YYMMDD` with its day."""
    if text.endswith(_OPEN_DAY):
        raise RuleBroken(Rule.DATE, f"({ai}): {text} leaves the day open", ai)
    day_or_month(text, ai)


def _long_day(text: str, ai: str) -> None:
    """Take `YYYYMMDD`."""
    try:
        date.fromisoformat(text)
    except ValueError:
        raise RuleBroken(Rule.DATE, f"({ai}): {text} is no day as YYYYMMDD", ai) from None


def clock(text: str, ai: str) -> None:
    """Take `HHMM`."""
    if not re.fullmatch(r"([01][0-9]|2[0-3])[0-5][0-9]", text):
        raise RuleBroken(Rule.DATE, f"({ai}): {text} is no time of day as HHMM", ai)


def _clock_or_any(text: str, ai: str) -> None:
    if text != _ANY_TIME:
        clock(text, ai)


def _seconds(text: str, ai: str) -> None:
    """Take `HH`, `HHMM` or `HHMMSS`."""
    clock(f"{text[:2]}{text[2:4] or '00'}", ai)
    if text[4:]:
        clock(f"00{text[4:]}", ai)


def _refuse(meaningless: bool, text: str, ai: str, wanted: str) -> None:
    if meaningless:
        raise RuleBroken(Rule.CONTENT, f"({ai}): {text} is no {wanted}", ai)


def country(text: str, ai: str) -> None:
    """Take the number of a country (ISO 3166-1), or of several."""
    for start in range(0, len(text) or 1, 3):
        number = text[start : start + 3]
        known = pycountry.countries.get(numeric=number)
        _refuse(known is None, number, ai, "country's number of ISO 3166-1")


def country_or_999(text: str, ai: str) -> None:
    """Take the number of a country, or 999 for several at once."""
    if text != "999":
        country(text, ai)


def _country_letters(text: str, ai: str) -> None:
    known = pycountry.countries.get(alpha_2=text)
    _refuse(known is None or known.alpha_2 != text, text, ai, "country code of ISO 3166-1")


def _currency(text: str, ai: str) -> None:
    _refuse(
        pycountry.currencies.get(numeric=text) is None, text, ai, "currency's number of ISO 4217"
    )


def percent_encoded(text: str, ai: str) -> None:
    """Take text in which each per cent sign begins an encoded character."""
    _refuse(_PERCENT.search(text) is not None, text, ai, "text whose % signs encode characters")


def hyphens(text: str, ai: str) -> None:
    """Take the sign of a negative temperature."""
    _refuse(not re.fullmatch(r"-+", text), text, ai, "minus sign")


def latitude(text: str, ai: str) -> None:
    """Take degrees from the south pole in ten digits."""
    _degrees(text, ai, _HALF_TURN, "latitude")


def longitude(text: str, ai: str) -> None:
    """Take degrees eastwards in ten digits."""
    _degrees(text, ai, 2 * _HALF_TURN, "longitude")


def _degrees(text: str, ai: str, most: int, noun: str) -> None:
    sound = re.fullmatch(r"[0-9]{10}", text) and int(text) <= most
    _refuse(not sound, text, ai, noun)


def _one_of(pattern: str, wanted: str) -> Callable[[str, str], None]:
    def check(text: str, ai: str) -> None:
        _refuse(not re.fullmatch(pattern, text), text, ai, wanted)

    return check


def _piece_of_total(text: str, ai: str) -> None:
    piece, total = text[:2], text[2:]
    sound = "00" < piece <= total
    _refuse(not sound, text, ai, "piece of a total")


def _bank_account(text: str, ai: str) -> None:
    _refuse(not iban.is_valid(text), text, ai, "bank account (IBAN)")


def _place_in_sequence(text: str, ai: str) -> None:
    place, _, of = text.partition("/")
    sound = place.isdecimal() and of.isdecimal() and "0" < place <= of
    _refuse(not sound, text, ai, "place in a sequence")


_PARTS: Final[tuple[tuple[str, tuple[Part, ...]], ...]] = (
    ("00 01 02 03 402 410 411 412 413 414 415 416 417 8017 8018", (Part(0, None, _key),)),
    ("253 255", (Part(0, 13, _key),)),
    ("8003", (Part(1, 14, _key),)),
    ("8006 8026", (Part(0, 14, _key), Part(14, None, _piece_of_total))),
    ("11 12 13 15 16 17", (Part(0, None, day_or_month),)),
    ("4324 4325", (Part(0, 6, day_or_month), Part(6, None, _clock_or_any))),
    ("4326 7006", (Part(0, None, day),)),
    ("7003", (Part(0, 6, day), Part(6, None, clock))),
    ("7007", (Part(0, 6, day), Part(6, None, day))),
    ("7011", (Part(0, 6, day), Part(6, None, clock))),
    ("7250", (Part(0, None, _long_day),)),
    ("7251", (Part(0, 8, _long_day), Part(8, None, clock))),
    ("8008", (Part(0, 6, day), Part(6, None, _seconds))),
    ("391 393", (Part(0, 3, _currency),)),
    ("421", (Part(0, 3, country),)),
    ("422 423 424 425 426", (Part(0, None, country),)),
    ("703", (Part(0, 3, country_or_999),)),
    ("4307 4317", (Part(0, None, _country_letters),)),
    ("4300 4301 4302 4303 4304 4305 4306 4320", (Part(0, None, percent_encoded),)),
    ("4310 4311 4312 4313 4314 4315 4316", (Part(0, None, percent_encoded),)),
    ("7253 7254 7256 7257 7259", (Part(0, None, percent_encoded),)),
    ("4309", (Part(0, 10, latitude), Part(10, None, longitude))),
    ("4321 4322 4323", (Part(0, None, _one_of("[01]", "yes (1) or no (0)")),)),
    ("4330 4331 4332 4333", (Part(6, None, hyphens),)),
    ("7252", (Part(0, None, _one_of("[0129]", "sex of ISO 5218")),)),
    ("7258", (Part(0, None, _place_in_sequence),)),
    (
        "8001",
        (
            Part(0, 4, _one_of("(?!0+$)[0-9]+", "width above zero")),
            Part(4, 9, _one_of("(?!0+$)[0-9]+", "length above zero")),
            Part(9, 12, _one_of("(?!0+$)[0-9]+", "diameter above zero")),
            Part(12, 13, _one_of("[019]", "winding direction")),
        ),
    ),
    ("8007", (Part(0, None, _bank_account),)),
    ("8011", (Part(0, None, _one_of("0|[1-9][0-9]*", "number without zeros before it")),)),
)
_OF: Final[Mapping[str, tuple[Part, ...]]] = {
    ai: parts for ais, parts in _PARTS for ai in ais.split()
}


def _parts_of(ai: str) -> Iterator[Part]:
    yield from _OF.get(ai, ())
    if ai.startswith(("391", "393", "703")):
        yield from _OF[ai[:3]]


def check_contents(ai: str, value: str) -> None:
    """Hold the parts of a value against what they must be.

    Raises:
        RuleBroken: naming the part that is not.
    """
    for part in _parts_of(ai):
        stretch = value[part.start : part.stop]
        # What may be left out at the end is left out, or whole: that was told by its length.
        if stretch:
            part.check(stretch, ai)
