"""Documents of suppliers and packers, read into deliveries that somebody books."""

from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.shared.answers import read_json, to_json
from tests.api import Api, kg, problem

GREEN = "https://id.gs1.org/01/09521234000013/10"
SUPPLIER = "https://id.gs1.org/417/9529999000019"


def propose(api: Api, document: object) -> Any:
    answer = api.send("POST", "/epcis/proposals", document, content_type="application/ld+json")
    assert answer.status_code == 200, answer.text
    return read_json(answer.content)


@pytest.fixture
def told(shared: Path) -> dict[str, Any]:
    """Nineteen events of an invented roastery, from the sack to its recall."""
    file = shared / "data/standards/own/roastery-events.jsonld"
    document: dict[str, Any] = read_json(file.read_bytes())
    document["epcisHeader"] = {"epcisMasterData": {"vocabularyList": [{
        "type": "urn:epcglobal:epcis:vtype:SourceDest",
        "vocabularyElementList": [{
            "id": SUPPLIER, "attributes": [{"id": "cbvmda:name", "attribute": "Finca El Roble"}],
        }],
    }]}}  # fmt: skip
    return document


def test_what_a_supplier_tells_as_received_is_a_delivery_that_can_be_booked(
    api: Api, told: dict[str, Any], book_is_sound: Callable[[], None]
) -> None:
    api.post("/suppliers", {"name": "Finca El Roble"})

    said = propose(api, told)

    [proposed] = said["deliveries"]
    assert proposed["delivery"] == {
        "supplier": "Finca El Roble", "reference": "BL-77",
        "received_at": "2026-11-02T09:15:00.000Z",
        "lots": [{
            "code": "GL24017", "name": "GL24017", "origin": "ET", "ico_mark": "010/1402/0001",
            "note": "lot of the supplier 010/1402/0001; due-diligence statement 26FREXAMPLE001",
            "sacks": [{"code": "GL24017-S01", "net_kg": kg("60.2")},
                      {"code": "GL24017-S02", "net_kg": kg("59.8")}],
        }],
    }  # fmt: skip
    assert (proposed["ready"], proposed["missing"]) == (True, [])
    assert proposed["events"] == ["#/epcisBody/eventList/1"]
    # A roast and a lot of liners are left out of the fixture on purpose.
    assert [each["lot"] for each in said["unknown_origin"]] == ["RB20261104-01", "PK7781"]
    # What was declared wrong was read no further, and its correction was.
    read = [each["read_as"] for each in said["events"]]
    assert read[5:8] == ["declared_wrong", "declaration", "made"]
    assert read[:2] == ["master_data", "delivery"]
    assert [len(made["inputs"]) for made in said["made"]] == [2, 2, 2]
    assert said["made"][0]["inputs"][1]["kg"] == kg("10.3")
    assert api.get("/deliveries")["items"] == []
    booked = api.post("/deliveries", proposed["delivery"])
    assert booked["lots"][0]["received_kg"] == 120
    again = propose(api, told)
    assert {each["finding"] for each in again["findings"]} == {"code_taken"}
    assert "code" not in again["deliveries"][0]["delivery"]["lots"][0]
    book_is_sound()


def test_what_the_book_tells_is_proposed_as_the_very_delivery_that_was_booked(
    api: Api, roastery: dict[str, Any]
) -> None:
    document = read_json(api.send("GET", "/epcis?code=GL24017").content)

    [proposed] = propose(api, document)["deliveries"]

    assert proposed["ready"] is True
    # Codes are taken, in the same book; where sacks stand is for whoever receives them.
    assert proposed["delivery"] == {
        "supplier": "Finca El Roble", "reference": "DN 10/42",
        "received_at": "2026-03-02T08:00:00Z",
        "lots": [{
            "name": "Sidama washed", "origin": "ET", "crop_year": "2025/26", "process": "washed",
            "ico_mark": "010/1402/0001", "advised_kg": 121,
            "sacks": [{"net_kg": kg("60.2")}, {"net_kg": kg("59.8"), "condition": "torn"}],
        }],
    }  # fmt: skip
    assert roastery["delivery"]["lots"][0]["received_kg"] == 120


def test_who_and_whence_that_are_not_said_are_named_and_nothing_is_made_up(
    api: Api, told: dict[str, Any]
) -> None:
    del told["epcisHeader"]
    events = told["epcisBody"]["eventList"]
    del events[0]["ilmd"]["cbvmda:countryOfOrigin"]

    said = propose(api, told)

    [proposed] = said["deliveries"]
    assert proposed["ready"] is False
    assert {each["pointer"] for each in proposed["missing"]} == {"#/supplier", "#/lots/0/origin"}
    assert [(each["finding"], each["pointer"]) for each in said["findings"]] == [
        ("unknown_supplier", "#/epcisBody/eventList/1"),
        ("unknown_origin_country", "#/epcisBody/eventList/0/ilmd"),
    ]  # fmt: skip
    assert "GLN 9529999000019" in said["findings"][0]["detail"]


def test_what_was_only_shipped_is_proposed_and_asks_when_it_came(
    api: Api, told: dict[str, Any]
) -> None:
    api.post("/suppliers", {"name": "finca el roble"})
    events = told["epcisBody"]["eventList"][:2]
    events[1] |= {"bizStep": "shipping", "disposition": "in_transit"}
    told["epcisBody"]["eventList"] = events

    said = propose(api, told)

    [proposed] = said["deliveries"]
    assert [each["pointer"] for each in proposed["missing"]] == ["#/received_at"]
    assert [each["finding"] for each in said["findings"]] == ["only_shipped"]
    assert proposed["delivery"]["supplier"] == "finca el roble"


def test_one_mass_of_several_sacks_is_shared_out_only_where_it_goes_evenly(
    api: Api, told: dict[str, Any]
) -> None:
    events = told["epcisBody"]["eventList"][:2]
    told["epcisBody"]["eventList"] = events
    for event in events:
        event["quantityList"] = [{"epcClass": f"{GREEN}/GL-9", "quantity": 120, "uom": "KGM"}]

    [even] = propose(api, told)["deliveries"]
    assert even["delivery"]["lots"][0]["sacks"] == [{"count": 2, "net_kg": 60}]
    events[0]["ilmd"]["rst:sackCount"] = 7
    odd = propose(api, told)
    assert odd["deliveries"][0]["delivery"]["lots"][0]["sacks"] == [
        {"code": "GL-9", "net_kg": 120}
    ]  # fmt: skip
    assert "not_by_sack" in {each["finding"] for each in odd["findings"]}
    # A pound is 0.45359237 kg exactly (international yard and pound agreement, 1959).
    for event in events:
        event["quantityList"][0] |= {"quantity": 132, "uom": "LBR"}
    pounds = propose(api, told)
    assert pounds["deliveries"][0]["delivery"]["lots"][0]["sacks"][0]["net_kg"] == kg("59.874")
    assert "rounded" in {each["finding"] for each in pounds["findings"]}


@pytest.mark.parametrize(
    ("rule", "change"),
    [
        ("shape", lambda events: events[0].pop("eventTime")),
        ("quantity", lambda events: events[1]["quantityList"][0].update(quantity=-1)),
        ("unit", lambda events: events[1]["quantityList"][0].update(uom="KG")),
        ("gained", lambda events: events[7]["outputQuantityList"][0].update(quantity=300)),
        ("ahead", lambda events: events[1].update(eventTime="2098-01-01T00:00:00Z")),
        ("overdrawn", lambda events: events[17]["quantityList"][0].update(quantity=40)),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_with_its_place_and_rule(
    api: Api, told: dict[str, Any], rule: str, change: Callable[[Any], object]
) -> None:
    document = deepcopy(told)
    change(document["epcisBody"]["eventList"])

    answer = api.send("POST", "/epcis/proposals", document)

    refused = problem(answer, 422, "invalid")
    assert rule in {each["rule"] for each in refused["errors"]}
    assert all(each["pointer"].startswith("#/epcisBody/eventList/") for each in refused["errors"])


def test_what_is_no_document_is_told_so(api: Api) -> None:
    for body, status, slug in (
        (b"[", 422, "invalid"),
        (b"[]", 422, "invalid"),
        (b"{}", 422, "invalid"),
        (b'{"type": "EPCISDocument"}', 422, "invalid"),
        (b"\xff", 422, "invalid"),
    ):
        problem(api.send("POST", "/epcis/proposals", body), status, slug)
    other = api.send("POST", "/epcis/proposals", b"<xml/>", content_type="application/xml")
    problem(other, 415, "unsupported-media-type")
    problem(api.send("POST", "/epcis/proposals", b" " * 10_000_001), 413, "too-large")


_LEAF: st.SearchStrategy[Any] = st.sampled_from(
    [None, True, 1, "x", "x:y", [], {}, "2026-01-01", -1, "S-000001-7"]
)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.integers(0, 10_000), _LEAF)
def test_whatever_is_altered_in_a_document_it_is_read_or_refused(
    api: Api, told: dict[str, Any], where: int, value: object
) -> None:
    document = deepcopy(told)
    places = list(_places(document))
    holder, step = places[where % len(places)]
    holder[step] = value

    answer = api.send("POST", "/epcis/proposals", to_json(document))

    assert answer.status_code in {200, 422}, answer.text


def _places(value: Any) -> Any:
    for step, each in list(value.items() if isinstance(value, dict) else enumerate(value)):
        yield value, step
        if isinstance(each, dict | list):
            yield from _places(each)
