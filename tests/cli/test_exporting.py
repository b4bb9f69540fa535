"""Everything out of the book, as files that any program reads and no spreadsheet runs."""

import csv
from pathlib import Path

import pytest
from sqlalchemy import Engine, text

from app.schema import metadata
from app.shared.cells import cell
from app.shared.db import writing
from tests.api import Api
from tests.cli.conftest import Jutebook
from tests.cli.sheets import FULL, SOUND, write_sheet
from tests.makers import furnish


def table(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def header(folder: Path, name: str) -> list[str]:
    return (folder / f"{name}.csv").read_text(encoding="utf-8").splitlines()[0].split(",")


def test_every_table_is_a_file_with_all_its_rows(api: Api, jutebook: Jutebook, desk: Path) -> None:
    furnish(api)
    jutebook("import", "stock", write_sheet(desk / "stock.csv", [SOUND, FULL]))

    done = jutebook("export", "all", "out")

    assert done.exit_code == 0, done.output
    names = {path.stem for path in (desk / "out").iterdir()}
    assert names == {each.name for each in metadata().sorted_tables}
    units = table(desk / "out", "unit")
    assert [unit["kind"] for unit in units] == ["lot", *["sack"] * 3, "lot", *["sack"] * 2]
    assert [unit["made_g"] for unit in units[-2:]] == ["69125", "69125"]
    assert table(desk / "out", "entry")[-1]["happened_at"] == "2026-01-05T07:30:00Z"


def test_words_leave_the_book_as_they_came_but_for_the_mark_before_a_formula(
    api: Api, jutebook: Jutebook, desk: Path
) -> None:
    furnish(api)
    names = {"A-1": "=1+1", "A-2": "'=1", "A-3": "\tx", "A-4": "'tis", "A-5": " =x", "A-6": '"@"'}
    rows = [FULL | {"lot": lot, "name": name} for lot, name in names.items()]
    jutebook("import", "stock", write_sheet(desk / "stock.csv", rows))

    jutebook("export", "all", "out")

    lots = table(desk / "out", "green_lot")
    assert [lot["name"] for lot in lots] == ["'=1+1", "''=1", "'\tx", "'tis", " =x", '"@"']
    assert {lot["note"] for lot in lots} == {f"'{FULL['note']}"}


@pytest.mark.parametrize("begins", [*"=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"], ids=ascii)
def test_text_that_a_spreadsheet_would_run_is_marked_and_numbers_are_not(begins: str) -> None:
    # OWASP, "CSV Injection": the characters a cell must not begin with.
    assert cell(f"{begins}1") == f"'{begins}1"
    assert cell(-350) == "-350"


def test_an_adjustment_below_zero_stays_a_number(api: Api, jutebook: Jutebook, desk: Path) -> None:
    jutebook("import", "stock", write_sheet(desk / "stock.csv", [SOUND]))
    sack = api.get("/sacks?lot=OPEN-1")["items"][0]["code"]
    api.post("/adjustments", {"unit": sack, "kg": -1, "reason": "sample", "note": "-1 kg"})

    jutebook("export", "all", "out")

    (line,) = table(desk / "out", "adjustment")
    assert (line["grams"], line["note"]) == ("-1000", "'-1 kg")


def test_the_files_are_csv_as_rfc_4180_has_it(jutebook: Jutebook, desk: Path) -> None:
    jutebook("export", "all", "out")

    written = (desk / "out" / "location.csv").read_bytes()
    assert written == (
        b"id,version,code,kind,capacity_g,site,parent_id,above_shoulder,carry_over_runs,"
        b"carry_over_hours\r\n"
    )


def test_no_hash_of_a_password_or_token_leaves_the_book(jutebook: Jutebook, desk: Path) -> None:
    token = jutebook("tokens", "add", "scanner", "--roles", "admin").stdout.strip()
    jutebook("users", "add", "Ida", "--roles", "buyer", typed="a mill by the river")

    jutebook("export", "all", "out")

    (user,) = table(desk / "out", "user_account")
    (kept,) = table(desk / "out", "token")
    assert (user["name"], kept["name"]) == ("Ida", "scanner")
    kept_back = {
        str(column)
        for each in metadata().sorted_tables
        for column in each.columns
        if column.name not in header(desk / "out", each.name)
    }
    assert kept_back == {"user_account.password_hash", "token.sha256", "web_session.sha256"}
    for file in (desk / "out").iterdir():
        assert "argon2" not in file.read_text(encoding="utf-8")
        assert token not in file.read_text(encoding="utf-8")


def test_a_folder_that_is_not_empty_is_left_alone(jutebook: Jutebook, desk: Path) -> None:
    (desk / "out").mkdir()
    (desk / "out" / "mine.txt").write_text("mine")
    (desk / "empty").mkdir()

    refused = jutebook("export", "all", "out")
    taken = jutebook("export", "all", "empty")

    assert (refused.exit_code, taken.exit_code) == (1, 0)
    assert "is there and not an empty folder" in refused.stderr
    assert [path.name for path in (desk / "out").iterdir()] == ["mine.txt"]
    assert (desk / "empty" / "unit.csv").exists()


def test_an_export_that_breaks_off_leaves_no_folder(
    jutebook: Jutebook, engine: Engine, desk: Path
) -> None:
    with writing(engine) as session:
        session.execute(text("DROP TABLE returned"))

    broken = jutebook("export", "all", "out")

    assert broken.exit_code == 1
    assert [path.name for path in desk.iterdir() if not path.name.startswith("book.db")] == []


def test_the_journal_is_a_file_that_ends_with_the_hash_that_is_printed(
    api: Api, jutebook: Jutebook, desk: Path
) -> None:
    furnish(api)
    head = api.get("/journal/proof")["head_sha256"]

    done = jutebook("export", "journal", "journal.jsonl")
    again = jutebook("export", "journal", "journal.jsonl")

    assert done.exit_code == 0, done.output
    assert f"hashes to {head}." in done.stdout
    assert (desk / "journal.jsonl").read_bytes() == api.send("GET", "/journal/export").content
    assert again.exit_code == 1
    assert "is there already" in again.stderr
    assert not list(desk.glob(".*.part"))
    assert f"with {head}." in jutebook("check").stdout
