"""What a page shows as it stands in the code, to somebody who chose another language."""

import re
from collections.abc import Iterator, Mapping
from functools import cache
from html.parser import HTMLParser
from typing import Any, Final

from tests.web import catalogue

_EMPTY: Final = frozenset({"br", "hr", "img", "input", "link", "meta"})
"""Elements that never end, since nothing stands in them."""
_SAID_BY_ATTRIBUTES: Final = ("aria-label", "alt", "title", "placeholder")
_SIGNS: Final = frozenset({"kg", "g", "lb", "mm"})
"""Values that stand for themselves in every language."""
_TYPED: Final = (
    "inspection on arrival", "retained sample", "for the cupping table", "one bag burst",
    "wet and musty, claim settled", "stone", "on the rack", "wet hulled",
    "lot, name, origin",  # columns of a file are named so
)  # fmt: skip
"""How words begin or go that are of the roastery and not of the pages."""


class _Reader(HTMLParser):
    """Reads a page as it is seen and heard, but for codes and what is marked as being English."""

    def __init__(self) -> None:
        super().__init__()
        self.read: list[str] = []
        self._within: list[tuple[str, bool]] = []
        """Elements that stand open, and whether what is in them is passed over."""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        known = dict(attrs)
        apart = (
            tag in {"script", "style", "pre"}
            or known.get("translate") == "no"
            or ("lang" in known and tag != "html")
            or "code" in (known.get("class") or "").split()
        )
        if not apart and not self._apart:
            self.read += [said for name in _SAID_BY_ATTRIBUTES if (said := known.get(name))]
        if tag not in _EMPTY:
            self._within.append((tag, apart))

    def handle_endtag(self, tag: str) -> None:
        while self._within and self._within.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if not self._apart and (said := " ".join(data.split())):
            self.read.append(said)

    @property
    def _apart(self) -> bool:
        return any(apart for _tag, apart in self._within)


def texts_of(page: str) -> list[str]:
    reader = _Reader()
    reader.feed(page)
    return reader.read


def values_of(description: object) -> set[str]:
    """Gather the values of every enumeration that the API takes or answers."""
    return {each for each in _values(description) if each.islower()} - _SIGNS


def _values(schema: Any) -> Iterator[str]:
    if isinstance(schema, list):
        for each in schema:
            yield from _values(each)
    elif isinstance(schema, dict):
        yield from (each for each in schema.get("enum", ()) if isinstance(each, str))
        if isinstance(schema.get("const"), str):
            yield schema["const"]
        for each in schema.values():
            yield from _values(each)


def left_in_english(page: str, values: set[str], language: str) -> list[str]:
    """Name what a page says that has other words in its language, or is a value as it stands."""
    said, raw = _translated(language), _any_of(frozenset(values), language)
    return [
        text for text in texts_of(page)
        if text in said or (raw.search(text) and not any(typed in text for typed in _TYPED))
    ]  # fmt: skip


@cache
def _translated(language: str) -> Mapping[str, str]:
    """Gather the texts that are not the same in a language."""
    return {
        each.id: str(each.string)
        for each in catalogue.read(language)
        if isinstance(each.id, str) and each.id and each.string != each.id
    }


@cache
def _any_of(values: frozenset[str], language: str) -> re.Pattern[str]:
    """Look for any value as a word of its own that is no word of the language too."""
    same = " ".join(map(str, (each.string for each in catalogue.read(language)))).split()
    wanted = {form for each in values for form in (each, each.replace("_", " "))} - {*same}
    return re.compile(rf"(?<![\w./-])({'|'.join(map(re.escape, sorted(wanted)))})(?![\w/-])")
