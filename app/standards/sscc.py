"""Serial Shipping Container Codes: eighteen digits that name one case or pallet anywhere.

An SSCC is an extension digit, the GS1 company prefix, a serial reference and a check digit (GS1
General Specifications; the check digit as GS1 UK's leaflet on it has it).
"""

import re
from typing import Final

from app.standards.gs1.keys import SSCC_LENGTH, check_sscc, with_check_digit
from app.standards.gs1.rules import RuleBroken

FEWEST_PREFIX_DIGITS: Final = 4
MOST_PREFIX_DIGITS: Final = 12

_SCANNED = re.compile(r"(?:\]C1)?(?:\(00\)|00)(\d{18})", re.ASCII)
"""What a scanner sends of a label: the application identifier 00 before the code."""


def is_sscc(code: str) -> bool:
    """Tell whether eighteen digits have the check digit that fits."""
    try:
        check_sscc(code)
    except RuleBroken:
        return False
    return True


def has_its_form(code: str) -> bool:
    """Tell whether a code is eighteen digits, whatever the last one is."""
    return len(code) == SSCC_LENGTH and code.isascii() and code.isdigit()


def make_sscc(prefix: str, number: int) -> str:
    """Make the code of the logistic unit `number` of a firm.

    The extension digit is the highest digit of the number, so that no number is wasted.

    Raises:
        ValueError: when the prefix leaves too few digits for the number.
    """
    room = SSCC_LENGTH - 1 - len(prefix)
    serial = f"{number:0{room}d}"
    if len(serial) > room:
        raise ValueError(f"the company prefix {prefix} leaves {room} digits, too few for {number}")
    body = f"{serial[0]}{prefix}{serial[1:]}"
    return with_check_digit(body)


def as_scanned(text: str) -> str:
    """Take the application identifier off what was scanned; anything else stays as it is."""
    scanned = _SCANNED.fullmatch(text.strip())
    return scanned[1] if scanned else text


def element_string(code: str) -> str:
    """Write an SSCC as people read it under its bars: `(00) 3 9521234 000000042 7` unspaced."""
    return f"(00){code}"
