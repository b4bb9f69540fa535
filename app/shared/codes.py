"""Codes of units: what a client may choose, and what the book issues.

A code the book issues is `<letter>-<six digits or more>-<check>`, the last character
being the ISO 7064 MOD 37,36 check character of the rest. It catches every single wrong
character and every swap of two neighbours, so a misread label is told apart
from a code that does not exist.
"""

import re
from enum import StrEnum
from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, StringConstraints
from stdnum.iso7064 import mod_37_36

_UNIT = re.compile(r"[A-Z0-9][A-Z0-9._-]{1,31}")
_ISSUED = re.compile(r"([A-Z])-(\d{6,})-([A-Z0-9])")


class Standing(StrEnum):
    """What a code says of itself before anything is looked up."""

    SOUND = "sound"
    """It has the book's own form and its check character fits."""
    MISREAD = "misread"
    """It has the book's own form and its check character does not fit."""
    FOREIGN = "foreign"
    """Somebody else chose it; nothing can be said."""


def issue(letter: str, number: int) -> str:
    """Make the code of unit `number`: `issue("S", 42)` is `S-000042-` and a check character."""
    body = f"{letter}-{number:06d}"
    return f"{body}-{mod_37_36.calc_check_digit(body.replace('-', ''))}"


def standing(code: str) -> Standing:
    """Tell a misread code of the book from a sound one and from somebody else's."""
    issued = _ISSUED.fullmatch(code)
    if issued is None:
        return Standing.FOREIGN
    return Standing.SOUND if mod_37_36.is_valid("".join(issued.groups())) else Standing.MISREAD


def fold(code: object) -> object:
    """Fold plain ASCII to capitals; folding more would turn foreign letters into ASCII ones."""
    return code.strip().upper() if isinstance(code, str) and code.isascii() else code


def _well_formed(code: str) -> str:
    if not _UNIT.fullmatch(code):
        raise ValueError(
            "a code has 2 to 32 characters: A-Z, 0-9, full stop, underscore and hyphen, "
            "and begins with a letter or digit"
        )
    return code


def _not_reserved(code: str) -> str:
    if _ISSUED.fullmatch(code):
        raise ValueError(f"{code} has the form of the codes the book issues; choose another form")
    return code


Code = Annotated[str, BeforeValidator(fold), AfterValidator(_well_formed)]
"""The code of something that exists."""

NewCode = Annotated[Code, AfterValidator(_not_reserved)]
"""A code somebody gives to something new."""

PlaceCode = Annotated[
    str,
    BeforeValidator(fold),
    StringConstraints(pattern=r"^[A-Z0-9][A-Z0-9._-]{0,31}$"),
]
"""The code of a location, a machine or a product."""
