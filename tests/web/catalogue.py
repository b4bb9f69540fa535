"""The catalogue of texts, held against the templates and the code."""

import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from babel.messages import Catalog
from babel.messages.extract import DEFAULT_KEYWORDS, extract_from_dir
from babel.messages.pofile import read_po, write_po

from app.cover.rules import NO_OPEN_DAY, NO_USE
from app.green.readings.rules import NO_METHOD
from app.recall.drills.rules import WANTED
from app.settings import Settings
from app.shared.kinds import KINDS
from app.shared.texts import LANGUAGES, LOCALES
from app.standards import best_before, handling, recalls
from app.web.house import meaning_of
from app.web.plain import words_of
from app.web.rendering import TEMPLATES

_WEB = TEMPLATES.parent
_SPEAKING = (
    "shared", "packing/charts", "packing/weighing", "tracing", "recall", "buying", "cover",
    "green/arrivals", "labels", "papers",
)  # fmt: skip
"""Packages whose words and pictures the pages show."""
_OF_RULES = (
    handling.HEAVY, handling.IN_PARTS, handling.PALLET, handling.ABOVE_SHOULDER, handling.IN_LOADS,
    recalls.IN_THE_HOUSE, recalls.AT_BUSINESSES, recalls.AT_CONSUMERS, recalls.PERHAPS_AT_CONSUMERS,
    *recalls.NOTICE_SAYS, *WANTED, *best_before.WORDS.values(),
    NO_USE, NO_OPEN_DAY, NO_METHOD,
)  # fmt: skip
"""What rules and standards say; they know of no catalogue."""
_KEYWORDS = DEFAULT_KEYWORDS | {"pair": (1, 2), "Flaw": None, "say": None}
_METHODS = [("**.py", "python"), ("templates/**.html", "jinja2")]
_OPTIONS = {"templates/**.html": {"trimmed": "true", "newstyle_gettext": "true"}}


def translated() -> list[str]:
    """Name the languages that have a catalogue; English stands in the code."""
    return [language for language in LANGUAGES if language != "en"]


def extracted() -> Catalog:
    """Gather every text of the pages, with what refusals are called and what settings mean."""
    found = Catalog(project="Jutebook", charset="utf-8")
    for _file, _line, message, _comments, _context in extract_from_dir(
        str(_WEB), _METHODS, _OPTIONS
    ):
        found.add(message)
    for package in _SPEAKING:
        folder = str(_WEB.parent / package)
        for _file, _line, message, *_more in extract_from_dir(folder, keywords=_KEYWORDS):
            found.add(message)
    for slug in KINDS:
        for said in words_of(slug):
            found.add(said)
    for said in (*_OF_RULES, *map(meaning_of, Settings.model_fields.values())):
        found.add(said)
    return found


def file_of(language: str) -> Path:
    return LOCALES / f"{language}.po"


def read(language: str) -> Catalog:
    with file_of(language).open("rb") as opened:
        return read_po(opened, locale=language)


def renew() -> None:
    """Bring each language's file to the texts there are; what is new there waits for its words."""
    for language in translated():
        said = read(language)
        said.update(extracted(), no_fuzzy_matching=True)
        said.obsolete.clear()
        with file_of(language).open("wb") as opened:
            write_po(
                opened, said, no_location=True, omit_header=True, sort_output=True,
                width=100, ignore_obsolete=True,
            )  # fmt: skip


def flaws(language: str) -> Iterator[str]:
    """Name texts that lack their words, that are not said any more, or that lose a figure."""
    wanted, said = extracted(), read(language)
    for message in wanted:
        there = said.get(message.id)
        if message.id and (there is None or not all(_strings(there.string)) or there.fuzzy):
            yield f"lacks its words: {message.id}"
    for message in said:
        if message.id and message.id not in wanted:
            yield f"is not said any more: {message.id}"
        if any(_figures(words) - _figures(str(message.id)) for words in _strings(message.string)):
            yield f"names a figure that is not there: {message.id}"


def _figures(text: str) -> set[str]:
    return set(re.findall(r"%\(\w+\)s", text))


def _strings(string: str | Sequence[str] | None) -> Sequence[str]:
    return [string or ""] if isinstance(string, str | None) else string
