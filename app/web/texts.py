"""The manner in which the person of a request is spoken to, and texts said so."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from babel import Locale, negotiate_locale

from app.shared.speech import N_ as N_  # noqa: PLC0414 - given on to every page
from app.shared.texts import LANGUAGES, catalogue, locale_of


@dataclass(frozen=True)
class Manner:
    """How somebody is spoken to."""

    language: str = "en"
    mass_unit: Literal["kg", "lb"] = "kg"

    @property
    def locale(self) -> Locale:
        """Whose dates and numbers these are."""
        return locale_of(self.language)


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
def _sayings(language: str) -> frozenset[str]:
    """Gather what is said in a language, without what is filled in."""
    said = getattr(catalogue(language), "_catalog", {})
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
    # Of nothing a catalogue says who made it.
    return catalogue(manner().language).gettext(message) if message else ""


def ngettext(one: str, many: str, number: int) -> str:
    """Say it in the language of this request, by the number."""
    return catalogue(manner().language).ngettext(one, many, number)


_ = gettext


def options(words: Mapping[Any, str]) -> list[tuple[str, str]]:
    """Say the words of what can be chosen, each beside its value."""
    return [(str(value), gettext(said)) for value, said in words.items()]
