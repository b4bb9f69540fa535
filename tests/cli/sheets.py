"""Stock files for tests."""

import csv
from collections.abc import Iterable, Mapping
from pathlib import Path

from app.green.stock_file import COLUMNS

SOUND = {
    "lot": "OPEN-1",
    "name": "Sidama Washed",
    "origin": "ET",
    "received_at": "2026-01-05",
    "sacks": "3",
    "sack_kg": "60",
}
"""A row that says no more than it must."""

FULL = SOUND | {
    "lot": "open-2",
    "name": "  Finca El Roble 橡樹莊園\r\nupper slope ",
    "origin": "gt",
    "supplier": "Finca El Roble",
    "received_at": "2026-01-05T08:30:00+01:00",
    "sacks": "2",
    "sack_kg": "69.125",
    "location": "a-01",
    "crop_year": "2025/26",
    "process": "washed",
    "ico_mark": "011/0023/0465",
    "moisture_pct": "11.25",
    "certificate": "organic",
    "cost_per_kg": "7.20",
    "currency": "USD",
    "note": '-2 sacks "slack"',
}
"""A row that says everything."""


def write_sheet(
    file: Path, rows: Iterable[Mapping[str, str]], columns: Iterable[str] = COLUMNS
) -> Path:
    """Write a stock file."""
    with file.open("w", encoding="utf-8", newline="") as opened:
        writer = csv.DictWriter(opened, list(columns), restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return file
