"""Times: RFC 3339 with an offset on the way in, UTC inside and on the way out."""

import re
from datetime import UTC, date, datetime
from typing import Annotated, Final

from pydantic import AfterValidator, AwareDatetime, BeforeValidator, PlainSerializer, WithJsonSchema
from sqlalchemy import DateTime, Dialect
from sqlalchemy.types import TypeDecorator

from app.shared.flaws import Flaw


def now() -> datetime:
    """Tell the time in UTC."""
    return datetime.now(UTC)


def to_utc(moment: datetime) -> datetime:
    """Bring a moment to UTC."""
    return moment if moment.tzinfo is UTC else moment.astimezone(UTC)


def text(moment: datetime) -> str:
    """Write a moment as the API does: `2026-03-31T06:00:00Z`, fraction where there is one."""
    return to_utc(moment).isoformat().removesuffix("+00:00") + "Z"


class UtcDateTime(TypeDecorator[datetime]):
    """A moment that is UTC in every database; SQLite knows no time zones."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        utc = to_utc(value)
        return utc.replace(tzinfo=None) if dialect.name == "sqlite" else utc

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if dialect.name == "sqlite" else to_utc(value)


_RFC_3339 = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d+)?([Zz]|[+-]\d\d:\d\d)", re.ASCII)


def _with_offset(value: object) -> object:
    """Let through what RFC 3339 calls a date-time: numbers and bare dates are not one."""
    if isinstance(value, str) and _RFC_3339.fullmatch(value):
        return value
    raise ValueError("a time is RFC 3339 with an offset, such as 2026-03-31T06:00:00Z")


FIRST_DAY: Final = date(1900, 1, 1)
LAST_DAY: Final = date(8999, 12, 31)
"""Days that are taken. Beyond them lie slips alone, and the calendar of a computer ends soon: weeks
taken off such a day, or another time zone, and there is no day that could be answered."""


def _within(day: date) -> None:
    if not FIRST_DAY <= day <= LAST_DAY:
        raise Flaw(
            "%(said)s lies outside of %(first)s to %(last)s",
            said=day, first=FIRST_DAY, last=LAST_DAY,
        )  # fmt: skip


def _taken_moment(moment: datetime) -> datetime:
    _within(moment.date())
    return to_utc(moment)


MomentIn = Annotated[AwareDatetime, BeforeValidator(_with_offset), AfterValidator(_taken_moment)]
"""A field that reads a time with an offset; one without is refused."""

MomentKept = Annotated[AwareDatetime, AfterValidator(to_utc)]
"""A field that reads a time that was kept, whenever that was: the book stays readable."""

MomentOut = Annotated[
    datetime,
    PlainSerializer(text, return_type=str),
    WithJsonSchema({"type": "string", "format": "date-time"}),
]
"""A field that answers a time in UTC, ending in `Z`."""

_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)


def _day(value: object) -> object:
    """Let through a date alone: Pydantic would take a number for seconds since 1970."""
    if isinstance(value, date) or (isinstance(value, str) and _DAY.fullmatch(value)):
        return value
    raise Flaw("a date is a text such as 2026-03-31")


def _taken_day(day: date) -> date:
    _within(day)
    return day


Day = Annotated[date, BeforeValidator(_day), AfterValidator(_taken_day)]
"""A field that reads a date."""
