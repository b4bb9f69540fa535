"""The one catalogue of texts, and the manner in which a person is spoken to.

English stands in the code and is the key. Every other language is a file `locale/<language>.po`,
read when the first page in it is asked for; a text it lacks is said in English.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache
from gettext import GNUTranslations, NullTranslations
from io import BytesIO
from pathlib import Path
from typing import Final, Literal
from zoneinfo import ZoneInfo

from babel import Locale, negotiate_locale
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

from app.shared.speech import N_ as N_  # noqa: PLC0414 - given on to every page

LANGUAGES: Final = {"en": "English", "de": "Deutsch"}
"""The languages there are, each in its own words."""
_FORMATS: Final = {"en": "en_GB"}
"""Whose dates and numbers go with a language that several countries write."""
LOCALES: Final = Path(__file__).parent / "locale"


@dataclass(frozen=True)
class Manner:
    """How somebody is spoken to."""

    language: str = "en"
    mass_unit: Literal["kg", "lb"] = "kg"
    zone: str = "UTC"

    @property
    def locale(self) -> Locale:
        """Whose dates and numbers these are."""
        return Locale.parse(_FORMATS.get(self.language, self.language))

    @property
    def clock(self) -> ZoneInfo:
        """The zone of the times that are shown and taken."""
        return ZoneInfo(self.zone)


_manner: ContextVar[Manner] = ContextVar("manner", default=Manner())  # noqa: B039 - is frozen


def manner() -> Manner:
    """Tell how the person of this request is spoken to."""
    return _manner.get()


def speak(chosen: Manner) -> None:
    """Speak so for the rest of this request."""
    _manner.set(chosen)


@contextmanager
def speaking(chosen: Manner) -> Iterator[None]:
    """Speak so for a while."""
    before = _manner.set(chosen)
    yield
    _manner.reset(before)


def language_asked(accept_language: str) -> str:
    """Choose of the languages there are the one a browser would rather have."""
    wanted = [part.partition(";")[0].strip() for part in accept_language.split(",")]
    return negotiate_locale(wanted, list(LANGUAGES), sep="-") or "en"


@cache
def _catalogue(language: str) -> NullTranslations:
    file = LOCALES / f"{language}.po"
    if not file.is_file():
        return NullTranslations()
    with file.open("rb") as opened:
        said = read_po(opened, locale=language)
    made = BytesIO()
    write_mo(made, said)
    made.seek(0)
    return GNUTranslations(made)


@cache
def _sayings(language: str) -> frozenset[str]:
    """Gather what is said in a language, without what is filled in."""
    said = getattr(_catalogue(language), "_catalog", {})
    return frozenset(said.values())


def language_of(said: str) -> str:
    """Tell in which language a text is: what the catalogue does not say an act said, in English."""
    language = manner().language
    return language if said in _sayings(language) else "en"


class English(str):
    """What an act said of a field: in English, whatever the page speaks."""

    __slots__ = ()


def foreign(said: str) -> bool:
    """Tell whether what is said of a field is in another language than the page."""
    return isinstance(said, English) and manner().language != "en"


def gettext(message: str) -> str:
    """Say it in the language of this request."""
    return _catalogue(manner().language).gettext(message)


def ngettext(one: str, many: str, number: int) -> str:
    """Say it in the language of this request, by the number."""
    return _catalogue(manner().language).ngettext(one, many, number)


_ = gettext
