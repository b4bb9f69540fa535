"""The one catalogue of texts: what the pages, labels and papers say in each language.

English stands in the code and is the key. Every other language is a file `locale/<language>.po`,
read when the first text in it is asked for; a text it lacks is said in English.
"""

from decimal import Decimal
from functools import cache
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
_NARROW: Final = "\N{NARROW NO-BREAK SPACE}"


def locale_of(language: str) -> Locale:
    """Tell whose dates and numbers go with a language."""
    return Locale.parse(_FORMATS.get(language, language))


def country_in(language: str, code: str) -> str:
    """Name a country in a language."""
    return locale_of(language).territories.get(code) or country_name(code)


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

    def number(value: Decimal | int) -> str:
        return format_decimal(value, format=_THREE, locale=locale, decimal_quantization=True)

    return Speech(
        language, said.gettext, said.ngettext, number,
        lambda grams: f"{number(kg_from_grams(grams))}{_NARROW}kg",
        lambda on: format_date(on, locale=locale),
        locale.number_symbols["latn"]["decimal"],
    )  # fmt: skip
