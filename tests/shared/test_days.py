"""Days of the house: when they begin, what is booked on which, on both databases."""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as trials
from hypothesis import strategies as st
from sqlalchemy import Engine, literal, select, union_all
from sqlmodel import Session

from app.settings import Settings
from app.shared.days import begin_of, day_of, days_in, end_of
from app.shared.days_in_sql import day_in_sql
from app.shared.db import batched, reading
from app.shared.times import UtcDateTime, text
from tests.api import Api, kg
from tests.makers import furnish, pack, receive, roast, sack_codes

EAST = "Australia/Melbourne"
ZONES = (
    "UTC", "Europe/Berlin", EAST, "Asia/Kathmandu", "America/Santiago", "America/New_York",
    "Australia/Lord_Howe", "Pacific/Kiritimati", "Africa/Casablanca",
)  # fmt: skip


@pytest.mark.parametrize(
    ("zone", "day", "begins", "hours"),
    [
        ("UTC", "2026-03-29", "2026-03-29T00:00:00Z", 24),
        # Directive 2000/84/EC, articles 2 and 3: clocks change at 01:00 UTC on the last Sunday of
        # March and of October.
        ("Europe/Berlin", "2026-03-29", "2026-03-28T23:00:00Z", 23),
        ("Europe/Berlin", "2026-10-25", "2026-10-24T22:00:00Z", 25),
        # The time zone database of IANA, file `asia`: UTC+5:45 since 1986.
        ("Asia/Kathmandu", "2026-11-26", "2026-11-25T18:15:00Z", 24),
        # The same, file `southamerica`: clocks go forward at 24:00 on the Saturday, so that the
        # first Sunday after the 2nd of September begins at 01:00.
        ("America/Santiago", "2026-09-06", "2026-09-06T04:00:00Z", 23),
        # The same, file `australasia`: half an hour of summer time, at 02:00 on the first Sunday
        # of October.
        ("Australia/Lord_Howe", "2026-10-04", "2026-10-03T13:30:00Z", 23.5),
    ],
)
def test_a_day_begins_at_midnight_there_and_is_as_long_as_it_is(
    zone: str, day: str, begins: str, hours: float
) -> None:
    with days_in(zone):
        begin = begin_of(date.fromisoformat(day))
        assert text(begin) == begins
        assert end_of(date.fromisoformat(day)) - begin == timedelta(hours=hours)


@pytest.mark.parametrize("zone", ZONES)
def test_the_first_and_the_last_day_there_are_have_their_bounds(zone: str) -> None:
    with days_in(zone):
        for day in (date.min, date.max):
            assert begin_of(day) < end_of(day)
        assert day_of(datetime.min.replace(tzinfo=UTC)) <= date(1, 1, 1)
        assert day_of(datetime.max.replace(tzinfo=UTC)) == date(9999, 12, 31)


@trials(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    zone=st.sampled_from(ZONES),
    at=st.datetimes(datetime(2024, 1, 1), datetime(2027, 12, 31), timezones=st.just(UTC)),  # noqa: DTZ001
)
def test_a_moment_lies_in_its_day(zone: str, at: datetime) -> None:
    with days_in(zone):
        assert begin_of(day_of(at)) <= at < end_of(day_of(at))


def test_databases_tell_days_as_the_time_zone_database_does(engine: Engine) -> None:
    # A bit more than two years by steps that come to every minute of the day.
    start = datetime(2025, 1, 1, tzinfo=UTC)
    moments = [start + n * timedelta(hours=7, minutes=1, seconds=13) for n in range(2_600)]
    days = {zone: [at.astimezone(ZoneInfo(zone)).date() for at in moments] for zone in ZONES}

    with reading(engine) as session:
        for zone, expected in days.items():
            with days_in(zone):
                first, last = day_of(moments[0]), day_of(moments[-1])
                assert _told(session, moments, first, last) == expected, zone


@pytest.mark.parametrize("zone", ZONES)
def test_databases_tell_days_on_both_sides_of_midnight(engine: Engine, zone: str) -> None:
    first = date(2026, 1, 1)
    with reading(engine) as session, days_in(zone):
        days = [first + timedelta(days=n) for n in range(365)]
        begun = [begin_of(day) for day in days]
        before = [at - timedelta(microseconds=1) for at in begun]
        eve = first - timedelta(days=1)

        assert _told(session, begun, first, days[-1]) == days
        assert _told(session, before, eve, days[-1]) == [eve, *days[:-1]]


def _told(session: Session, moments: list[datetime], first: date, last: date) -> list[date]:
    """Ask a database for the day of each moment, as many at once as SQLite takes."""
    told: list[date] = []
    for some in batched(moments, 400):
        each = union_all(*(
            select(literal(n).label("n"), literal(at, UtcDateTime()).label("at"))
            for n, at in enumerate(some)
        )).subquery()  # fmt: skip
        told += session.scalars(select(day_in_sql(each.c.at, first, last)).order_by(each.c.n))
    return told


class TestSixInTheMorningInMelbourne:
    """The 9th of March 2026 at six there; in UTC it is seven in the evening of the 8th."""

    SIX = "2026-03-08T19:00:00Z"
    TODAY, YESTERDAY = "2026-03-09", "2026-03-08"

    @pytest.fixture
    def settings(self, database_url: str) -> Settings:
        return Settings(
            database_url=database_url, hold_on_arrival=False, time_zone=EAST, _env_file=None
        )

    @pytest.fixture
    def packed(self, api: Api) -> Any:
        furnish(api)
        (sack,) = sack_codes(receive(api, 60))
        roasted = roast(api, {sack: 60}, kg("50"), roasted_at="2026-03-08T18:00:00Z")
        return pack(api, {roasted["code"]: 1}, 4, packed_at=self.SIX)

    def test_a_bag_is_dated_by_the_day_that_hangs_on_the_wall(self, packed: Any) -> None:
        # 365 days of shelf life.
        assert packed["best_before"] == "2027-03-09"

    def test_green_is_used_on_that_day(self, api: Api, packed: Any) -> None:
        del packed
        used = {
            day: api.get(f"/cover?by=lot&as_of={day}&window_days=1")["items"][0]["used_kg"]
            for day in (self.YESTERDAY, self.TODAY)
        }
        assert used == {self.YESTERDAY: 0, self.TODAY: 60}
