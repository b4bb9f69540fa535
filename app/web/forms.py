"""From what a browser sends to the body that the API reads, and back with words beside the field.

A field of a form has the name of the member it fills, with full stops on the way down:
`lots.0.sacks.1.net_kg`; a comma is a full stop within a name, `screens.7,10`. What the member is,
number, time, list or text, is read off the JSON schema of the body, so that a form needs no second
description. Blank fields are left out, as in JSON.

What people write: decimal comma or point, pounds where the field's name ends in `:lb`, a list as
one text with a line each, a time of the roastery's clock.
"""

import re
import secrets
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final, Generic, TypeVar

from pydantic import BaseModel, ValidationError

from app.shared.days import zone_here
from app.shared.flaws import Flaw
from app.shared.kinds import KINDS
from app.shared.problems import MemberError, Refused
from app.web.members import is_map, kind_of
from app.web.plain import FLAWS, plainly, words_of
from app.web.shown import day, kg_of_pounds, typed_number
from app.web.texts import English, _, manner

Body = TypeVar("Body", bound=BaseModel)

Typed = Mapping[str, Sequence[str]]
"""What was typed by the name of its field, as often as the field was there."""
Place = tuple[str | int, ...]
"""Where something stands in a body: `("lots", 0, "name")`."""

TOKEN_FIELD: Final = "_token"  # noqa: S105 - the name of a field
KEY_FIELD: Final = "_key"
ASK_FIELD: Final = "_ask"
"""A button that asks something of the form and books nothing: `look`, what would be booked;
`more.lines`, one more row of a list; whatever else a page answers by itself."""
LOOK: Final = "look"
_MORE: Final = "more."
_LONGEST_NAME: Final = 200
"""No field has a name so long, or one that goes down so far:"""
_DEEPEST: Final = 8
MOST_ROWS: Final = 10_000
"""A form has no more fields, so no more rows;"""
_ROW: Final = re.compile(r"[0-9]{1,4}")
"""and this is the number of one."""
_PARTS: Final = re.compile(r"[\s;,]+")
_NUMBERS: Final = re.compile(r"[\s;]+")


class Unreadable(ValueError):  # noqa: N818 - an answer, not an error
    """What was typed is not what the field takes; the message says so to whoever typed it."""


@dataclass
class Form(Generic[Body]):
    """What somebody typed, the body it makes, and what was said against it."""

    body: type[Body]
    typed: Typed = field(default_factory=dict)
    key: str = field(default_factory=lambda: secrets.token_urlsafe(16))
    """The idempotency key: the same until the form was booked, however often it is sent."""
    asked: Body | None = None
    errors: dict[str, str] = field(default_factory=dict)
    """What was refused, by the name of its field; what belongs to no field by ""."""
    problem: Refused | None = None
    """The refusal as a whole; its words stand above the form."""
    numbers: Mapping[str, Sequence[str]] = field(default_factory=dict)
    """The numbers of the rows that were read, by the name of their list: blank ones are none."""

    def value(self, name: str) -> str:
        """Say what stands in a field."""
        return "\n".join(self.typed.get(name, ()))

    def values(self, name: str) -> Sequence[str]:
        """Say everything that stands under one name."""
        return self.typed.get(name, ())

    def error(self, name: str) -> str | None:
        """Say what was refused about a field."""
        return self.errors.get(name)

    def has(self, *names: str) -> bool:
        """Tell whether something stands in one of these fields, in any unit, or is wrong with it.

        What is folded away is opened by it.
        """
        filled = (name for name, values in self.typed.items() if any(map(str.strip, values)))
        return not {*names}.isdisjoint(name.partition(":")[0] for name in (*filled, *self.errors))

    def rows(self, name: str, at_least: int = 1) -> range:
        """Count the rows of a list of fields: `rows("lots.0.sacks")`."""
        beginning = f"{name}."
        steps = [
            typed.removeprefix(beginning).partition(".")[0]
            for typed in self.typed
            if typed.startswith(beginning)
        ]
        numbers = [int(step) for step in steps if _ROW.fullmatch(step)]
        more = f"{_MORE}{name}" == self.asks
        return range(max([at_least, *(number + 1 for number in numbers)]) + more)

    @property
    def asks(self) -> str:
        """What somebody asked of it instead of a booking; nothing most often."""
        return asks(self.typed)

    @property
    def unfinished(self) -> bool:
        """Whether somebody wanted one more row, and no booking yet."""
        return self.asks.startswith(_MORE)

    @property
    def status(self) -> int:
        """The status of the page that shows it."""
        if self.problem is not None:
            return KINDS[self.problem.slug].status
        return 422 if self.errors else 200

    @property
    def problem_title(self) -> str:
        """What kind of refusal it is, in a few words."""
        return words_of(self.problem.slug).title if self.problem else ""

    @property
    def problem_meaning(self) -> str:
        """What to know and to do about it."""
        return words_of(self.problem.slug).meaning if self.problem else ""

    @property
    def problem_detail(self) -> str:
        """What was refused in this case, with its figures."""
        return plainly(self.problem.detail, self.problem.slug) if self.problem else ""

    @property
    def stray(self) -> list[str]:
        """What was refused and stands beside no field that was typed in."""
        return [said for name, said in self.errors.items() if name not in self.typed]

    def refuse(self, refused: Refused) -> None:
        """Put a refusal beside the fields it is about, and above the form."""
        self.problem = refused
        listed = refused.figures.get("errors", [])
        assert isinstance(listed, list)  # noqa: S101 - `FieldRefused` makes it
        fields = self._fields()
        for each in listed:
            where = each["pointer"] if "pointer" in each else f"/{each['parameter']}"
            self.errors[self._name(_place(where), fields)] = plainly(each["detail"])

    def _fields(self) -> Mapping[str, str]:
        """Name the first field of each member, whatever unit it is in: once, not for each flaw."""
        return {typed.partition(":")[0]: typed for typed in reversed([*self.typed])}

    def _name(self, place: Place, fields: Mapping[str, str]) -> str:
        """Name the field that fills a place of the body, or the list that the place is in."""
        steps = list(self._steps(place))
        names = (".".join(steps[:length]) for length in range(len(steps), 0, -1))
        found = next((fields[name] for name in names if name in fields), None)
        return ".".join(steps) if found is None else found

    def _steps(self, place: Place) -> Iterator[str]:
        """Take the way back from a place of the body to its field, by the row that was typed in."""
        name = ""
        for step in place:
            rows = self.numbers.get(name, ())
            said = rows[step] if isinstance(step, int) and step < len(rows) else str(step)
            name = f"{name}.{said}" if name else said
            yield said.replace(".", ",")

    def read(self) -> "Form[Body]":
        """Make the body of what was typed."""
        said: dict[str, Any] = {}
        for name, values in self.typed.items():
            meant = [value for value in values if value.strip()]
            if name.startswith("_") or not meant:
                continue
            try:
                _put(said, _steps(name), self._meaning(name, meant))
            except Unreadable as unreadable:
                self.errors[name] = str(unreadable)
        if self.errors:
            return self
        self.numbers = dict(_numbers(self.body, said))
        try:
            self.asked = self.body.model_validate(_listed(self.body, said))
        except ValidationError as refused:
            fields = self._fields()
            for flaw in refused.errors():
                place = (*flaw["loc"], *_member(flaw))
                self.errors[self._name(place, fields)] = _words(flaw)
        return self

    def _meaning(self, name: str, values: Sequence[str]) -> Any:  # noqa: ANN401 - JSON
        path, _colon, unit = name.partition(":")
        return _meant(self.body, kind_of(self.body, path), values, unit)


def asks(typed: Typed) -> str:
    """Say what a form asks instead of a booking."""
    return [*typed.get(ASK_FIELD, ()), ""][0]


def blank(body: type[Body], **filled: object) -> Form[Body]:
    """Make a form that nobody has sent, with what is known already filled in."""
    typed = {
        name: [str(each) for each in value] if isinstance(value, list | tuple) else [str(value)]
        for name, value in filled.items()
        if value is not None
    }
    return Form(body, typed)


def in_place_of(typed: Typed, beginning: str, filled: Mapping[str, str]) -> Typed:
    """Fill fields in, in the place of those that begin so; where nothing was found they stay."""
    if not filled:
        return typed
    rest = {name: said for name, said in typed.items() if not name.startswith(beginning)}
    return rest | {name: [said] for name, said in filled.items()}


def kept(body: type[Body], typed: Typed) -> Form[Body]:
    """Take up a form that somebody sent and is still at, without reading it."""
    keys = typed.get(KEY_FIELD, ())
    key = keys[0] if keys and re.fullmatch(r"[\x21-\x7e]{1,255}", keys[0]) else None
    return Form(body, typed) if key is None else Form(body, typed, key)


def sent(body: type[Body], typed: Typed) -> Form[Body]:
    """Read a form that somebody sent."""
    form = kept(body, typed)
    return form if form.unfinished else form.read()


def small_number(said: str) -> int | None:
    """Read up to nine digits, as numbers of the book have; None for anything else."""
    plain = said.strip()
    return int(plain) if plain.isdecimal() and len(plain) < 10 else None  # noqa: PLR2004


def _steps(name: str) -> list[str]:
    """Take the way down to a member apart."""
    steps = name.partition(":")[0].split(".")
    if len(name) > _LONGEST_NAME or len(steps) > _DEEPEST:
        raise _no_form_of_ours(name)
    return [step.replace(",", ".") for step in steps]


def _put(said: dict[str, Any], steps: Sequence[str], value: object) -> None:
    for step in steps[:-1]:
        said = said.setdefault(step, {})
        if not isinstance(said, dict):
            raise _no_form_of_ours(".".join(steps))
    said[steps[-1]] = value


def _no_form_of_ours(name: str) -> Refused:
    return Refused("bad-request", f"No form has a field {name[:_LONGEST_NAME]} beside the others.")


def _listed(body: type[BaseModel], said: object, path: Sequence[str] = ()) -> Any:  # noqa: ANN401 - JSON
    """Turn members that are all numbers into a list, unless the body names its members so."""
    if not isinstance(said, dict):
        return said
    parts = {name: _listed(body, value, [*path, name]) for name, value in said.items()}
    rows = _rows(body, said, path)
    return [parts[name] for name in rows] if rows else parts


def _numbers(
    body: type[BaseModel], said: object, path: Sequence[str] = ()
) -> Iterator[tuple[str, list[str]]]:
    """Find the lists in what was said, each with the numbers of its rows."""
    if isinstance(said, Mapping):
        yield ".".join(path), _rows(body, said, path)
        for name, value in said.items():
            yield from _numbers(body, value, [*path, name])


def _rows(body: type[BaseModel], said: object, path: Sequence[str]) -> list[str]:
    """Name the members that are rows of a list, in their order; none where it is no list."""
    if not isinstance(said, Mapping) or not said or not all(map(_ROW.fullmatch, said)):
        return []
    return [] if is_map(body, ".".join(path)) else sorted(said, key=int)


def _meant(
    body: type[BaseModel], kind: tuple[str, str | None], values: Sequence[str], unit: str
) -> Any:  # noqa: ANN401 - JSON
    what, more = kind
    if what == "array":
        parted = _NUMBERS if more in {"number", "integer"} else _PARTS
        each = [part for value in values for part in parted.split(value.strip())]
        return [_meant(body, (more or "string", None), [one], unit) for one in each]
    said = values[-1].strip()
    if what in {"number", "integer"}:
        return _whole(kg_of_pounds(read_number(said)) if unit == "lb" else read_number(said))
    if what == "boolean":
        return said not in {"false", "no"}
    if more == "date-time":
        return _moment(said)
    return said


def _whole(value: Decimal) -> Decimal | int:
    return int(value) if value == value.to_integral_value() else value


def read_number(said: str) -> Decimal:
    """Read a number with a decimal comma or point; Unreadable for what could be two numbers.

    "1,234" may be one and a bit or more than a thousand, by who writes it. With the reader's own
    decimal sign it is the former; with the other sign it is refused.
    """
    plain = said.replace("\N{MINUS SIGN}", "-")
    found = re.fullmatch(r"([+-]?)(\d{1,12})(?:([.,])(\d{1,9}))?", plain, re.ASCII)
    if found is None:
        raise Unreadable(_("A number is wanted here, such as %(example)s, without thousands "
                           "separators.") % {"example": _example()})  # fmt: skip
    sign, whole, mark, part = found.groups()
    own = manner().locale.number_symbols["latn"]["decimal"]
    if mark and mark != own and len(part) == 3:  # noqa: PLR2004 - thousands come in threes
        raise Unreadable(
            _("This can be read in two ways. Write it with the decimal sign %(sign)s.")
            % {"sign": own}
        )
    return Decimal(f"{sign}{whole}.{part or 0}")


def _example() -> str:
    return f"11{manner().locale.number_symbols['latn']['decimal']}4"


def _moment(said: str) -> str:
    """Read a time of the roastery's clock; what names its own offset is let through as it is."""
    try:
        at = datetime.fromisoformat(said)
    except ValueError as error:
        raise Unreadable(_("A date and a time are wanted here.")) from error
    return said if at.tzinfo else at.replace(tzinfo=zone_here()).isoformat()


def _place(pointer: str) -> Place:
    return tuple(
        int(step) if step.isdecimal() else step.replace("~1", "/").replace("~0", "~")
        for step in pointer.removeprefix("#").split("/")
        if step
    )


def _member(flaw: Any) -> Place:  # noqa: ANN401 - Pydantic's own dictionary
    """Name the member that a flaw of a whole body is about, where it says so."""
    cause = flaw.get("ctx", {}).get("error")
    return (cause.member,) if isinstance(cause, MemberError) else ()


def _words(flaw: Any) -> str:  # noqa: ANN401 - Pydantic's own dictionary
    context = flaw.get("ctx", {})
    words = FLAWS.get(flaw["type"])
    if words is not None:
        return _(words) % {name: _figure(each) for name, each in context.items()}
    cause = context.get("error")
    if isinstance(cause, Flaw):
        figures = {name: _figure(each) for name, each in cause.figures.items()}
        return _sentence(_(cause.words) % figures)
    said = plainly(str(cause) if isinstance(cause, Exception) else str(flaw["msg"]))
    return English(_sentence(said)) if isinstance(said, English) else said


def _sentence(said: str) -> str:
    return f"{said[:1].upper()}{said[1:]}."


def _figure(value: object) -> str:
    if isinstance(value, date):
        return day(value)
    return typed_number(value) if isinstance(value, int | Decimal) else str(value)
