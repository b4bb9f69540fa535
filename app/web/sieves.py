"""Metric sieves of a screen analysis: a row each, of the size of the holes and what rests on it.

Screens of 64ths of an inch have numbers, and a field each; sieves have sizes, which are typed.
"""

from collections.abc import Iterator, Mapping
from typing import Final, NamedTuple

from app.standards.screens import Series
from app.web.forms import MOST_ROWS, Typed, Unreadable, read_number, small_number
from app.web.texts import _

SIEVES: Final = "_sieves"
_SCREENS: Final = "screens."
_PAN: Final = f"{_SCREENS}pan"


class Sieved(NamedTuple):
    """What was typed, its sieves among the screens of the body."""

    typed: Typed
    rows: Mapping[str, str]
    """The fields of rows, by the screens they fill."""
    errors: Mapping[str, str]


def sieved(typed: Typed) -> Sieved:
    """Make screens of what was typed in rows of sieves; each is refused at its row."""
    screens: dict[str, list[str]] = {}
    rows: dict[str, str] = {}
    errors: dict[str, str] = {}
    numbered = any(
        name.startswith(_SCREENS) and name != _PAN and any(map(str.strip, values))
        for name, values in typed.items()
    )
    for row, size, share in _said(typed):
        if not share:
            errors[f"{row}.pct"] = _("This is needed.")
        try:
            screen = f"{_SCREENS}{_size(size)}"
        except Unreadable as unreadable:
            errors[f"{row}.mm"] = str(unreadable)
            continue
        if screen in screens:
            errors[f"{row}.mm"] = _("That sieve stands there twice.")
        if numbered:
            errors[f"{row}.mm"] = _("Either numbered screens or sieves in millimetres.")
        screens[screen], rows[screen] = [share], f"{row}.pct"
    series = {"screen_series": [Series.MM.value]} if screens else {}
    return Sieved({**typed, **screens, **series}, rows, errors)


def _said(typed: Typed) -> Iterator[tuple[str, str, str]]:
    """Read the rows in which something stands: the row, the size, what rests on it."""
    steps = {name.split(".")[1] for name in typed if name.startswith(f"{SIEVES}.")}
    numbers = {number for step in steps if (number := small_number(step)) is not None}
    for number in sorted(each for each in numbers if each < MOST_ROWS):
        row = f"{SIEVES}.{number}"
        size, share = ("".join(typed.get(f"{row}.{each}", ())).strip() for each in ("mm", "pct"))
        if size or share:
            yield row, size, share


def _size(said: str) -> str:
    """Write the size of the holes as the name of a field has it, `7,10` (see `forms`)."""
    if not said:
        raise Unreadable(_("This is needed."))
    size = read_number(said)
    if not 1 <= size < 100 or size != round(size, 2):  # noqa: PLR2004 - as screens are named
        raise Unreadable(_("Millimetres are wanted, with two decimals at most."))
    return f"{size:.2f}".replace(".", ",")
