"""Crop years as they are printed, and the harvest years real graders typed."""

import csv
from collections import Counter
from pathlib import Path

import pytest

from app.standards.crop_years import CropYears, crop_years


@pytest.mark.parametrize(
    ("printed", "start", "end"),
    [
        ("2025", 2025, 2025),
        ("2025/26", 2025, 2026),
        ("2025/2026", 2025, 2026),
        ("2025-26", 2025, 2026),
        (" 2025 / 2026 ", 2025, 2026),
        ("2099/00", 2099, 2100),
    ],
)
def test_a_crop_year_is_one_year_or_two_that_follow(printed: str, start: int, end: int) -> None:
    assert crop_years(printed) == CropYears(start, end)


@pytest.mark.parametrize(
    "printed", ["", "2025/27", "2025/25", "2026/2025", "08/09 crop", "4T/2010", "May-August"]
)
def test_what_names_no_crop_year_means_none(printed: str) -> None:
    assert crop_years(printed) is None


def test_the_harvest_years_of_real_lots_are_read_as_their_keepers_counted_them(
    shared: Path,
) -> None:
    # The figures of EXPECTED.json beside lots.csv, section `harvest_year`.
    with (shared / "data/open/lots.csv").open(encoding="utf-8", newline="") as file:
        typed = [row["harvest_year"].strip() for row in csv.DictReader(file)]
    read = [crop_years(each) for each in typed if each]
    found = Counter("other" if y is None else "one" if y.start == y.end else "two" for y in read)

    assert found == {"one": 713, "two": 131, "other": 34}
