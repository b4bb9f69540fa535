"""Windows, closed days and the day on which it runs out; a bakery's sales, to the fraction."""

import csv
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from fractions import Fraction
from math import ceil
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from app.cover.foretelling import by_week
from app.cover.rules import (
    NO_USE,
    Calendar,
    Slot,
    Tally,
    cover_of,
    filled_by,
    lasting,
    slots_named,
    why_none,
    window,
)
from app.standards.planning import rounded

AS_OF = date(2026, 3, 31)
SUNDAYS = Calendar(frozenset({6}))


def tally(drawn: Mapping[date, int], **more: int) -> Tally:
    return Tally("GL-1", drawn=dict(drawn), **more)  # type: ignore[arg-type]


def test_a_window_ends_on_the_day_asked_about_and_counts_open_days_alone_if_asked() -> None:
    assert window(AS_OF, 28, Calendar()) == (28, date(2026, 3, 4), 28)
    assert window(AS_OF, 28, SUNDAYS) == (28, date(2026, 3, 4), 24)
    assert window(AS_OF, 1, Calendar()) == (1, AS_OF, 1)


def test_it_runs_out_on_the_day_in_which_the_last_gram_is_drawn() -> None:
    assert lasting(Fraction(20), AS_OF, Calendar()).on == date(2026, 4, 20)
    assert lasting(Fraction(23, 3), AS_OF, Calendar()).on == date(2026, 4, 8)
    assert lasting(Fraction(0), AS_OF, Calendar()).on == AS_OF
    assert lasting(Fraction(10**6), AS_OF, Calendar()).on is None
    # The 31st is a Tuesday: five open days later comes the Monday after the Sunday.
    assert lasting(Fraction(5), AS_OF, SUNDAYS).on == date(2026, 4, 6)
    easter = Calendar(frozenset({6}), frozenset({date(2026, 4, 6)}))
    assert lasting(Fraction(5), AS_OF, easter).on == date(2026, 4, 7)


def test_what_is_on_hold_counts_only_if_it_is_released() -> None:
    # By hand: 6,900 kg with 1,380 on hold; 117.647 kg a day are 46.92 and 58.65 days.
    use = tally({AS_OF: 117_647_000}, on_hand_g=6_900_000, held_g=1_380_000)

    found = cover_of(use, window(AS_OF, 1000, Calendar()), AS_OF, Calendar())

    assert rounded(found.cover.days or Fraction(), 2) == rounded(Fraction("46.92"), 2)
    assert rounded(found.if_released.days or Fraction(), 2) == rounded(Fraction("58.65"), 2)


def test_no_use_is_said_and_is_no_number() -> None:
    over = window(AS_OF, 28, Calendar())
    found = cover_of(tally({date(2026, 3, 3): 5}, on_hand_g=100), over, AS_OF, Calendar())

    assert (found.used_g, found.cover.days, found.net_days) == (0, None, None)
    assert why_none(over, 0) == NO_USE
    assert why_none(over, 1) is None
    always_closed = window(AS_OF, 28, Calendar(frozenset(range(7))))
    assert why_none(always_closed, 1) == "no open day in window"


def test_a_leap_day_is_a_day_like_any_other() -> None:
    # 2028 has a 29 February, 2026 has none.
    assert window(date(2028, 3, 1), 28, Calendar()).first == date(2028, 2, 3)
    assert window(date(2026, 3, 1), 28, Calendar()).first == date(2026, 2, 2)
    assert lasting(Fraction(2), date(2028, 2, 28), Calendar()).on == date(2028, 3, 1)
    assert by_week({date(2028, 2, 24): 5, date(2028, 3, 1): 7}, date(2028, 3, 1), 52) == [12]
    assert by_week({date(2028, 2, 23): 5, date(2028, 3, 1): 7}, date(2028, 3, 1), 52) == [5, 7]


def test_weeks_end_on_the_day_that_is_asked_about_and_begin_with_the_first_use() -> None:
    drawn = {AS_OF: 1, date(2026, 3, 25): 2, date(2026, 3, 24): 4, date(2026, 3, 3): 8}

    assert by_week(drawn, AS_OF, 52) == [8, 0, 0, 4, 3]
    # Of so many weeks alone; parts of a gram are rounded by the week.
    assert by_week(drawn, AS_OF, 4) == [4, 3]
    assert by_week({AS_OF: Fraction(1, 3), date(2026, 3, 30): Fraction(1, 3)}, AS_OF, 4) == [1]
    assert by_week({}, AS_OF, 52) == []


def test_more_promised_than_there_is_makes_a_negative_net_and_no_date_before_today() -> None:
    over = window(AS_OF, 28, Calendar())
    short = tally({AS_OF: 28}, on_hand_g=10, held_g=10, reserved_g=15)
    found = cover_of(short, over, AS_OF, Calendar())

    # All of it is on hold: nothing can be used, and what is promised is not there.
    assert [found.cover.days, found.cover.on, found.net_days] == [0, AS_OF, -15]
    assert [found.if_released.days, found.if_released.on] == [10, date(2026, 4, 10)]


def test_slots_are_called_as_they_are_named_or_as_their_style_is() -> None:
    one = [{"share_milli": 100_000, "lots": ["A"]}]
    two = [{"share_milli": 60_000, "lots": ["A"], "component": "Base"},
           {"share_milli": 40_000, "lots": ["B"]}]  # fmt: skip

    assert slots_named("Filter", one) == [Slot("Filter", 100_000, ["A"])]
    assert [slot.component for slot in slots_named("Filter", two)] == ["Base", "Filter, slot 2"]
    assert slots_named("Filter", None) == []


def test_a_draw_fills_the_slot_that_named_its_lot_when_it_was_roasted() -> None:
    base, top = Slot("Base", 60_000, ["NEW"]), Slot("Top", 40_000, ["T"])
    then = [Slot("Espresso, slot 1", 60_000, ["OLD"]), Slot("Espresso, slot 2", 40_000, ["T"])]

    assert filled_by([base, top], then, "OLD") == "Base"
    assert filled_by([base, top], [], "T") == "Top"
    assert filled_by([base, top], then, "STRANGE") is None
    assert filled_by([base], [], "STRANGE") == "Base"
    assert filled_by([base], then, "T") == "Espresso, slot 2"
    assert filled_by([], [], "T") is None


class Bakery(NamedTuple):
    """A bakery's coffees sold a day, and covers that were computed elsewhere."""

    sold: Counter[date]
    cases: Sequence[dict[str, Any]]
    closed: frozenset[date]


@pytest.fixture(scope="session")
def bakery(shared: Path) -> Bakery:
    """Transactions of a bakery, 2016-10-30 to 2017-04-09, each a unit sold; absent is 0."""
    folder = shared / "data/open/demand"
    said = json.loads((folder / "EXPECTED.json").read_text())["bakery_daily"]
    sold: Counter[date] = Counter()
    with (folder / "bakery_daily.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if row["item"] == said["main_item"]:
                sold[date.fromisoformat(row["date"])] += int(row["units"])
    closed = frozenset(map(date.fromisoformat, said["days_with_no_sale_at_all"]))
    return Bakery(sold, said["cover_of_main_item"], closed)


def lasted(bakery: Bakery, case: dict[str, Any], calendar: Calendar) -> Any:
    as_of = date.fromisoformat(case["as_of"])
    so_far = {day: units for day, units in bakery.sold.items() if day <= as_of}
    over = window(as_of, case["window_days"], calendar)
    return cover_of(tally(so_far, on_hand_g=case["stock"]), over, as_of, calendar)


def test_thirty_covers_of_a_bakery_are_the_very_fractions(bakery: Bakery) -> None:
    assert len(bakery.cases) == 30
    for case in bakery.cases:
        found = lasted(bakery, case, Calendar())
        assert found.used_g == case["used_in_window"]
        assert str(found.cover.days) == case["days_of_cover"]


def _really(bakery: Bakery, case: dict[str, Any]) -> int | None:
    left, day = case["stock"], date.fromisoformat(case["as_of"])
    for ahead in range(1, 200):
        left -= bakery.sold[day + timedelta(days=ahead)]
        if left <= 0:
            return ahead
    return None


def test_how_far_cover_is_off_is_told_as_it_is(bakery: Bakery) -> None:
    """Days foretold less days it took, on average and at worst: as the notes print them."""
    off: dict[tuple[int, bool], list[int]] = {}
    for case in bakery.cases:
        really = _really(bakery, case)
        assert really == case["days_until_really_used_up"]
        if really is None:
            continue  # the record ends before
        as_of = date.fromisoformat(case["as_of"])
        for calendar in (Calendar(), Calendar(closed_dates=bakery.closed)):
            found = lasted(bakery, case, calendar)
            foretold = (found.cover.on - as_of).days
            assert calendar.closed_dates or foretold == ceil(Fraction(case["days_of_cover"]))
            off.setdefault((case["window_days"], bool(calendar.closed_dates)), []).append(
                foretold - really
            )

    assert {
        method: (Fraction(sum(map(abs, days)), len(days)), max(days, key=abs))
        for method, days in off.items()
    } == {
        (7, False): (Fraction("3.875"), 9),
        (7, True): (Fraction("2.5"), 5),
        (28, False): (Fraction("2.75"), -5),
        (28, True): (Fraction("2.125"), 5),
        (56, False): (Fraction("4.375"), -8),
        (56, True): (Fraction("3.375"), -6),
    }
