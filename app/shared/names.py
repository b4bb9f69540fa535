"""Names that people give to suppliers, customers, kinds of crates, styles and recipes."""

import re
from typing import Final
from unicodedata import category, normalize

from app.shared.flaws import Flaw

_UNSEEN: Final = frozenset("\u115f\u1160\u2800\u3164\uffa0")
"""Fillers and a blank: letters and a sign by their category, of which nothing is printed."""
_TURNS: Final = re.compile("[\u202a-\u202e\u2066-\u2069]")
"""What turns the direction of all that follows (UAX #9, 2.1 to 2.5)."""
_CONTROLS: Final = frozenset({"Cc", "Zl", "Zp"})
"""Controls, and the ends of lines and paragraphs."""


def legible(name: str) -> str:
    """Let a name through that somebody can read and find again.

    Raises:
        Flaw: where nothing of it can be seen, or where it would be read otherwise than it is.
    """
    if not name.isprintable() and (
        _TURNS.search(name) or any(category(each) in _CONTROLS for each in name)
    ):
        raise Flaw("a name has no control characters and none that turn the direction of writing")
    if not any(category(each)[0] in "LNPS" and each not in _UNSEEN for each in name):
        raise Flaw("a name needs a letter, a digit or a sign that can be seen")
    return name


def fold_name(name: str) -> str:
    """Bring a name to the form in which it is compared.

    Whatever its capitals and however its accents were typed (the canonical caseless match of the
    Unicode Standard, section 3.13), with any run of spaces as one, and without what has no width.
    Letters of two scripts that look alike stay two letters: names are written in every script.
    """
    if not name.isprintable():
        name = "".join(each for each in name if category(each) != "Cf")
    return normalize("NFC", normalize("NFD", " ".join(name.split())).casefold())
