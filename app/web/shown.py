"""Masses, numbers and times as a person reads them, each a filter of the templates."""

from collections.abc import Callable
from datetime import date, datetime
from decimal import ROUND_HALF_EVEN, Decimal

from babel.dates import format_date, format_time
from babel.numbers import format_decimal

from app.shared.days import at_clocks_here, day_of
from app.shared.mass import GRAM, kg_from_grams
from app.shared.speech import Speech
from app.shared.texts import NARROW, country_in, kilograms_in, number_in
from app.shared.times import now
from app.standards.best_before import DateForm, written
from app.web.texts import gettext, manner, ngettext

POUND_KG = Decimal("0.45359237")
"""The international pound, exactly (weights and measures acts since 1959)."""


def number(value: Decimal | int) -> str:
    """Write a number as the reader does, with the decimals it has, three at most."""
    return number_in(manner().language, value)


def thousandths(value: int) -> str:
    """Write whole thousandths, as readings are kept, as the number they are."""
    return number(kg_from_grams(value))


def mass(grams: int) -> str:
    """Write grams in kilograms, or in pounds to a hundredth where those were chosen."""
    return mass_kg(kg_from_grams(grams))


def mass_kg(kilograms: Decimal | int) -> str:
    """Write kilograms, as the API answers them, in what was chosen."""
    if manner().mass_unit == "lb":
        return f"{number(pounds_of(Decimal(kilograms)))}{NARROW}lb"
    return f"{number(Decimal(kilograms))}{NARROW}kg"


def typed_number(value: Decimal | int) -> str:
    """Write a number as somebody would type it into a field."""
    return format_decimal(
        value, format="0.#########", locale=manner().locale, decimal_quantization=False
    )


def typed_mass(name: str, grams: int) -> dict[str, str]:
    """Write a mass into the field for it, which is in what was chosen."""
    kilograms = kg_from_grams(grams)
    if manner().mass_unit == "lb":
        return {f"{name}:lb": typed_number(pounds_of(kilograms))}
    return {name: typed_number(kilograms)}


def pounds_of(kilograms: Decimal) -> Decimal:
    """Turn kilograms into pounds, to a hundredth, as the pages show them."""
    return (kilograms / POUND_KG).quantize(Decimal("0.01"), ROUND_HALF_EVEN)


def kg_of_pounds(pounds: Decimal) -> Decimal:
    """Turn pounds into kilograms, to the gram, as the book keeps them."""
    return (pounds * POUND_KG).quantize(GRAM, ROUND_HALF_EVEN)


def moment(at: datetime) -> str:
    """Write a time in the roastery's zone."""
    there = at_clocks_here(at)
    return f"{format_date(there, locale=manner().locale)}, {clock(at)}"


def stamp(said: str) -> str:
    """Write a time, as the API answers it, in the roastery's zone."""
    return moment(datetime.fromisoformat(said))


def clock(at: datetime) -> str:
    """Write the time of day alone."""
    return format_time(at_clocks_here(at), "short", locale=manner().locale)


def day(on: date | datetime) -> str:
    """Write a day; of a time the day it was in the roastery's zone."""
    there = day_of(on) if isinstance(on, datetime) else on
    return format_date(there, locale=manner().locale)


def country(code: str) -> str:
    """Name a country in the reader's own language."""
    return country_in(manner().language, code)


def machine_time(at: date | datetime) -> str:
    """Write a time for a `<time datetime=…>`."""
    return at.isoformat()


def local_minute(at: datetime | None = None) -> str:
    """Write a time as `<input type="datetime-local">` takes it; now when none is given."""
    return at_clocks_here(at or now()).strftime("%Y-%m-%dT%H:%M")


def kilograms(grams: int) -> str:
    """Write grams in kilograms, whatever was chosen: beside an axis of kilograms."""
    return kilograms_in(manner().language, grams)


def spoken(mass: Callable[[int], str] = mass) -> Speech:
    """Tell a picture how to word itself for the person of this request."""
    return Speech(
        manner().language, gettext, ngettext, number, mass, day,
        manner().locale.number_symbols["latn"]["decimal"],
    )  # fmt: skip


def bag_date(best_before: date | str, form: str) -> str:
    """Word the date for a bag, as an act answers it, in the language of the page."""
    on = date.fromisoformat(best_before) if isinstance(best_before, str) else best_before
    return written(on, DateForm(form), gettext)


FILTERS = {
    "bag_date": bag_date,
    "number": number,
    "thousandths": thousandths,
    "mass": mass,
    "typed_number": typed_number,
    "mass_kg": mass_kg,
    "moment": moment,
    "stamp": stamp,
    "clock": clock,
    "day": day,
    "country": country,
    "machine_time": machine_time,
}
