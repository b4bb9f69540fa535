"""Standing orders: on which dates they fall, and that each is called off once."""

from datetime import UTC, date, datetime, timedelta
from functools import partial
from typing import Any

import pytest
from dateutil.rrule import MO, WEEKLY, rrule
from hypothesis import given
from hypothesis import strategies as st

from app.sending.standing.rules import WEEKDAYS, Rhythm
from tests.api import Api, problem
from tests.makers import furnish
from tests.serving import Wire, at_once

WEEKLY_ORDER: dict[str, Any] = {
    "code": "NORD-WEEKLY", "customer": "Café Nord", "reference": "as ever",
    "lines": [{"product": "HOUSE-250", "bags": 12}], "weekdays": ["friday", "tuesday"],
    "every_weeks": 2, "starts_on": "2026-11-25", "ends_on": "2026-12-31", "note": "back door",
}  # fmt: skip
"""Begins on a Wednesday: its first week has only a Friday left."""

DAYS = st.dates(date(2025, 1, 1), date(2027, 12, 31))


@given(
    weekdays=st.sets(st.integers(0, 6), min_size=1), every=st.integers(1, 52), starts=DAYS,
    lasts=st.none() | st.integers(0, 500), first=DAYS, length=st.integers(0, 365),
)  # fmt: skip
def test_dates_are_those_of_a_weekly_rule_of_icalendar(  # noqa: PLR0917 - drawn, not called
    weekdays: set[int], every: int, starts: date, lasts: int | None, first: date, length: int
) -> None:
    ends = None if lasts is None else starts + timedelta(days=lasts)
    last = first + timedelta(days=length)
    rhythm = Rhythm([WEEKDAYS[each] for each in weekdays], every, starts, ends)

    # RFC 5545, 3.3.10 (FREQ=WEEKLY with INTERVAL, BYDAY, WKST=MO, UNTIL), as dateutil reads it.
    rule = rrule(
        WEEKLY, interval=every, wkst=MO, byweekday=sorted(weekdays),
        dtstart=datetime(starts.year, starts.month, starts.day, tzinfo=UTC),
        until=None if ends is None else datetime(ends.year, ends.month, ends.day, tzinfo=UTC),
    )  # fmt: skip
    begin, end = (datetime(day.year, day.month, day.day, tzinfo=UTC) for day in (first, last))
    expected = [moment.date() for moment in rule.between(begin, end, inc=True)]

    assert list(rhythm.dates(first, last)) == expected


@pytest.fixture(autouse=True)
def standing(request: pytest.FixtureRequest) -> Any:
    if "api" not in request.fixturenames:
        return None
    api: Api = request.getfixturevalue("api")
    furnish(api)
    return api.post("/standing-orders", WEEKLY_ORDER)


def dates(api: Api, query: str) -> list[tuple[str, bool, str | None]]:
    found = api.get(f"/standing-orders/nord-weekly/dates?{query}")["dates"]
    return [(each["on"], each["paused"], each["order"]) for each in found]


def test_a_standing_order_falls_on_its_days_and_is_called_off_once(
    api: Api, standing: dict[str, Any]
) -> None:
    made = api.post("/standing-orders/NORD-WEEKLY/orders", {"on": "2026-11-27", "code": "SO-1"})

    refused = api.refuse(
        "/standing-orders/NORD-WEEKLY/orders", {"on": "2026-11-27"}, 409, "already-done"
    )
    assert refused["order"] == "SO-1"
    assert api.get("/standing-orders/nord-weekly") == standing
    assert api.get("/standing-orders")["items"] == [standing]
    assert standing["weekdays"] == ["tuesday", "friday"]
    assert (made["due_on"], made["called_for"]) == ("2026-11-27", "2026-11-27")
    assert (made["customer"], made["standing_order"], made["reference"], made["note"]) == (
        "Café Nord", "NORD-WEEKLY", "as ever", "back door",
    )  # fmt: skip
    assert [(line["product"], line["bags"]) for line in made["lines"]] == [("HOUSE-250", 12)]
    assert dates(api, "from=2026-11-24&to=2026-12-22") == [
        ("2026-11-27", False, "SO-1"), ("2026-12-08", False, None), ("2026-12-11", False, None),
        ("2026-12-22", False, None),
    ]  # fmt: skip
    assert len(api.get("/orders")["items"]) == 1


@pytest.mark.parametrize(
    ("on", "said"),
    [
        ("2026-11-24", "does not fall"),  # a Tuesday, before it begins
        ("2026-12-01", "does not fall"),  # the week between
        ("2026-12-09", "does not fall"),  # a Wednesday
        ("2027-01-05", "does not fall"),  # after it ended
        ("2026-12-11", "is paused"),
    ],
)
def test_a_date_on_which_it_does_not_fall_is_refused(api: Api, on: str, said: str) -> None:
    api.send("PATCH", "/standing-orders/NORD-WEEKLY", {"paused": ["2026-12-11"]}, If_Match='"1"')

    refused = api.refuse("/standing-orders/NORD-WEEKLY/orders", {"on": on}, 422, "invalid")

    assert refused["errors"][0]["pointer"] == "#/on"
    assert said in refused["detail"]
    assert api.get("/orders")["items"] == []


def test_what_was_called_off_stays_when_the_standing_order_changes(api: Api) -> None:
    api.post("/standing-orders/NORD-WEEKLY/orders", {"on": "2026-11-27", "code": "SO-1"})
    before = api.get("/orders/SO-1")
    change = {"weekdays": ["monday"], "every_weeks": 1, "paused": ["2026-12-07"], "ends_on": None}

    changed = api.send("PATCH", "/standing-orders/NORD-WEEKLY", change, If_Match='"1"')

    assert changed.json()["version"] == 2
    assert api.get("/orders/SO-1") == before
    assert dates(api, "from=2026-11-24&to=2026-12-07") == [
        ("2026-11-27", False, "SO-1"), ("2026-11-30", False, None), ("2026-12-07", True, None),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"ends_on": "2026-11-24"}, "#/ends_on"),
        ({"weekdays": []}, "#/weekdays"),
        ({"weekdays": ["monday", "monday"]}, "#/weekdays"),
        ({"every_weeks": 0}, "#/every_weeks"),
        ({"every_weeks": 53}, "#/every_weeks"),
        ({"lines": [{"product": "NONE", "bags": 1}]}, "#/lines/0/product"),
    ],
)
def test_a_standing_order_that_makes_no_sense_is_refused(
    api: Api, change: dict[str, Any], pointer: str
) -> None:
    entered = api.send("POST", "/standing-orders", WEEKLY_ORDER | {"code": "X-2"} | change)
    changed = api.send("PATCH", "/standing-orders/NORD-WEEKLY", change, If_Match='"1"')

    for answer in (entered, changed):
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["pointer"] == pointer
    assert [each["version"] for each in api.get("/standing-orders")["items"]] == [1]


@pytest.mark.parametrize(
    "query", ["from=2026-11-27&to=2026-11-26", "from=2026-01-01&to=2027-01-02"]
)
def test_a_period_runs_forward_and_is_no_longer_than_a_year(api: Api, query: str) -> None:
    answer = api.send("GET", f"/standing-orders/NORD-WEEKLY/dates?{query}")

    problem(answer, 422, "invalid")
    assert answer.json()["errors"][0]["parameter"] == "to"


def test_two_who_call_off_the_same_date_make_one_order(api: Api, wire: Wire) -> None:
    call = partial(wire.post, "/standing-orders/NORD-WEEKLY/orders", {"on": "2026-12-08"})

    answers = at_once([call] * 4)

    assert sorted(answer.status_code for answer in answers) == [201, 409, 409, 409]
    assert len(api.get("/orders")["items"]) == 1
