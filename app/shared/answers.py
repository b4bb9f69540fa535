"""JSON in and out without binary floats."""

import json
import re
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any, Final, NoReturn

import simplejson
from fastapi import Response
from pydantic import BaseModel

from app.standards.json_text import twin

_LONGEST_NUMBER = 40
MOST_NAMES: Final = 1000
"""No object that somebody sends has so many names; what the book answers may."""


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is no JSON number")


def _exact(digits: str) -> Decimal:
    """Read a number exactly; one that no scale could show is refused before it costs anything."""
    if len(digits) > _LONGEST_NUMBER or re.search(r"[eE][+-]?\d{3,}$", digits):
        raise ValueError("a number of more than 40 characters or with a three-digit exponent")
    return Decimal(digits)


def _whole(digits: str) -> int:
    return int(_exact(digits))


def _once_each(members: list[tuple[str, Any]]) -> dict[str, Any]:
    """Refuse a name that stands twice: nobody could tell which of the two was meant (RFC 7493)."""
    content = dict(members)
    if len(content) != len(members):
        twice = twin(name for name, _ in members)
        raise ValueError(f"the name {twice} stands twice in one object")
    return content


def _refuse_unwritable(value: object) -> None:
    """Refuse text that no database can hold: NUL, and halves of surrogate pairs."""
    if isinstance(value, str):
        if "\0" in value or (not value.isprintable() and re.search("[\ud800-\udfff]", value)):
            raise ValueError("text with a NUL character or half of a surrogate pair")
    elif isinstance(value, dict):
        for key, member in value.items():
            _refuse_unwritable(key)
            _refuse_unwritable(member)
    elif isinstance(value, list):
        for member in value:
            _refuse_unwritable(member)


def _few_names(most: int, members: list[tuple[str, Any]]) -> dict[str, Any]:
    """Refuse an object of more names than any has: each would be a flaw to be named."""
    if len(members) > most:
        raise ValueError(f"an object with {len(members)} names, and none here has more than {most}")
    return _once_each(members)


def read_json(body: bytes | str, most_names: int | None = None) -> Any:  # noqa: ANN401 - JSON is any of its types
    """Parse JSON with every fraction as `Decimal`, and objects of so many names at most.

    Raises:
        ValueError: for what is no JSON, NaN, Infinity, numbers beyond any scale, nesting
            beyond what can be parsed, names that stand twice, and text that no database can hold.
    """
    try:
        content = json.loads(
            body,
            parse_float=_exact,
            parse_int=_whole,
            parse_constant=_refuse_constant,
            object_pairs_hook=partial(_few_names, most_names) if most_names else _once_each,
        )
        _refuse_unwritable(content)
    except RecursionError as error:
        raise ValueError("nested too deeply") from error
    return content


def _plain(value: object) -> str:
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} has no form in JSON")


def to_json(content: object) -> bytes:
    """Write JSON; a `Decimal` becomes a number with the very digits it has."""
    if isinstance(content, BaseModel):
        content = content.model_dump(by_alias=True)
    text = simplejson.dumps(
        content,
        use_decimal=True,
        ensure_ascii=False,
        allow_nan=False,
        separators=(",", ":"),
        iterable_as_array=True,
        default=_plain,
    )
    return text.encode()


class Answer(Response):
    """A JSON answer made by `to_json`."""

    media_type = "application/json"

    def __init__(
        self, content: object, status_code: int = 200, headers: Mapping[str, str] | None = None
    ) -> None:
        body = content if isinstance(content, bytes) else to_json(content)
        super().__init__(body, status_code, headers)


class Pdf(Response):
    """A PDF to be shown or printed."""

    media_type = "application/pdf"


class Svg(Response):
    """A picture that can be read aloud. It is that and nothing else: it loads and runs nothing."""

    media_type = "image/svg+xml"

    def __init__(self, content: str | bytes, status_code: int = 200) -> None:
        super().__init__(content, status_code, _PICTURE_HEADERS)


_PICTURE_HEADERS: Final = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; sandbox",
    "Cache-Control": "private, no-cache",
}
PICTURE: Final[dict[int | str, dict[str, Any]]] = {
    200: {"content": {Svg.media_type: {"schema": {"type": "string"}}}}
}
"""What the description of the API says of a picture."""
