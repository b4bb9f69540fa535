"""Pouring out of what has mixed: how much of each."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.roasting.silos.sharing import poured


@pytest.mark.parametrize(
    ("total_g", "left_g", "expected"),
    [
        (3000, [20_000, 10_000], [2000, 1000]),
        (30_000, [20_000, 10_000], [20_000, 10_000]),
        (1000, [7, 7, 7], [334, 333, 333]),
        (10, [1000, 1, 1], [8, 1, 1]),
        (3, [1000, 1, 1], [1, 1, 1]),
        (2, [1000, 1, 1], [2, 0, 0]),
        (1, [5], [1]),
    ],
)
def test_what_is_poured_comes_from_all_of_it_in_proportion(
    total_g: int, left_g: list[int], expected: list[int]
) -> None:
    # Our rule: largest remainder, and at least a gram of each where there are grams enough.
    assert poured(total_g, left_g) == expected


@given(st.lists(st.integers(1, 10_000), min_size=1, max_size=30), st.data())
def test_no_gram_is_lost_and_none_gives_more_than_it_has(
    left_g: list[int], data: st.DataObject
) -> None:
    total_g = data.draw(st.integers(1, sum(left_g)))

    shares = poured(total_g, left_g)

    assert sum(shares) == total_g
    assert all(0 <= share <= there for share, there in zip(shares, left_g, strict=True))
    assert total_g < len(left_g) or min(shares) >= 1
