"""JSON text with every number exact (RFC 8259), and names that stand once (RFC 7493)."""

import json
import re
from collections.abc import Iterable
from decimal import Decimal
from typing import Final, NoReturn, TypeAlias

Json: TypeAlias = "dict[str, Json] | list[Json] | str | Decimal | bool | None"

_LONGEST_NUMBER: Final = 40
_ABSURD: Final = re.compile(r"[eE][+-]?\d{3,}$")
_SHOWN: Final = 20


class NotJsonError(ValueError):
    """The text as a whole cannot be read."""


def parse(content: bytes) -> Json:
    """Read JSON text.

    Raises:
        NotJsonError: saying where the text stops being UTF-8 or JSON.
    """
    try:
        parsed: Json = json.loads(
            # A byte order mark may be ignored (RFC 8259, section 8.1); some programs write one.
            content.decode("utf-8-sig"),
            parse_float=_exact,
            parse_int=_exact,
            parse_constant=_refuse_constant,
            object_pairs_hook=_once_each,
        )
        if b"\\u" in content:
            _refuse_unwritable(parsed)
    except UnicodeDecodeError as error:
        raise NotJsonError(f"no UTF-8 text: byte {error.start + 1} is none") from error
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        raise NotJsonError(f"no JSON: {error.msg} at {place}") from error
    except RecursionError as error:
        raise NotJsonError("nested too deeply") from error
    return parsed


def _refuse_unwritable(value: Json) -> None:
    """Refuse text that cannot be written again: NUL, and halves of surrogate pairs."""
    if isinstance(value, str):
        if re.search("[\0\ud800-\udfff]", value):
            raise NotJsonError("text with a NUL character or half of a surrogate pair")
    elif isinstance(value, dict):
        for name, member in value.items():
            _refuse_unwritable(name)
            _refuse_unwritable(member)
    elif isinstance(value, list):
        for member in value:
            _refuse_unwritable(member)


def _refuse_constant(name: str) -> NoReturn:
    raise NotJsonError(f"{name} is no JSON number")


def _exact(digits: str) -> Decimal:
    """Read a number; one of absurd length is refused before it costs anything."""
    if len(digits) > _LONGEST_NUMBER or _ABSURD.search(digits):
        raise NotJsonError(
            f"a number of more than {_LONGEST_NUMBER} characters or with a three-digit exponent: "
            f"{digits[:_SHOWN]}"
        )
    return Decimal(digits)


def _once_each(members: list[tuple[str, Json]]) -> dict[str, Json]:
    content = dict(members)
    if len(content) != len(members):
        twice = twin(name for name, _ in members)
        raise NotJsonError(f"the name {twice[:_SHOWN]} stands twice in one object")
    return content


def twin(names: Iterable[str]) -> str:
    """Find the first name that stands there again, in one pass; ValueError where none does."""
    seen: set[str] = set()
    for name in names:
        if name in seen:
            return name
        seen.add(name)
    raise ValueError("each name stands there once")
