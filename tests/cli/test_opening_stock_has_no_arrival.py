"""Opening stock never arrived: no work waits on it, and no fact of an arrival is taken of it."""

from pathlib import Path
from typing import Any

import pytest

from tests.api import Api, problem
from tests.cli.conftest import Jutebook
from tests.cli.sheets import SOUND, write_sheet
from tests.makers import furnish


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("arrival-counts", {"invoiced": 3, "sound": 3}),
        ("arrival-weights", {}),
        ("exceptions", {"kind": "torn", "sacks": 1}),
    ],
)
def test_opening_stock_takes_no_fact_of_an_arrival(
    api: Api, jutebook: Jutebook, desk: Path, path: str, body: dict[str, Any]
) -> None:
    furnish(api)
    jutebook("import", "stock", write_sheet(desk / "stock.csv", [SOUND]))

    refused = api.refuse(f"/lots/OPEN-1/{path}", body, 404, "not-found")

    assert "opening stock" in refused["detail"]
    problem(api.send("GET", f"/lots/OPEN-1/{path}"), 404, "not-found")
    problem(api.send("GET", "/lots/OPEN-1/arrival"), 404, "not-found")
    assert api.get("/lots/OPEN-1")["arrival"] is None
    assert api.get("/holds")["items"] == []
    delivery = api.get("/deliveries")["items"][0]["code"]
    problem(api.send("POST", f"/deliveries/{delivery}/close", {}), 404, "not-found")
