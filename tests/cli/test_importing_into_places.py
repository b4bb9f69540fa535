"""Opening stock goes where there is room for it: row by row, in the order of the file."""

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.api import Api
from tests.cli.conftest import Jutebook
from tests.cli.sheets import SOUND, write_sheet
from tests.makers import furnish


@pytest.fixture
def _rack(api: Api) -> None:
    """A rack that takes 400 kg, with two bays."""
    furnish(api)
    api.post("/locations", {"code": "R", "kind": "rack", "capacity_kg": 400})
    for bay in ("R-1", "R-2"):
        api.post("/locations", {"code": bay, "kind": "bay", "parent": "R"})


ROWS = [
    SOUND | {"lot": "ONE", "location": "R-1"},
    SOUND | {"lot": "TWO", "location": "R-2", "sacks": "4"},
    SOUND | {"lot": "THREE", "location": "R-2", "sacks": "1", "sack_kg": "220"},
    SOUND | {"lot": "FOUR", "location": "R"},
    SOUND | {"lot": "FIVE"},
]
"""180, 240, 220, 180 and 180 kg: the second is too much beside the first, the fourth just not."""


@pytest.mark.usefixtures("_rack")
def test_a_row_that_no_room_is_left_for_is_refused_with_the_figures(
    api: Api, jutebook: Jutebook, desk: Path
) -> None:
    done = jutebook("import", "stock", write_sheet(desk / "stock.csv", ROWS))

    assert done.exit_code == 1
    takes = "location: R takes 400.0 kg;"
    assert done.stderr.splitlines()[:2] == [
        f"line 3: lot TWO: {takes} 180.0 kg stand there and 240.0 kg were to come",
        f"line 5: lot FOUR: {takes} 400.0 kg stand there and 180.0 kg were to come",
    ]
    assert api.get("/lots")["items"] == []


@pytest.mark.usefixtures("_rack")
def test_the_other_rows_fill_a_place_to_the_last_gram(
    api: Api, jutebook: Jutebook, desk: Path, book_is_sound: Callable[[], None]
) -> None:
    sheet = write_sheet(desk / "stock.csv", ROWS)

    done = jutebook("import", "stock", sheet, "--skip-refused")
    again = jutebook("import", "stock", sheet, "--dry-run")

    assert done.exit_code == 0
    assert [lot["code"] for lot in api.get("/lots")["items"]] == ["ONE", "THREE", "FIVE"]
    assert api.get("/locations/R")["free_kg"] == 0
    assert "0 accepted, 3 already there, 2 refused" in again.stdout
    book_is_sound()
