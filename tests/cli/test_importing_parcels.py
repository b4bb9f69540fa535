"""Opening stock with one mark on several lots: what lies on the racks is taken, and pointed out."""

import re
from collections.abc import Callable
from pathlib import Path

from tests.api import Api
from tests.cli.conftest import Jutebook
from tests.cli.graded_lots import graded_rows, refusals, stock_rows
from tests.cli.sheets import SOUND, write_sheet
from tests.makers import furnish


def row(lot: str, mark: str, received_at: str = "2026-01-05") -> dict[str, str]:
    return SOUND | {"lot": lot, "ico_mark": mark, "received_at": received_at}


def warnings(output: str) -> list[str]:
    return [line for line in output.splitlines() if line.startswith("Warning")]


def test_lots_of_one_mark_and_coffee_year_are_taken_with_a_warning(
    api: Api, jutebook: Jutebook, desk: Path, book_is_sound: Callable[[], None]
) -> None:
    rows = [
        row("O-1", "002/1961/0978"), row("O-2", "2-1961-978"), row("O-3", "2/1961/979"),
        row("O-4", "2/1961/978", "2025-09-30"), row("O-5", "none"), row("O-6", "none"),
    ]  # fmt: skip
    file = write_sheet(desk / "stock.csv", rows)

    tried = jutebook("import", "stock", file, "--dry-run")
    done = jutebook("import", "stock", file)
    again = jutebook("import", "stock", file)

    told = (
        "Warning: O-1, O-2 carry the mark 002/1961/0978 in the coffee year 2025/26; "
        "they are taken as parcels of one shipment."
    )
    assert warnings(tried.stdout) == warnings(done.stdout) == [told]
    assert warnings(again.stdout) == []
    assert "Rows: 6 accepted, 0 already there, 0 refused." in done.stdout
    found = api.get("/lots?ico_mark=2/1961/978")["items"]
    assert [(lot["code"], lot["coffee_year"]) for lot in found] == [
        ("O-1", "2025/26"), ("O-2", "2025/26"), ("O-4", "2024/25"),
    ]  # fmt: skip
    book_is_sound()


def test_a_parcel_of_a_shipment_that_the_book_holds_is_pointed_out_too(
    api: Api, jutebook: Jutebook, desk: Path
) -> None:
    furnish(api)
    lot = {"code": "GL-1", "name": "Sidama", "origin": "ET", "ico_mark": "2/1961/978"}
    body = {
        "supplier": "Finca El Roble", "received_at": "2026-03-02T08:00:00Z",
        "lots": [lot | {"sacks": [{"net_kg": 60}]}],
    }  # fmt: skip
    api.post("/deliveries", body)

    done = jutebook("import", "stock", write_sheet(desk / "s.csv", [row("O-1", "002/1961/0978")]))
    late = body | {"lots": [lot | {"code": "GL-2", "sacks": [{"net_kg": 60}]}]}

    assert "Warning: GL-1, O-1 carry the mark" in done.stdout
    assert api.refuse("/deliveries", late, 409, "mark-taken")["lots"] == ["GL-1", "O-1"]


def test_of_a_shipment_of_many_lots_ten_are_named(jutebook: Jutebook, desk: Path) -> None:
    file = write_sheet(desk / "s.csv", [row(f"O-{n:02}", "2/1961/978") for n in range(12)])

    done = jutebook("import", "stock", file)

    assert "O-08, O-09 and 2 more carry the mark" in done.stdout


def test_of_the_real_lots_every_mark_that_a_coffee_year_has_twice_is_pointed_out(
    shared: Path, jutebook: Jutebook, desk: Path
) -> None:
    # lots.csv and rejects.csv: the lots a strict import takes, counted here by their marks.
    folder = shared / "data" / "open"
    refused = refusals(folder)
    taken = [row for row in stock_rows(graded_rows(folder)) if row["lot"] not in refused]
    shipments: dict[tuple[str, str], list[str]] = {}
    for lot in taken:
        groups = re.fullmatch(
            r"\s*(\d{1,3})\s*[/-]\s*(\d{1,4})\s*[/-]\s*(\d{1,5})\s*", lot["ico_mark"], re.ASCII
        )
        if groups:
            country, exporter, serial = map(int, groups.groups())
            year, month = map(int, lot["received_at"].split("-")[:2])
            begun = year if month >= 10 else year - 1
            shipment = f"{country:03}/{exporter:04}/{serial:04}", f"{begun}/{(begun + 1) % 100:02}"
            shipments.setdefault(shipment, []).append(lot["lot"])

    done = jutebook("import", "stock", write_sheet(desk / "lots.csv", taken), "--dry-run")

    told = [
        f"Warning: {', '.join(lots)} carry the mark {mark} in the coffee year {year}; "
        "they are taken as parcels of one shipment."
        for (mark, year), lots in shipments.items()
        if len(lots) > 1
    ]
    assert sorted(warnings(done.stdout)) == sorted(told)
    assert len(told) > 10
    assert "Rows: 462 accepted, 0 already there, 0 refused." in done.stdout
