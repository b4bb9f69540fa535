"""Codes of units: what a client may choose, and what the book issues.

A code the book issues is `<letter>-<six digits or more>-<check>`, the last character
being the ISO 7064 MOD 37,36 check character of the rest. It catches every single wrong
character and all but one sort of swap of two neighbours, and a number in which that sort
could happen is written with one zero more. So a misread label is told apart from a code that
does not exist, and never passes for another one.
"""

import re
from collections.abc import Iterator, Sequence
from enum import StrEnum
from itertools import pairwise
from string import ascii_uppercase, digits
from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, StringConstraints, WithJsonSchema
from stdnum.iso7064 import mod_37_36

from app.shared.flaws import Flaw

_UNIT = re.compile(r"[A-Z0-9][A-Z0-9._-]{1,31}")
_ISSUED = re.compile(r"([A-Z])-([0-9]{6,})-([A-Z0-9])")


class Standing(StrEnum):
    """What a code says of itself before anything is looked up."""

    SOUND = "sound"
    """It has the book's own form and its check character fits."""
    MISREAD = "misread"
    """One wrong character or one swap of neighbours away from a code the book could have issued."""
    FOREIGN = "foreign"
    """Somebody else chose it; nothing can be said."""


def issue(letter: str, number: int) -> str:
    """Make the code of unit `number`: `issue("S", 42)` is `S-000042-` and a check character."""
    written = f"{number:06d}"
    while _hides_a_swap(letter, written):
        written = f"0{written}"
    return f"{letter}-{written}-{mod_37_36.calc_check_digit(letter + written)}"


def _hides_a_swap(letter: str, written: str) -> bool:
    """Tell whether swapping two neighbours would leave the check character as it is.

    Only digits that follow one another can: where the running sum of the standard comes to 18 with
    the lower one and to 19 with the higher one, it cannot tell which of them was first.
    """
    check = mod_37_36.calc_check_digit(letter + written)
    return any(
        abs(int(one) - int(other)) == 1
        and mod_37_36.is_valid(f"{letter}{written[:i]}{other}{one}{written[i + 2 :]}{check}")
        for i, (one, other) in enumerate(pairwise(written))
    )


def standing(code: str) -> Standing:
    """Tell a misread code of the book from a sound one and from somebody else's."""
    if _is_sound(code):
        return Standing.SOUND
    slipped = _ISSUED.fullmatch(code) or any(_is_sound(other) for other in _one_slip_away(code))
    return Standing.MISREAD if slipped else Standing.FOREIGN


def _is_sound(code: str) -> bool:
    issued = _ISSUED.fullmatch(code)
    return issued is not None and mod_37_36.is_valid("".join(issued.groups()))


def _one_slip_away(code: str) -> Iterator[str]:
    """Name codes of the book's form that differ in one character or in a swap of neighbours."""
    form = [ascii_uppercase, "-", *[digits] * (len(code) - 4), "-", digits + ascii_uppercase]
    wrong = [
        i for i, allowed in zip(range(len(code)), form, strict=False) if code[i] not in allowed
    ]
    if len(wrong) == 1:
        (i,) = wrong
        yield from (code[:i] + other + code[i + 1 :] for other in form[i])
    elif len(wrong) == 2 and wrong[1] == wrong[0] + 1:  # noqa: PLR2004 - two neighbours
        i, j = wrong
        yield code[:i] + code[j] + code[i] + code[j + 1 :]


_SHOWN = 20
"""As many codes as are read in one sentence."""


def some(codes: Sequence[str]) -> str:
    """Name codes in a sentence, the first of them where they are many."""
    return ", ".join(codes[:_SHOWN]) + (", …" if len(codes) > _SHOWN else "")


def fold(code: object) -> object:
    """Fold plain ASCII to capitals; folding more would turn foreign letters into ASCII ones."""
    return code.strip().upper() if isinstance(code, str) and code.isascii() else code


def _well_formed(code: str) -> str:
    if not _UNIT.fullmatch(code):
        raise Flaw(
            "a code has 2 to 32 characters: A-Z, 0-9, full stop, underscore and hyphen, "
            "and begins with a letter or digit"
        )
    return code


def _not_reserved(code: str) -> str:
    if _ISSUED.fullmatch(code):
        raise Flaw(
            "%(code)s has the form of the codes the book issues; choose another form", code=code
        )
    return code


def as_typed(pattern: str) -> WithJsonSchema:
    """Describe text that is folded before it is looked at: it may come with blanks around it."""
    return WithJsonSchema({"type": "string", "pattern": rf"^\s*{pattern}\s*$"})


Code = Annotated[
    str,
    BeforeValidator(fold),
    AfterValidator(_well_formed),
    as_typed("[A-Za-z0-9][A-Za-z0-9._-]{1,31}"),
]
"""The code of something that exists."""

NewCode = Annotated[Code, AfterValidator(_not_reserved)]
"""A code somebody gives to something new."""

PlaceCode = Annotated[
    str,
    BeforeValidator(fold),
    StringConstraints(pattern=r"^[A-Z0-9][A-Z0-9._-]{0,31}$"),
    as_typed("[A-Za-z0-9][A-Za-z0-9._-]{0,31}"),
]
"""The code of a location, a machine or a product."""
