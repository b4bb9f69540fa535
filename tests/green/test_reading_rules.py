"""What readings mean: bands, methods, drift, age and damp spells."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.green.condition.rules import Pull, Seen, lot_state, place_state, pull
from app.green.readings.rules import (
    Band,
    Point,
    drift_of,
    is_damp_for_long,
    is_overdue,
    method_key,
    worst,
)

NOW = datetime(2026, 3, 31, 6, tzinfo=UTC)


def point(number: int, value: str, days_ago: int, method: str | None = "meter") -> Point:
    return Point(number, Decimal(value), method, NOW - timedelta(days=days_ago), trusted=True)


def seen(band: Band, days_ago: int = 0, subject: str = "GL-1") -> Seen:
    return Seen("moisture 11 %", subject, Decimal(11), band, NOW - timedelta(days=days_ago))


@pytest.mark.parametrize("other", ["iso 6673", "ISO6673", " Iso  6673 "])
def test_a_method_is_one_whatever_its_capitals_and_spaces(other: str) -> None:
    assert method_key(other) == method_key("ISO 6673")


def test_editions_and_methods_are_told_apart() -> None:
    # ISO 6673:2003 and the edition of 2025 are not known to read alike.
    keys = {method_key(each) for each in ("ISO 6673:2003", "ISO 6673:2025", "ISO 1446", "meter")}

    assert len(keys) == 4
    assert method_key(None) is None


def test_the_worst_counts_and_of_nothing_nothing_is_known() -> None:
    assert worst([Band.GREEN, Band.AMBER]) is Band.AMBER
    assert worst([Band.UNKNOWN, Band.AMBER]) is Band.UNKNOWN
    assert worst([Band.UNKNOWN, Band.RED]) is Band.RED
    assert worst([]) is Band.UNKNOWN


def test_on_its_last_day_a_reading_still_counts() -> None:
    # Every 30 days: our rule.
    taken = NOW - timedelta(days=30)

    assert not is_overdue(taken, NOW, 30)
    assert is_overdue(taken - timedelta(microseconds=1), NOW, 30)


def test_drift_goes_from_the_first_reading_to_the_newest_whatever_was_booked_when() -> None:
    drift = drift_of([point(3, "11.2", 1), point(1, "10.8", 20), point(2, "12", 9)])

    assert drift is not None
    assert (drift.points, drift.days) == (Decimal("0.4"), 19)


def test_one_reading_is_no_drift_and_untrusted_ones_are_none() -> None:
    assert drift_of([]) is None
    assert drift_of([point(1, "11", 20)]) is None
    assert drift_of([point(1, "11", 20), point(2, "14", 1)._replace(trusted=False)]) is None


def test_drift_is_measured_by_the_method_of_the_newest_reading() -> None:
    # ISO 6673:2003 reads about 1.0 point lower than ISO 1446 (ISO 6673:2003, scope).
    series = [point(1, "11.4", 30, "ISO 1446"), point(2, "10.5", 20, "ISO 6673")]

    apart = drift_of(series)
    together = drift_of([*series, point(3, "10.6", 2, "iso 6673")])

    assert apart is not None
    assert apart.methods_differ
    assert apart.points is None
    assert together is not None
    assert together.points == Decimal("0.1")


@given(st.lists(st.decimals(0, 100, places=3, allow_nan=False, allow_infinity=False), min_size=2))
def test_drift_of_one_method_is_the_last_less_the_first(values: list[Decimal]) -> None:
    series = [point(n, str(value), len(values) - n) for n, value in enumerate(values)]

    drift = drift_of(series)

    assert drift is not None
    assert drift.points == values[-1] - values[0]


def test_a_lot_is_as_its_worst_reading_that_counts() -> None:
    fine, red = seen(Band.GREEN), seen(Band.RED, subject="S-1")
    old = seen(Band.GREEN, days_ago=31)

    assert lot_state(fine, None, [], NOW, 30).status is Band.GREEN
    assert lot_state(fine, None, [red], NOW, 30).status is Band.RED
    assert lot_state(old, fine, [], NOW, 30).status is Band.UNKNOWN
    assert lot_state(old, None, [red], NOW, 30).status is Band.RED
    assert lot_state(None, fine, [], NOW, 30).status is Band.UNKNOWN


def test_an_overdue_reading_reads_unknown_whatever_it_was() -> None:
    for band in Band:
        state = lot_state(seen(band, days_ago=31), None, [], NOW, 30)

        assert (state.status, state.overdue) == (Band.UNKNOWN, True)
        assert state.why


def test_a_place_that_is_damp_for_long_is_amber_at_least() -> None:
    fine = seen(Band.GREEN)

    assert place_state([fine], "damp", NOW, 7).status is Band.AMBER
    assert place_state([seen(Band.RED)], "damp", NOW, 7).status is Band.RED
    assert place_state([fine, seen(Band.GREEN, 8)], None, NOW, 7).status is Band.UNKNOWN


def test_a_damp_spell_is_long_from_its_last_hour_on() -> None:
    # 48 hours: our rule.
    assert is_damp_for_long(NOW - timedelta(hours=48), NOW, 48)
    assert not is_damp_for_long(NOW - timedelta(hours=48) + timedelta(seconds=1), NOW, 48)


def test_within_its_error_the_model_tells_no_direction() -> None:
    # Standard error 0.54 points: Trejos, Roa, Oliveros, Cenicafé 40(1) (1989).
    assert pull(Decimal("12.54"), Decimal(12)) is Pull.STAYS
    assert pull(Decimal("12.55"), Decimal(12)) is Pull.DRIES
    assert pull(Decimal("11.45"), Decimal(12)) is Pull.MOISTENS
