"""The routine that closes balances, held against the coffee balances of 59 countries.

Public data of the United States Department of Agriculture (Production, Supply and Distribution),
1960 to 2023, in thousand bags of 60 kg; its few breaks are named in the figures beside it.
"""

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from app.recall.balance.rules import closing


@pytest.fixture(scope="module")
def sheets(shared: Path) -> list[dict[str, Any]]:
    with (shared / "data" / "open" / "demand" / "balance_sheets.csv").open() as file:
        return [
            {name: cell if name == "Country" else int(cell) for name, cell in row.items()}
            for row in csv.DictReader(file)
        ]


@pytest.fixture(scope="module")
def expected(shared: Path) -> Any:
    figures = json.loads((shared / "data" / "open" / "demand" / "EXPECTED.json").read_text())
    return figures["balance_sheets"]


def _sum(row: dict[str, Any], *names: str) -> int:
    return sum(row[name] for name in names)


def test_every_break_of_the_sheets_is_found_and_no_other(
    sheets: list[dict[str, Any]], expected: Any
) -> None:
    supply, kinds, crops = [], [], []
    for row in sheets:
        came_in = _sum(row, "Beginning Stocks", "Production", "Imports")
        parts = [row[name] for name in ("Exports", "Domestic Consumption", "Ending Stocks")]
        if closing(came_in, parts).difference_g:
            supply.append([row["Country"], row["Year"], came_in, sum(parts)])
        imports = [row[name] for name in ("Bean Imports", "Roast & Ground Imports",
                                          "Soluble Imports")]  # fmt: skip
        if closing(row["Imports"], imports).difference_g:
            kinds.append([row["Country"], row["Year"]])
        crop = [row[f"{name} Production"] for name in ("Arabica", "Robusta", "Other")]
        if closing(row["Production"], crop).difference_g:
            crops.append([row["Country"], row["Year"]])

    assert len(sheets) == expected["rows"]
    assert supply == expected["rows_where_supply_is_not_distribution"]
    assert kinds == expected["rows_where_import_kinds_do_not_add_up"]
    assert crops == expected["rows_where_arabica_robusta_other_is_not_production"]


def test_what_one_year_ends_with_the_next_begins_with_but_for_the_breaks_named(
    sheets: list[dict[str, Any]], expected: Any
) -> None:
    ends = {(row["Country"], row["Year"]): row["Ending Stocks"] for row in sheets}
    pairs, breaks = 0, []
    for row in sheets:
        before = ends.get((row["Country"], row["Year"] - 1))
        if before is None:
            continue
        pairs += 1
        if closing(before, [row["Beginning Stocks"]]).difference_g:
            breaks.append([row["Country"], row["Year"], before, row["Beginning Stocks"]])

    assert pairs == expected["year_pairs_compared"]
    assert breaks == expected["carry_over_breaks_country_year_end_begin"]
