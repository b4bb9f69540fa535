"""Labels on cut sheets: inside the paper, beside one another, in the order of reading."""

from itertools import combinations

import pytest

from app.labels.pieces import Box
from app.labels.sheets import GRIDS, Grid, Paper, Size, places

# Common practice, no source: how many labels the usual sheets have.
COUNTS = {
    (Paper.A4, Size.LARGE): 8,
    (Paper.A4, Size.SMALL): 21,
    (Paper.LETTER, Size.LARGE): 6,
    (Paper.LETTER, Size.SMALL): 10,
}


@pytest.mark.parametrize("grid", GRIDS.values(), ids=map("-".join, GRIDS))
def test_the_labels_of_a_sheet_are_on_it_and_apart(grid: Grid) -> None:
    labels = [Box(x, y, *grid.label) for _, x, y in places(grid, 1, grid.places)]

    assert all(Box(0, 0, *grid.page).holds(label) for label in labels)
    assert not [pair for pair in combinations(labels, 2) if pair[0].overlaps(pair[1])]


@pytest.mark.parametrize("grid", GRIDS.values(), ids=map("-".join, GRIDS))
def test_a_sheet_has_the_same_margin_on_both_sides(grid: Grid) -> None:
    last = list(places(grid, 1, grid.places))[-1]

    right = grid.page[0] - last.x - grid.label[0]
    bottom = grid.page[1] - last.y - grid.label[1]
    assert abs(right - grid.first[0]) < 100
    assert abs(bottom - grid.first[1]) < 100


def test_sheets_hold_as_many_as_they_are_sold_with() -> None:
    assert {key: grid.places for key, grid in GRIDS.items()} == COUNTS


def test_labels_go_on_where_a_sheet_was_left() -> None:
    grid = GRIDS[Paper.A4, Size.LARGE]

    found = list(places(grid, 8, 10))

    assert [place.page for place in found] == [0] + [1] * 8 + [2]
    assert (found[0].x, found[0].y) == (106_250, 216_200)
    assert (found[1].x, found[1].y) == grid.first
    assert found[2].x - found[1].x == grid.pitch[0]
    assert found[3].y - found[1].y == grid.pitch[1]
