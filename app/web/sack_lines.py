"""Sacks as they are written down while they are weighed: so many, so heavy, in what state.

Each line of a lot is some fields of the delivery's form, `lots.0.sacks.3.net_kg`. Lines are added,
repeated and pasted here as they are by `static/sacks.js` where scripts run; a line without a weight
is none. Nothing is booked by it.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final, NamedTuple

from app.green.weights import TareSample
from app.shared.mass import grams_from_kg, kg_from_grams
from app.web.forms import Typed, Unreadable, read_number, small_number
from app.web.shown import kg_of_pounds

_FIELD: Final = re.compile(
    r"lots\.(\d+)\.(?:sacks\.(\d+)\.(count|net_kg|gross_kg|condition|location)(:lb)?|.+)"
)
_TIMES: Final = re.compile(r"\s*(\d{1,4})\s*[x*\N{MULTIPLICATION SIGN}]\s*(\S+)\s*")
_PARTS: Final = re.compile(r"[\s;]+")
SOUND: Final = "sound"


class Line(NamedTuple):
    """Sacks of one weight and one state, as they were typed."""

    weight: str
    times: str = ""
    condition: str = SOUND
    location: str = ""
    field: str = "net_kg"
    """Net or gross, with `:lb` where pounds were typed."""

    @property
    def sacks(self) -> int:
        """How many they are; one where nobody said."""
        times = small_number(self.times)
        return 1 if times is None else times

    def like(self, other: "Line") -> bool:
        """Tell whether both say the same of their sacks, but for how many."""
        return self._replace(times="") == other._replace(times="")


class Sum(NamedTuple):
    """What the lines of a lot come to so far."""

    sacks: int
    grams: int
    gross: bool
    """Whether packaging is among it that nobody gave the tare of."""


def lines_of(typed: Typed, lot: int) -> list[Line]:
    """Read the lines of a lot that have a weight, in their order."""
    rows: dict[int, dict[str, str]] = {}
    for name, values in typed.items():
        found = _FIELD.fullmatch(name)
        if found is None or found[2] is None or int(found[1]) != lot or not values:
            continue
        row = rows.setdefault(int(found[2]), {})
        if found[3] in {"net_kg", "gross_kg"}:
            row |= {"weight": values[-1].strip(), "field": f"{found[3]}{found[4] or ''}"}
        else:
            row["times" if found[3] == "count" else found[3]] = values[-1].strip()
    return [Line(**row) for _number, row in sorted(rows.items()) if row.get("weight")]


def joined(lines: Iterable[Line]) -> list[Line]:
    """Make one line of neighbours that say the same."""
    made: list[Line] = []
    for line in lines:
        if made and made[-1].like(line):
            made[-1] = line._replace(times=str(made[-1].sacks + line.sacks))
        else:
            made.append(line)
    return made


def tidied(typed: Typed) -> dict[str, Sequence[str]]:
    """Number lots and lines anew, without those that nothing was said in."""
    lots = sorted({int(found[1]) for name in typed if (found := _FIELD.fullmatch(name))})
    meant = [lot for lot in lots if _says_something(typed, lot)] or lots[:1]
    tidy = {name: values for name, values in typed.items() if not name.startswith("lots.")}
    for number, lot in enumerate(meant):
        beginning = f"lots.{lot}."
        tidy |= {
            f"lots.{number}.{name.removeprefix(beginning)}": values
            for name, values in typed.items()
            if name.startswith(beginning) and not name.startswith(f"{beginning}sacks.")
        }
        tidy |= _fields(number, lines_of(typed, lot))
    return tidy


def _says_something(typed: Typed, lot: int) -> bool:
    beginning = f"lots.{lot}."
    return any(
        any(value.strip() for value in values)
        for name, values in typed.items()
        if name.startswith(beginning) and not name.endswith(".condition")
    )


def _fields(lot: int, lines: Iterable[Line]) -> dict[str, Sequence[str]]:
    made: dict[str, Sequence[str]] = {}
    for number, line in enumerate(lines):
        row = f"lots.{lot}.sacks.{number}"
        made |= {
            f"{row}.count": [str(line.sacks)], f"{row}.{line.field}": [line.weight],
            f"{row}.condition": [line.condition], f"{row}.location": [line.location],
        }  # fmt: skip
    return made


def with_lines(typed: Mapping[str, Sequence[str]], lot: int, lines: Iterable[Line]) -> Typed:
    """Put lines in the place of those of a lot."""
    beginning = f"lots.{lot}.sacks."
    others = {name: said for name, said in typed.items() if not name.startswith(beginning)}
    return others | _fields(lot, lines)


def pasted(text: str, like: Line) -> Iterator[Line]:
    """Read a list of weights: one after the other, or so many times one, `40 x 60`.

    Raises:
        Unreadable: for the first line that is neither.
    """
    for written in text.splitlines():
        times = _TIMES.fullmatch(written)
        many, weights = (times[1], [times[2]]) if times else ("1", _PARTS.split(written.strip()))
        for weight in filter(None, weights):
            try:
                read_number(weight)
            except Unreadable as unreadable:
                raise Unreadable(f"{weight}: {unreadable}") from unreadable
            yield like._replace(weight=weight, times=many)


def added_up(lines: Iterable[Line], tare: TareSample | None) -> Sum:
    """Add up lines, to the gram; what cannot be read is refused when it is booked."""
    sacks = grams = 0
    bare = True
    for line in lines:
        each_g = _grams(line)
        if line.field.startswith("gross") and each_g:
            bare = bare and tare is not None
            each_g -= tare.of() if tare else 0
        sacks += line.sacks
        grams += each_g * line.sacks
    return Sum(sacks, grams, gross=not bare)


def _grams(line: Line) -> int:
    return _read_grams(line.weight, pounds=line.field.endswith(":lb")) or 0


def _read_grams(said: str, *, pounds: bool) -> int | None:
    try:
        return grams_from_kg(kg_of_pounds(read_number(said)) if pounds else read_number(said))
    except ValueError:
        return None


def grams_in(typed: Typed, name: str) -> int | None:
    """Read what stands in a field of masses, in grams; None where that is nothing of use."""
    for field in (name, f"{name}:lb"):
        if (values := typed.get(field)) and values[-1].strip():
            return _read_grams(values[-1].strip(), pounds=field != name)
    return None


def tare_of(typed: Typed, lot: int) -> TareSample | None:
    """Read what empty sacks of a lot weighed; None where that was not said or makes no sense."""
    grams = grams_in(typed, f"lots.{lot}.tare_sample.kg")
    empties = small_number(typed.get(f"lots.{lot}.tare_sample.empties", [""])[-1])
    if not grams or empties is None or not 0 < empties <= 5000:  # noqa: PLR2004
        return None
    return TareSample(empties=empties, sample_g=kg_from_grams(grams))
