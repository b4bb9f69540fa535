"""Opening stock through the command line: all or nothing, once, and as it was typed."""

import os
import pty
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from sqlalchemy import Engine

from app.shared.db import reading
from tests.api import Api, kg, problem
from tests.cli.conftest import Jutebook
from tests.cli.sheets import FULL, SOUND, write_sheet
from tests.makers import furnish

PROGRAM = Path(sys.executable).with_name("jutebook")


def sound_rows(count: int) -> list[dict[str, str]]:
    return [SOUND | {"lot": f"OPEN-{number}"} for number in range(1, count + 1)]


def lots(api: Api) -> list[str]:
    return [lot["code"] for lot in api.get("/lots")["items"]]


def test_an_imported_lot_is_in_the_book_with_everything_its_row_said(
    api: Api, jutebook: Jutebook, desk: Path, book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    file = write_sheet(desk / "stock.csv", [SOUND, FULL])

    done = jutebook("import", "stock", file)

    assert done.exit_code == 0, done.output
    assert "Rows: 2 accepted, 0 already there, 0 refused." in done.stdout
    assert "Accepted: 5 sacks, 318.25 kg." in done.stdout
    lot = api.get("/lots/OPEN-2")
    assert lot["name"] == FULL["name"]
    assert lot["note"] == FULL["note"]
    assert lot["certificate"] == "organic"
    assert (lot["origin"], lot["supplier"]) == ("GT", "Finca El Roble")
    assert lot["received_at"] == "2026-01-05T07:30:00Z"
    assert (lot["received_kg"], lot["latest_moisture_pct"]) == (kg("138.25"), kg("11.25"))
    assert (lot["cost_per_kg"], lot["currency"]) == (kg("7.2"), "USD")
    sacks = api.get("/sacks?lot=OPEN-2")["items"]
    assert [(sack["number"], sack["net_kg"], sack["location"]) for sack in sacks] == [
        (1, kg("69.125"), "A-01"),
        (2, kg("69.125"), "A-01"),
    ]
    book_is_sound()


def test_opening_stock_is_one_entry_a_lot_signed_by_who_sat_there_and_not_on_hold(
    api: Api, jutebook: Jutebook, desk: Path
) -> None:
    file = write_sheet(desk / "stock.csv", sound_rows(2))

    jutebook("import", "stock", file, JUTEBOOK_HOLD_ON_ARRIVAL="true")

    entries = api.get("/entries")["items"]
    assert [entry["kind"] for entry in entries] == ["opening stock", "opening stock"]
    assert all(entry["who"].endswith(" at the command line") for entry in entries)
    lot = api.get("/lots/OPEN-1")
    assert lot["held"] is False
    assert lot["available_kg"] == kg("180.0")


def test_the_same_file_twice_makes_nothing_twice(
    api: Api, jutebook: Jutebook, desk: Path, book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    file = write_sheet(desk / "stock.csv", [SOUND, FULL])
    jutebook("import", "stock", file)
    before = api.get("/entries")

    again = jutebook("import", "stock", file)

    assert again.exit_code == 0
    assert "Rows: 0 accepted, 2 already there, 0 refused." in again.stdout
    assert api.get("/entries") == before
    book_is_sound()


def test_a_lot_is_there_already_though_its_sacks_were_moved_and_its_figures_spelled_otherwise(
    api: Api, jutebook: Jutebook, desk: Path
) -> None:
    furnish(api)
    jutebook("import", "stock", write_sheet(desk / "stock.csv", [FULL]))
    sack = api.get("/sacks?lot=OPEN-2")["items"][0]["code"]
    api.post("/moves", {"sacks": [sack], "to": "B-02"})
    retyped = FULL | {"sack_kg": "69.1250", "cost_per_kg": "7.2", "lot": "OPEN-2", "origin": "GT"}

    again = jutebook("import", "stock", write_sheet(desk / "retyped.csv", [retyped]))

    assert "1 already there" in again.stdout


def test_a_lot_that_the_book_holds_with_other_content_is_refused_by_naming_what_differs(
    api: Api, jutebook: Jutebook, desk: Path
) -> None:
    jutebook("import", "stock", write_sheet(desk / "stock.csv", [SOUND]))
    changed = SOUND | {"sack_kg": "61", "note": "weighed again"}

    done = jutebook("import", "stock", write_sheet(desk / "changed.csv", [changed]))

    assert done.exit_code == 1
    assert "line 2: lot OPEN-1: lot: the book holds this lot already" in done.stderr
    assert "with another note, sack_kg" in done.stderr
    assert api.get("/lots/OPEN-1")["received_kg"] == kg("180.0")


def test_codes_of_deliveries_sacks_and_voided_lots_are_taken(
    api: Api, jutebook: Jutebook, desk: Path
) -> None:
    furnish(api)
    api.post(
        "/deliveries",
        {
            "supplier": "Finca El Roble",
            "received_at": "2026-01-05T00:00:00Z",
            "lots": [
                {"code": "CAME", "name": "x", "origin": "ET", "sacks": [{"net_kg": 60}]},
                {"name": "x", "origin": "ET", "sacks": [{"code": "SACK", "net_kg": 60}]},
                {"code": "GONE", "name": "x", "origin": "ET", "sacks": [{"net_kg": 60}]},
            ],
        },
    )
    api.post("/units/GONE/void", {"reason": "never came"})
    rows = [SOUND | {"lot": code} for code in ("CAME", "SACK", "GONE")]

    done = jutebook("import", "stock", write_sheet(desk / "stock.csv", rows))

    assert done.exit_code == 1
    assert done.stderr.splitlines()[:3] == [
        "line 2: lot CAME: lot: the book holds this lot already, from a delivery",
        "line 3: lot SACK: lot: the book holds a sack with this code",
        "line 4: lot GONE: lot: the book holds a voided lot with this code: give it a new one",
    ]


def test_one_bad_row_of_many_and_nothing_is_stored(
    api: Api, jutebook: Jutebook, desk: Path
) -> None:
    rows = [*sound_rows(3), SOUND | {"lot": "OPEN-4", "origin": "XX", "sacks": "0"}]
    file = write_sheet(desk / "stock.csv", rows)

    done = jutebook("import", "stock", file)

    assert done.exit_code == 1
    row, conclusion = done.stderr.splitlines()
    assert row.startswith("line 5: lot OPEN-4: origin: XX is no country code of ISO 3166-1")
    assert row.endswith("; sacks: 0 sacks: a lot has 1 to 5000")
    assert conclusion.startswith("Nothing was stored.")
    assert "Rows: 3 accepted, 0 already there, 1 refused." in done.stdout
    assert api.get("/entries")["items"] == []


def test_a_row_that_only_the_book_refuses_stores_nothing_either(
    api: Api, jutebook: Jutebook, desk: Path
) -> None:
    rows = [*sound_rows(3), SOUND | {"lot": "OPEN-4", "location": "c-03"}]

    done = jutebook("import", "stock", write_sheet(desk / "stock.csv", rows))

    assert done.exit_code == 1
    assert "location: there is no location C-03: enter it first" in done.stderr
    assert api.get("/entries")["items"] == []


def test_refused_rows_can_be_left_out_and_the_rest_is_stored(
    api: Api, jutebook: Jutebook, desk: Path, book_is_sound: Callable[[], None]
) -> None:
    rows = [
        SOUND | {"lot": "BAD-1", "origin": "XX"},
        *sound_rows(2),
        SOUND | {"lot": "BAD-2", "location": "C-03"},
    ]

    done = jutebook("import", "stock", write_sheet(desk / "stock.csv", rows), "--skip-refused")

    assert done.exit_code == 0
    assert [line.split(":")[0] for line in done.stderr.splitlines()] == ["line 2", "line 5"]
    assert lots(api) == ["OPEN-1", "OPEN-2"]
    book_is_sound()


def test_leaving_out_every_row_is_no_success(jutebook: Jutebook, desk: Path) -> None:
    file = write_sheet(desk / "stock.csv", [SOUND | {"origin": "XX"}])

    assert jutebook("import", "stock", file, "--skip-refused").exit_code == 1


def test_a_dry_run_reports_everything_and_stores_nothing(
    api: Api, jutebook: Jutebook, desk: Path
) -> None:
    good = write_sheet(desk / "good.csv", sound_rows(3))
    bad = write_sheet(desk / "bad.csv", [*sound_rows(3), SOUND | {"lot": "X"}])

    fine = jutebook("import", "stock", good, "--dry-run")
    not_fine = jutebook("import", "stock", bad, "--dry-run")

    assert (fine.exit_code, not_fine.exit_code) == (0, 1)
    assert "Rows: 3 accepted, 0 already there, 0 refused." in fine.stdout
    assert "Dry run: nothing was stored." in fine.stdout
    assert "line 5: lot X: lot: a code has 2 to 32 characters" in not_fine.stderr
    assert api.get("/entries")["items"] == []


def test_limits_for_one_sack_can_be_given(api: Api, jutebook: Jutebook, desk: Path) -> None:
    rows = [SOUND | {"lot": f"OPEN-{weight}", "sack_kg": weight} for weight in ("9", "10", "1000")]
    file = write_sheet(desk / "stock.csv", rows)
    limits = ("--min-sack-kg", "10", "--max-sack-kg", "100")

    done = jutebook("import", "stock", file, "--skip-refused", *limits)
    unreadable = jutebook("import", "stock", file, "--max-sack-kg", "heavy")

    assert "a sack of 9.0 kg is outside the limits of 10.0 to 100.0 kg" in done.stderr
    assert lots(api) == ["OPEN-10"]
    assert unreadable.exit_code == 1
    assert "no kilograms" in unreadable.stderr


def test_a_supplier_is_found_whatever_its_capitals_and_entered_when_it_is_new(
    api: Api, jutebook: Jutebook, desk: Path
) -> None:
    furnish(api)  # whose supplier has the number 1, which is no name
    names = ("finca EL ROBLE", "Mühle Süd", "MÜHLE SÜD", "1", "")
    rows = [row | {"supplier": name} for row, name in zip(sound_rows(5), names, strict=True)]

    jutebook("import", "stock", write_sheet(desk / "stock.csv", rows))

    assert [supplier["name"] for supplier in api.get("/suppliers")["items"]] == [
        "Finca El Roble",
        "Mühle Süd",
        "1",
    ]
    assert [lot["supplier"] for lot in api.get("/lots")["items"]] == [
        "Finca El Roble",
        "Mühle Süd",
        "Mühle Süd",
        "1",
        None,
    ]


def test_a_mistaken_import_can_be_voided(
    api: Api, jutebook: Jutebook, desk: Path, book_is_sound: Callable[[], None]
) -> None:
    jutebook("import", "stock", write_sheet(desk / "stock.csv", [SOUND]))

    api.post("/units/OPEN-1/void", {"reason": "counted twice"})

    problem(api.send("GET", "/trace/OPEN-1?direction=forward"), 409, "voided")
    book_is_sound()


def test_a_file_that_is_not_there_or_no_stock_file_is_one_sentence(
    jutebook: Jutebook, desk: Path
) -> None:
    (desk / "other.csv").write_text("lot;name;origin;received_at;sacks;sack_kg\n")

    missing = jutebook("import", "stock", "missing.csv")
    other = jutebook("import", "stock", "other.csv")

    assert (missing.exit_code, other.exit_code) == (1, 1)
    assert missing.stderr == "jutebook: missing.csv: No such file or directory.\n"
    assert other.stderr.startswith("jutebook: other.csv: The columns are parted by semicolons")


def test_a_progress_bar_is_shown_on_a_terminal_and_nowhere_else(
    database_url: str, desk: Path
) -> None:
    environment = os.environ | {"JUTEBOOK_DATABASE_URL": database_url, "TERM": "xterm"}
    command: list[str | Path] = [PROGRAM, "import", "stock"]
    first = write_sheet(desk / "first.csv", [SOUND | {"lot": "OPEN-1"}])
    second = write_sheet(desk / "second.csv", [SOUND | {"lot": "OPEN-2"}])
    ours, theirs = pty.openpty()

    piped = subprocess.run([*command, first], check=True, env=environment, capture_output=True)  # noqa: S603 - our own words
    subprocess.run(  # noqa: S603 - our own words
        [*command, second], check=True, env=environment, stdout=subprocess.PIPE, stderr=theirs
    )
    os.close(theirs)
    shown = os.read(ours, 65536).decode()
    os.close(ours)

    assert piped.stderr == b""
    assert "Sacks" in shown
    assert "3/3" in shown


def test_a_hundred_thousand_sacks_are_imported_whole(
    engine: Engine, jutebook: Jutebook, desk: Path, book_is_sound: Callable[[], None]
) -> None:
    rows = [row | {"sacks": "5000", "sack_kg": "60.001"} for row in sound_rows(20)]

    done = jutebook("import", "stock", write_sheet(desk / "stock.csv", rows))

    assert done.exit_code == 0, done.output
    assert "Accepted: 100000 sacks, 6000100.0 kg." in done.stdout
    with reading(engine) as session:
        assert session.connection().exec_driver_sql("SELECT count(*) FROM sack").scalar() == 100_000
    book_is_sound()


def test_opening_stock_that_is_too_moist_is_not_held_and_still_seen(
    api: Api, jutebook: Jutebook, desk: Path
) -> None:
    file = write_sheet(desk / "stock.csv", [SOUND | {"moisture_pct": "13.1"}])

    jutebook("import", "stock", file)

    assert api.get("/lots/OPEN-1")["held"] is False
    assert api.get("/readings")["items"][0]["band"] == "red"
    assert api.get("/readings")["items"][0]["alarms"] == []
    assert [row["lot"] for row in api.get("/moisture-watch")["items"]] == ["OPEN-1"]
