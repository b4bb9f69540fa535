"""Days and times long ago or far ahead are slips: refused by name, wherever they are sent."""

from collections.abc import Iterator
from datetime import date
from typing import Any, Final

import pytest
from fastapi import FastAPI

from app.main import open_book
from app.settings import Settings
from tests.api import Api, problem
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes
from tests.notes.operations import operations

FORMATS: Final = {"date": "", "date-time": "T12:00:00Z"}
BEYOND: Final = ("0001-01-01", "1899-12-31", "9000-01-01", "9999-12-31")
TAKEN: Final = ("1900-01-01", "8999-12-31")
CODES: Final = {
    "/api/v1/cases/{code}": "K-000001-X", "/api/v1/locations/{code}/stays": "A-01",
    "/api/v1/products/{sku}/weighing-chart": "HOUSE-250",
    "/api/v1/standing-orders/{code}/dates": "SO-000001-X",
}  # fmt: skip
"""What a path is of, where that is not the lot."""


@pytest.fixture(params=["America/New_York", "Pacific/Auckland"])
def west_and_east(request: pytest.FixtureRequest, service: FastAPI, database_url: str) -> None:
    """A house whose days begin before or after those of UTC."""
    service.state.engine.dispose()
    open_book(
        service,
        Settings(
            database_url=database_url, hold_on_arrival=False, time_zone=request.param,
            _env_file=None,
        ),
    )  # fmt: skip


def days_asked(document: dict[str, Any]) -> Iterator[tuple[str, str, str]]:
    """Name every parameter that is a day or a time: path, name and format."""
    for method, path, operation in operations(document):
        for each in operation.get("parameters", ()):
            form = str(each["schema"].get("format"))
            if each["in"] == "query" and form in FORMATS:
                assert method == "get"
                yield path, each["name"], form


def address(path: str) -> str:
    filled = CODES.get(path, "GL-1")
    key = "key=GL-1&" if "/cover/use" in path else ""
    return f"{path.replace('{code}', filled).replace('{sku}', filled)}?{key}"


@pytest.mark.usefixtures("west_and_east")
def test_every_day_that_is_asked_about_is_one_of_the_house(api: Api, service: FastAPI) -> None:
    furnish(api)
    lot = receive(api, 60, 60, lot="GL-1")
    roasted = roast(api, {sack_codes(lot)[0]: 12}, 10)
    packed = pack(api, {roasted["code"]: 5}, 20)
    dispatch(api, {packed["code"]: 4})
    asked = list(days_asked(service.openapi()))
    assert len(asked) > 30

    for path, name, form in asked:
        for day in BEYOND:
            refused = problem(
                api.send("GET", f"{address(path)}{name}={day}{FORMATS[form]}"), 422, "invalid"
            )
            said = {each["parameter"]: each["detail"] for each in refused["errors"]}
            assert said[name] == f"{day} lies outside of 1900-01-01 to 8999-12-31", path
        for day in TAKEN:
            answer = api.send("GET", f"{address(path)}{name}={day}{FORMATS[form]}")
            assert answer.status_code in {200, 404, 409, 422}, (path, name, answer.text)


@pytest.mark.parametrize("day", BEYOND)
def test_a_day_of_a_body_lies_within_the_calendar_of_the_house(api: Api, day: str) -> None:
    furnish(api)
    lot = {"name": "Old", "origin": "ET", "sacks": [{"net_kg": 60}]}
    body = {
        "supplier": "Finca El Roble", "received_at": f"{day}T00:00:00Z", "discharged_on": day,
        "lots": [lot],
    }  # fmt: skip

    refused = api.refuse("/deliveries", body, 422, "invalid")

    said = f"{day} lies outside of 1900-01-01 to 8999-12-31"
    assert {each["pointer"]: each["detail"] for each in refused["errors"]} == {
        "#/received_at": said, "#/discharged_on": said,
    }  # fmt: skip
    assert api.get("/lots")["items"] == []


def test_a_time_is_held_to_the_day_that_is_written_in_it(api: Api) -> None:
    furnish(api)
    lot = {"name": "Old", "origin": "ET", "sacks": [{"net_kg": 60}]}
    body = {"supplier": "Finca El Roble", "lots": [lot]}

    taken = api.post("/deliveries", body | {"received_at": "1900-01-01T00:00:00+14:00"})
    early = body | {"received_at": "1899-12-31T23:59:59-14:00"}

    assert taken["received_at"] == "1899-12-31T10:00:00Z"
    api.refuse("/deliveries", early, 422, "invalid")


@pytest.mark.usefixtures("west_and_east")
def test_a_case_that_was_opened_from_an_earlier_day_is_still_read(
    api: Api, monkeypatch: pytest.MonkeyPatch
) -> None:
    furnish(api)
    roast(api, {sack_codes(receive(api, 60))[0]: 12}, 10)
    begin = "0001-01-01T00:00:00Z"
    with monkeypatch.context() as before:
        before.setattr("app.shared.times.FIRST_DAY", date.min)
        opened = api.post("/recalls", {
            "kind": "withdrawal", "trigger": {"kind": "complaint", "text": "smells of smoke"},
            "start": {"machine": "DRUM-75", "from": begin},
        })  # fmt: skip

    for more in ("", "/scopes", "/scopes/1", "/changes", "/report.pdf", "/report.csv"):
        answer = api.send("GET", f"/recalls/{opened['code']}{more}")
        assert answer.status_code == 200, (more, answer.text)
