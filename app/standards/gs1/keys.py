"""Keys of GS1: trade items (GTIN), places and parties (GLN), shipping units (SSCC).

The check digit is that of the General Specifications, 7.9.1: from the right, weights 3, 1, 3, 1…,
and the digit is what is missing to the next ten. Leading zeros change nothing, so a GTIN of 8, 12
or 13 digits is the same key with zeros before it, 14 in all.
"""

import re
from typing import Final

from biip.checksums import gs1_standard_check_digit

from app.standards.gs1.rules import Rule, RuleBroken

_DIGITS: Final = re.compile(r"[0-9]{2,}")

GTIN_LENGTHS: Final = (8, 12, 13, 14)
GLN_LENGTH: Final = 13
SSCC_LENGTH: Final = 18
VARIABLE_MEASURE: Final = "9"
"""The indicator a GTIN-14 begins with where each item has a weight of its own."""


def with_check_digit(body: str) -> str:
    """Complete a key by its check digit."""
    return f"{body}{gs1_standard_check_digit(body)}"


def check_key(digits: str, ai: str | None = None) -> str:
    """Pass a key on.

    Raises:
        RuleBroken: for what has other characters than digits, or does not end in its check digit.
    """
    if not _DIGITS.fullmatch(digits):
        raise RuleBroken(
            Rule.LENGTH_OR_CHARACTERS, f"“{digits}” is no key: it has digits alone", ai
        )
    wanted = gs1_standard_check_digit(digits[:-1])
    if int(digits[-1]) != wanted:
        raise RuleBroken(
            Rule.CHECK_DIGIT, f"{digits} ends in {digits[-1]}; its check digit is {wanted}", ai
        )
    return digits


def gtin_14(digits: str) -> str:
    """Write a GTIN with all its 14 digits.

    Raises:
        RuleBroken: for another number of digits than a GTIN has, or a wrong check digit.
    """
    if len(digits) not in GTIN_LENGTHS:
        raise RuleBroken(
            Rule.LENGTH_OR_CHARACTERS, f"a GTIN has 8, 12, 13 or 14 digits, not {len(digits)}"
        )
    return check_key(digits).zfill(GTIN_LENGTHS[-1])


def gtin_forms(gtin: str) -> list[str]:
    """Name every way in which a GTIN of 14 digits may be written."""
    bare = gtin.lstrip("0")
    return [gtin[-length:] for length in GTIN_LENGTHS if len(bare) <= length]


def check_sscc(digits: str) -> str:
    """Pass on the number of a shipping unit, which has 18 digits."""
    return _of_length(digits, SSCC_LENGTH, "an SSCC")


def check_gln(digits: str) -> str:
    """Pass on the number of a place or a party, which has 13 digits."""
    return _of_length(digits, GLN_LENGTH, "a GLN")


def _of_length(digits: str, length: int, noun: str) -> str:
    if len(digits) != length:
        raise RuleBroken(
            Rule.LENGTH_OR_CHARACTERS, f"{noun} has {length} digits, not {len(digits)}"
        )
    return check_key(digits)
