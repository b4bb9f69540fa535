"""The one catalogue of texts: what the pages, labels and papers say in each language.

English stands in the code and is the key. Every other language is a file `locale/<language>.po`,
read when the first text in it is asked for; a text it lacks is said in English.
"""

from decimal import Decimal
from functools import cache, partial
from gettext import GNUTranslations, NullTranslations
from io import BytesIO
from pathlib import Path
from typing import Final

from babel import Locale
from babel.dates import format_date
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.numbers import format_decimal

from app.shared.mass import kg_from_grams
from app.shared.speech import PLAIN, Speech
from app.standards.countries import country_name

LANGUAGES: Final = {"en": "English", "de": "Deutsch"}
"""The languages there are, each in its own words."""
_FORMATS: Final = {"en": "en_GB"}
"""Whose dates and numbers go with a language that several countries write."""
LOCALES: Final = Path(__file__).parent / "locale"
_THREE: Final = "#,##0.###"
NARROW: Final = "\N{NARROW NO-BREAK SPACE}"
"""Between a number and its unit."""


def locale_of(language: str) -> Locale:
    """Tell whose dates and numbers go with a language."""
    return Locale.parse(_FORMATS.get(language, language))


def country_in(language: str, code: str) -> str:
    """Name a country in a language."""
    return locale_of(language).territories.get(code) or country_name(code)


def number_in(language: str, value: Decimal | int) -> str:
    """Write a number as a language does, with the decimals it has, three at most."""
    return format_decimal(
        value, format=_THREE, locale=locale_of(language), decimal_quantization=True
    )


def kilograms_in(language: str, grams: int) -> str:
    """Write grams in kilograms as a language does."""
    return f"{number_in(language, kg_from_grams(grams))}{NARROW}kg"


@cache
def catalogue(language: str) -> NullTranslations:
    """Read what is said in a language."""
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
def speech_in(language: str) -> Speech:
    """Speak a language to whoever it may be, in kilograms; English plainly, as the API does."""
    if language == "en":
        return PLAIN
    said, locale = catalogue(language), locale_of(language)
    return Speech(
        language, said.gettext, said.ngettext,
        partial(number_in, language), partial(kilograms_in, language),
        lambda on: format_date(on, locale=locale),
        locale.number_symbols["latn"]["decimal"],
    )  # fmt: skip
