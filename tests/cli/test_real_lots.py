"""900 lots that nobody on this project wrote: imported strictly, and exported byte for byte.

The figures are those of the README and EXPECTED.json beside lots.csv, section `strict_import`.
"""

import csv
import json
import re
from collections import Counter
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest
from typer.testing import Result

from tests.api import Api
from tests.cli.conftest import Jutebook
from tests.cli.graded_lots import POUND_KG, graded_rows, refusals, stock_rows
from tests.cli.sheets import write_sheet

PUBLISHED_KG = Decimal("5013543.1956885")
"""Of the 462 lots that pass, with 85 sacks of 130 lb at 58.9670081 kg each."""
BOOKED_KG = Decimal("5013543.196")
"""The same with that lot to the nearest gram: 5012.196 kg, 84 sacks of 58.967 kg and one of a
gram more."""

COLUMN_OF = {
    "bag_weight_unit": "sack_kg",
    "bag_weight_range": "sack_kg",
    "bags": "sacks",
    "moisture": "moisture_pct",
    "country": "origin",
}
"""Where the reasons of rejects.csv stand in the stock file."""

REFUSED = re.compile(r"line (\d+): lot (\S+): (.*)")


@pytest.fixture(scope="session")
def folder(shared: Path) -> Path:
    return shared / "data" / "open"


@pytest.fixture(scope="session")
def rows(folder: Path) -> list[dict[str, str]]:
    return stock_rows(graded_rows(folder))


@pytest.fixture
def sheet(rows: list[dict[str, str]], desk: Path) -> Path:
    return write_sheet(desk / "lots.csv", rows)


@pytest.fixture
def strictly(jutebook: Jutebook, sheet: Path) -> Callable[..., Result]:
    """Import the lots with the limits of the README for one bag: 10 to 100 kg."""

    def run(*options: str) -> Result:
        limits = ("--min-sack-kg", "10", "--max-sack-kg", "100")
        return jutebook("import", "stock", sheet, *limits, *options)

    return run


def read_table(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def without_mark(cell: str) -> str:
    """Take off the apostrophe that an export puts before what a spreadsheet would run."""
    return cell[1:] if re.match("'+[-=+@\t\r\n\uff1d\uff0b\uff0d\uff20]", cell) else cell


def by_country(exported: Path) -> dict[str, tuple[int, int, Decimal]]:
    """Count lots and sacks and add up kilograms, from the exported tables."""
    origins = {lot["unit_id"]: lot["origin"] for lot in read_table(exported, "green_lot")}
    grams = {unit["id"]: int(unit["left_g"]) for unit in read_table(exported, "unit")}
    lots = Counter(origins.values())
    sacks, kg = Counter[str](), dict.fromkeys(lots, Decimal(0))
    for sack in read_table(exported, "sack"):
        origin = origins[sack["lot_id"]]
        sacks[origin] += 1
        kg[origin] += Decimal(grams[sack["unit_id"]]) / 1000
    return {origin: (lots[origin], sacks[origin], kg[origin]) for origin in lots}


def expected_by_country(folder: Path) -> dict[str, tuple[int, int, Decimal]]:
    figures = json.loads((folder / "EXPECTED.json").read_text())["figures"]["strict_import"]
    expected = {
        origin: (of["lots"], of["sacks"], Decimal(str(of["kg"])))
        for origin, of in figures["accepted_kg_by_country"].items()
    }
    lots, sacks, kg = expected["HT"]
    return expected | {"HT": (lots, sacks, kg - (PUBLISHED_KG - BOOKED_KG))}


def test_the_published_total_differs_from_the_booked_by_the_rounding_of_one_lot_alone(
    folder: Path, rows: list[dict[str, str]]
) -> None:
    refused = refusals(folder)
    taken = [row for row in rows if row["lot"] not in refused]
    typed = {row["row_id"]: row["bag_weight"].strip() for row in graded_rows(folder)}
    in_pounds = [row for row in taken if typed[row["lot"]].endswith("lbs")]

    total = sum(int(row["sacks"]) * Decimal(row["sack_kg"]) for row in taken)

    assert (len(taken), sum(int(row["sacks"]) for row in taken)) == (462, 77_783)
    assert [(typed[row["lot"]], row["sacks"], row["sack_kg"]) for row in in_pounds] == [
        ("130 lbs", "85", "58.96700810")
    ]
    assert total == PUBLISHED_KG
    assert BOOKED_KG - total == Decimal("5012.196") - 85 * 130 * POUND_KG
    assert BOOKED_KG - total == Decimal("0.0003115")


def test_refused_are_exactly_the_rows_of_the_list_each_at_its_line_for_its_reasons(
    folder: Path, sheet: Path, strictly: Callable[..., Result], api: Api
) -> None:
    done = strictly()

    told = [REFUSED.fullmatch(line) for line in done.stderr.splitlines()[:-1]]
    lines = re.split("\r\n|\r|\n", sheet.read_bytes().decode())
    found = {}
    for row in told:
        assert row is not None
        assert lines[int(row[1]) - 1].startswith(f"{row[2]},")
        found[row[2]] = {reason.split(":")[0] for reason in row[3].split("; ")}
    assert done.exit_code == 1
    assert "Rows: 462 accepted, 0 already there, 438 refused." in done.stdout
    assert found == {
        row: {COLUMN_OF[reason] for reason in reasons} for row, reasons in refusals(folder).items()
    }
    assert api.get("/lots")["items"] == []


def test_the_other_lots_are_booked_to_the_gram_in_every_country_and_only_once(
    folder: Path,
    strictly: Callable[..., Result],
    api: Api,
    jutebook: Jutebook,
    book_is_sound: Callable[[], None],
) -> None:
    first = strictly("--skip-refused")
    entries = api.get("/entries?limit=500")
    second = strictly("--skip-refused")
    jutebook("export", "all", "out")

    assert (first.exit_code, second.exit_code) == (0, 0)
    assert f"Accepted: 77783 sacks, {BOOKED_KG} kg." in first.stdout
    assert "Rows: 0 accepted, 462 already there, 438 refused." in second.stdout
    assert len(entries["items"]) == 462
    assert api.get("/entries?limit=500") == entries
    assert by_country(Path("out")) == expected_by_country(folder)
    book_is_sound()


def test_every_word_leaves_the_book_byte_for_byte_as_its_grader_typed_it(
    folder: Path, rows: list[dict[str, str]], jutebook: Jutebook, desk: Path
) -> None:
    refused = refusals(folder)
    # One sack will do: it is the words that count here.
    taken = [row | {"sacks": "1"} for row in rows if row["lot"] not in refused]
    jutebook("import", "stock", write_sheet(desk / "taken.csv", taken))
    jutebook("export", "all", "out")

    codes = {unit["id"]: unit["code"] for unit in read_table(desk / "out", "unit")}
    kept = {codes[lot["unit_id"]]: lot for lot in read_table(desk / "out", "green_lot")}
    typed = {row["lot"]: row for row in rows if row["lot"] in kept}
    seen = Counter[str]()
    for code, lot in kept.items():
        for column in ("name", "note", "process", "ico_mark", "crop_year", "certificate"):
            cell = without_mark(lot[column])
            said = typed[code][column]
            assert cell == (said if said.strip() else "")
            seen["formula"] += cell != lot[column]
            seen["line break"] += "\r\n" in cell
            seen["chinese"] += bool(re.search("[\u4e00-\u9fff]", cell))
            seen["edge space"] += cell != cell.strip(" ")
    assert len(kept) == 462
    assert all(seen[sort] for sort in ("formula", "line break", "chinese", "edge space")), seen
