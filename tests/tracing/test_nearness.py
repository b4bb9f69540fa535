"""What a rest of other coffee may be in: by example at each edge, and against a count of pairs."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.tracing.nearness import STILL_THERE, Passing, Vessel, Window
from tests.tracing.residue import Notebook, Spell

BEGIN = datetime(2026, 3, 5, tzinfo=UTC)


def at(hour: float) -> datetime:
    return BEGIN + timedelta(hours=hour)


def machine(hours: list[int], cleaned: list[float], window: Window) -> Vessel:
    runs = [Passing(at(hour), n, at(hour), n) for n, hour in enumerate(hours)]
    return Vessel(runs, [at(hour) for hour in cleaned], window, mixes=False)


def place(stays: list[tuple[int, int | None]], cleaned: list[float], window: Window) -> Vessel:
    stood = [
        Passing(at(came), n, STILL_THERE if went is None else at(went), n)
        for n, (came, went) in enumerate(stays)
    ]
    return Vessel(stood, [at(hour) for hour in cleaned], window, mixes=True)


def later(vessel: Vessel, i: int) -> list[int]:
    return sorted(other.unit for other in vessel.later(i))


@pytest.mark.parametrize(
    ("cleaned", "window", "reached"),
    [
        ([], Window(1, None), [1]),
        ([], Window(3, None), [1, 2, 3]),
        ([], Window(9, 3), [1, 2]),
        ([2.5], Window(3, None), [1]),
        ([2], Window(3, None), []),
        ([0], Window(3, None), []),
        ([-0.5, 6.5], Window(3, None), [1, 2, 3]),
    ],
)
def test_a_rest_on_a_machine_goes_as_far_as_its_window_and_no_clean_down(
    cleaned: list[float], window: Window, reached: list[int]
) -> None:
    assert later(machine([0, 2, 3, 6, 7], cleaned, window), 0) == reached


@pytest.mark.parametrize(
    ("stays", "cleaned", "window", "reached"),
    [
        ([(0, 4), (1, 2), (3, None), (5, None), (6, None)], [], Window(1, None), [1, 2, 3]),
        ([(0, 4), (5, None), (6, None)], [], Window(2, 1), [1]),
        ([(0, 4), (5, None), (6, None)], [4.5], Window(2, None), []),
        ([(0, 4), (4, None)], [], Window(1, None), [1]),
        ([(0, 4), (4, None)], [4], Window(1, None), []),
        ([(4, None), (4, 4)], [4], Window(1, None), []),
        ([(0, None), (9, None)], [], Window(1, 1), [1]),
        ([(0, 4), (5, 6), (7, 8), (9, None)], [], Window(2, None), [1, 2]),
    ],
)
def test_in_a_place_a_rest_is_in_what_stood_there_with_it_and_in_what_came_next(
    stays: list[tuple[int, int | None]], cleaned: list[float], window: Window, reached: list[int]
) -> None:
    assert later(place(stays, cleaned, window), 0) == reached


HOURS = st.integers(0, 8)
WINDOWS = st.builds(Window, st.integers(1, 3), st.none() | st.integers(1, 4))


def both_ways(vessel: Vessel) -> Iterator[set[tuple[str, str]]]:
    """Name the pairs that looking forward finds, and those that looking backward finds."""
    named = [str(each.unit) for each in vessel.passings]
    indices = range(len(named))
    yield {(named[i], str(other.unit)) for i in indices for other in vessel.later(i)}
    yield {(str(other.unit), named[i]) for i in indices for other in vessel.earlier(i)}


@given(st.lists(HOURS, max_size=9), st.lists(HOURS, max_size=3), WINDOWS)
def test_runs_on_a_machine_are_near_as_counted_pair_by_pair_both_ways(
    hours: list[int], cleaned: list[int], window: Window
) -> None:
    notes = Notebook(
        runs=[Spell("it", str(n), hour, n, hour) for n, hour in enumerate(hours)],
        cleaned=[("it", hour) for hour in cleaned],
        windows={"it": window},
    )

    forward, backward = both_ways(machine(hours, [*cleaned], window))

    assert forward == backward == notes.pairs


@given(
    st.lists(st.tuples(HOURS, st.none() | st.integers(0, 4)), max_size=9),
    st.lists(HOURS, max_size=3),
    WINDOWS,
)
def test_stays_in_a_place_are_near_as_counted_pair_by_pair_both_ways(
    stays: list[tuple[int, int | None]], cleaned: list[int], window: Window
) -> None:
    ends = [(came, None if longer is None else came + longer) for came, longer in stays]
    notes = Notebook(
        stays=[
            Spell("it", str(n), came, n, float("inf") if went is None else went)
            for n, (came, went) in enumerate(ends)
        ],
        cleaned=[("it", hour) for hour in cleaned],
        windows={"it": window},
    )

    forward, backward = both_ways(place(ends, [*cleaned], window))

    assert forward == backward == notes.pairs
