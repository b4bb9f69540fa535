"""How long a food keeps its quality, and how the date of that is written on its label.

Regulation (EU) No 1169/2011, Annex X, 1: "best before" where the date has its day, "best before
end" where it has not; day and month suffice up to three months, month and year up to eighteen, the
year beyond. Directive 2011/91/EU, article 5: a date with at least its day and month may serve as
the lot mark. A best-before date speaks of quality alone: of nothing else may be concluded from it.
"""

from calendar import monthrange
from collections.abc import Callable, Mapping
from datetime import date, timedelta
from enum import StrEnum
from typing import Final, NamedTuple


class DateForm(StrEnum):
    """How much of a date is written, the most first."""

    DAY = "day"
    """Day, month and year."""
    MONTH = "month"
    YEAR = "year"


class Keeps(NamedTuple):
    """How long a food keeps its quality: in days, in months, or unknown."""

    days: int | None = None
    months: int | None = None

    def after(self, packed_on: date) -> date | None:
        """Name the last day of it."""
        if self.days is not None:
            return packed_on + timedelta(days=self.days)
        return None if self.months is None else add_months(packed_on, self.months)


_DAY_UP_TO_MONTHS: Final = 3
_MONTH_UP_TO_MONTHS: Final = 18
_DAY_UP_TO_DAYS: Final = 92
_MONTH_UP_TO_DAYS: Final = 550
"""The longest three and eighteen months of the calendar: a shelf life in days is dated alike
whenever it begins."""

_ORDER: Final = tuple(DateForm)


def add_months(day: date, months: int) -> date:
    """Go on by calendar months; where the month has no such day, to its last one."""
    ahead = day.year * 12 + day.month - 1 + months
    year, month = divmod(ahead, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def least_form(keeps: Keeps) -> DateForm:
    """Give the shortest form that suffices for a shelf life, whenever it begins."""
    if keeps.months is not None:
        return _form(keeps.months, _DAY_UP_TO_MONTHS, _MONTH_UP_TO_MONTHS)
    if keeps.days is not None:
        return _form(keeps.days, _DAY_UP_TO_DAYS, _MONTH_UP_TO_DAYS)
    return DateForm.YEAR


def _form(length: int, day_up_to: int, month_up_to: int) -> DateForm:
    if length <= day_up_to:
        return DateForm.DAY
    return DateForm.MONTH if length <= month_up_to else DateForm.YEAR


def least_form_between(packed_on: date, best_before: date) -> DateForm:
    """Give the shortest form that suffices for a date on bags of that day."""
    if best_before <= add_months(packed_on, _DAY_UP_TO_MONTHS):
        return DateForm.DAY
    if best_before <= add_months(packed_on, _MONTH_UP_TO_MONTHS):
        return DateForm.MONTH
    return DateForm.YEAR


def stronger(one: DateForm, other: DateForm) -> DateForm:
    """Choose the form that says more of the date."""
    return min(one, other, key=_ORDER.index)


WORDS: Final[Mapping[DateForm, str]] = {
    DateForm.DAY: "Best before %(day)s %(month)s %(year)s",
    DateForm.MONTH: "Best before end %(month)s %(year)s",
    DateForm.YEAR: "Best before end %(year)s",
}
"""In another language these are the words of the regulation in that language, as German has
"mindestens haltbar bis" and "mindestens haltbar bis Ende"."""


def written(best_before: date, form: DateForm, say: Callable[[str], str] = str) -> str:
    """Write the date as it stands on the label: in its own order, uncoded."""
    return say(WORDS[form]) % {
        "day": f"{best_before:%d}", "month": f"{best_before:%m}", "year": f"{best_before.year:04d}",
    }  # fmt: skip


def covers_until(best_before: date, form: DateForm) -> date:
    """Name the last day that the words cover: "end" is the last day of the month or year."""
    if form is DateForm.DAY:
        return best_before
    month = best_before.month if form is DateForm.MONTH else 12
    return date(best_before.year, month, monthrange(best_before.year, month)[1])


def serves_as_lot_mark(form: DateForm | None) -> bool:
    """Tell whether the date alone tells bags apart well enough, so that no lot mark is needed."""
    return form is DateForm.DAY
