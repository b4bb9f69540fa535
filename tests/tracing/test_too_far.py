"""A trace is whole or refused: never is a part of it answered, and one request cannot take all."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from fastapi import FastAPI
from typer.testing import CliRunner

from app.cli import cli
from app.settings import Settings
from app.shared.answers import read_json
from tests.api import Api, problem
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes, sell_of_one_sack
from tests.web.conftest import Visitor, signed_in

MOST = 5


@pytest.fixture
def settings(database_url: str) -> Settings:
    return Settings(
        database_url=database_url, hold_on_arrival=False, trace_most_units=MOST, _env_file=None
    )


@pytest.fixture
def sack(api: Api, book_is_sound: Callable[[], None]) -> Iterator[str]:
    """A lot of one sack in one roast, one pack and one dispatch: five units."""
    yield sell_of_one_sack(api)
    book_is_sound()


@pytest.fixture
def visitor(service: FastAPI) -> Iterator[Visitor]:
    with signed_in(service, "Noor", "admin") as somebody:
        yield somebody


def codes(answer: Any) -> list[str]:
    return [unit["code"] for unit in answer["units"]]


def refused(api: Api, method: str, path: str, body: object = None) -> None:
    said = problem(api.send(method, path, body), 422, "reaches-too-far")
    assert (said["reached_at_least"], said["most"]) == (MOST + 1, MOST)
    assert str(MOST + 1) in said["detail"]
    assert "fewer starts" in said["detail"]


def test_a_trace_just_within_is_whole(api: Api, sack: str) -> None:
    whole = ["LOT-A", sack, "RB-1", "PK-1", "DS-1"]

    assert codes(api.get("/trace/LOT-A")) == whole
    assert codes(api.get("/trace/DS-1?direction=backward")) == whole
    assert codes(api.post("/trace", {"units": ["LOT-A"]})) == whole
    assert api.send("GET", "/trace/LOT-A/flow").status_code == 200


def test_one_beyond_is_refused_by_every_way_to_it(api: Api, sack: str) -> None:
    dispatch(api, {"PK-1": 1}, code="DS-2")

    refused(api, "GET", "/trace/LOT-A")
    refused(api, "GET", "/trace/LOT-A/flow")
    refused(api, "GET", "/trace/LOT-A/flow.svg")
    refused(api, "POST", "/trace", {"units": ["LOT-A"]})
    refused(api, "POST", "/trace", {"units": ["DS-1", "DS-2"], "direction": "backward"})
    refused(api, "GET", "/epcis?code=LOT-A")
    assert codes(api.get(f"/trace/{sack}")) == [sack, "RB-1", "PK-1", "DS-1", "DS-2"]


@pytest.mark.usefixtures("sack")
def test_what_voiding_would_take_with_it_is_whole_or_refused(api: Api) -> None:
    for number in (2, 3):
        dispatch(api, {"PK-1": 1}, code=f"DS-{number}")
    assert len(api.get("/units/RB-1/impact")["units"]) == MOST - 1

    dispatch(api, {"PK-1": 1}, code="DS-4")

    refused(api, "GET", "/units/RB-1/impact")


@pytest.mark.usefixtures("sack")
def test_only_what_the_book_had_then_is_counted(api: Api) -> None:
    then = api.get("/units/DS-1")["recorded_at"]
    dispatch(api, {"PK-1": 1}, code="DS-2")

    assert len(api.get(f"/trace/LOT-A?as_of={then}")["units"]) == MOST
    refused(api, "GET", "/trace/LOT-A")


@pytest.mark.usefixtures("sack")
def test_what_was_voided_is_not_counted(api: Api) -> None:
    dispatch(api, {"PK-1": 1}, code="DS-2")
    api.post("/units/DS-2/void", {"reason": "never left"})

    assert len(api.get("/trace/LOT-A")["units"]) == MOST


def test_places_with_too_much_in_them_are_refused(api: Api) -> None:
    furnish(api)
    sacks = [{"net_kg": 60, "location": "A-01"}] * (MOST + 1)
    lot = {"code": "LOT-A", "name": "Sul", "origin": "BR", "sacks": sacks[1:]}
    body = {"supplier": "Finca El Roble", "received_at": "2026-03-02T08:00:00Z"}
    api.post("/deliveries", body | {"lots": [lot]})

    assert len(api.post("/trace", {"location": "A-01"})["units"]) == MOST

    api.post("/deliveries", body | {"lots": [lot | {"code": "LOT-B", "sacks": sacks[:1]}]})

    refused(api, "POST", "/trace", {"location": "A-01"})


def test_possible_contact_counts_too(api: Api, sack: str) -> None:
    other = sack_codes(receive(api, 60, lot="LOT-B"))[0]
    asked = f"/trace/{sack}?carry_over=true"
    roast(api, {other: 20}, 17, code="RB-2")
    assert len(api.get(asked)["possible_contact"]) == 1

    pack(api, {"RB-2": 10}, bags=40, code="PK-2")

    refused(api, "GET", asked)
    assert len(api.get(f"/trace/{sack}")["units"]) == MOST - 1


@pytest.mark.usefixtures("sack")
def test_the_pages_say_so_and_keep_what_was_asked(api: Api, visitor: Visitor) -> None:
    assert visitor.get("/trace?units=LOT-A").status_code == 200
    dispatch(api, {"PK-1": 1}, code="DS-2")

    for file in ("", "/units.csv", "/flow.svg"):
        answer = visitor.get(f"/trace{file}?units=LOT-A")
        assert answer.status_code == 422, file
        assert "At least 6 units are reached" in answer.text, file
    assert "LOT-A" in visitor.get("/trace?units=LOT-A").text


@pytest.mark.usefixtures("sack")
def test_the_command_line_has_no_such_limit(api: Api, database_url: str) -> None:
    dispatch(api, {"PK-1": 1}, code="DS-2")
    named = {"JUTEBOOK_DATABASE_URL": database_url, "JUTEBOOK_TRACE_MOST_UNITS": "1"}

    result = CliRunner().invoke(cli, ["trace", "LOT-A", "--format", "json"], env=named)

    assert result.exit_code == 0
    assert len(read_json(result.stdout.encode())["units"]) == MOST + 1
