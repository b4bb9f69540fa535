"""Holds that an arrival places, the order of work, and releasing before it is done."""

from collections.abc import Callable
from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, text

from app.main import open_book
from app.settings import Settings
from app.shared.db import reading
from tests.api import Api, kg
from tests.green.arrivals.contracted import CLEAN, arrive, contract, four_sacks
from tests.makers import PASSING, furnish

STEPS = ["count", "weight", "inspection", "sample", "moisture"]


@pytest.fixture
def settings(database_url: str) -> Settings:
    """A roastery that has set nothing: its lots wait on hold when they come."""
    return Settings(database_url=database_url, _env_file=None)


def work_on(api: Api, sack: str) -> None:
    """Do all the work on an arrived lot of four sacks."""
    api.post("/lots/GL-1/arrival-counts", {"invoiced": 4, "sound": 4})
    api.post("/lots/GL-1/arrival-weights", {})
    api.post("/lots/GL-1/inspections", CLEAN)
    draw = [{"sack": sack, "kg": kg("0.3")}]
    api.post("/samples", {"subject": "GL-1", "kind": "arrival", "from": draw})
    api.post("/readings", {"subject": sack, "kind": "moisture", "value": kg("11.4")})


def draw(sack: str) -> dict[str, Any]:
    return {"machine": "DRUM-75", "end_kg": 1, "draws": [{"sack": sack, "kg": 2}]} | PASSING


# The order of work.


def test_the_order_of_work_stands_on_the_lot_and_is_done_step_by_step(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    sack = four_sacks(api)["lots"][0]["sacks"][0]["code"]
    before = api.get("/lots/GL-1/arrival")

    work_on(api, sack)

    after = api.get("/lots/GL-1/arrival")
    assert before["open_steps"] == [each["step"] for each in before["steps"]] == STEPS
    assert {each["done"] for each in before["steps"]} == {False}
    assert {each["at"] for each in before["steps"]} == {None}
    assert after["open_steps"] == []
    assert {(each["done"], each["by"]) for each in after["steps"]} == {(True, "admin")}
    details = {each["step"]: each["detail"] for each in after["steps"]}
    assert "4 of 4" in details["count"]
    assert "240.0 kg landed" in details["weight"]
    assert details["sample"] == "0.3 kg drawn"
    assert details["moisture"] == "11.4 %"
    assert before["held"] is after["held"] is True
    book_is_sound()


def test_a_step_is_open_again_when_what_was_done_turns_out_wrong(api: Api) -> None:
    sack = four_sacks(api)["lots"][0]["sacks"][0]["code"]
    work_on(api, sack)

    api.post("/lots/GL-1/arrival-counts", {"invoiced": 4, "sound": 3})
    api.post("/samples/1/void", {"reason": "drawn from another lot"})

    shown = api.get("/lots/GL-1/arrival")
    assert shown["open_steps"] == ["count", "sample"]
    [count, *_] = shown["steps"]
    assert "does not reconcile: 3 of 4 invoiced accounted for" in count["detail"]
    assert api.get("/lots/GL-1")["arrival"] == {"open_steps": shown["open_steps"],
                                                "closed_at": None}  # fmt: skip


@pytest.mark.parametrize(
    ("limit", "reading", "within"),
    [(12, "12", True), (12, "12.001", False), (None, "12", None)],
)
def test_moisture_is_held_against_what_the_contract_allows_on_arrival(
    api: Api, limit: int | None, reading: str, within: bool | None
) -> None:
    furnish(api)
    contract(api, arrival_moisture_limit_pct=limit)

    arrive(api, {"net_kg": 60}, contract="PC-26/014", moisture_pct=kg(reading))

    moisture = api.get("/lots/GL-1/arrival")["moisture"]
    assert (moisture["pct"], moisture["limit_pct"]) == (kg(reading), limit)
    assert moisture["within"] is within


def test_without_a_reading_nothing_is_said_of_moisture(api: Api) -> None:
    furnish(api)
    contract(api, arrival_moisture_limit_pct=12)
    arrive(api, {"net_kg": 60}, contract="PC-26/014")

    assert api.get("/lots/GL-1/arrival")["moisture"] is None


def test_a_moisture_that_was_voided_opens_its_step_again(api: Api) -> None:
    furnish(api)
    arrive(api, {"net_kg": 60})
    taken = api.post("/readings", {"subject": "GL-1", "kind": "moisture", "value": 11})
    before = api.get("/lots/GL-1/arrival")["open_steps"]

    api.post(f"/readings/{taken['id']}/void", {"reason": "it was another lot"})

    assert "moisture" not in before
    assert "moisture" in api.get("/lots/GL-1/arrival")["open_steps"]


def test_lots_are_listed_with_their_open_steps_in_as_many_statements_as_one(
    api: Api, statements: Callable[[], int]
) -> None:
    sack = four_sacks(api)["lots"][0]["sacks"][0]["code"]
    work_on(api, sack)
    before = statements()
    [first] = api.get("/lots")["items"]
    for_one = statements() - before
    for number in range(2, 7):
        arrive(api, {"net_kg": 60}, lot=f"GL-{number}")

    before = statements()
    listed = api.get("/lots")["items"]

    assert statements() - before == for_one
    assert first["arrival"]["open_steps"] == []
    assert [each["arrival"]["open_steps"] for each in listed[1:]] == [STEPS] * 5


# Releasing.


def test_releasing_before_the_work_is_done_is_taken_and_stands_in_the_book(
    api: Api, api_as: Callable[..., Api], engine: Engine
) -> None:
    furnish(api)
    lots = [
        {"code": code, "name": "Sidama", "origin": "ET", "sacks": [{"count": 4, "net_kg": 60}]}
        for code in ("GL-1", "GL-2")
    ]
    delivery = api.post(
        "/deliveries",
        {"supplier": "Finca El Roble", "received_at": "2026-03-05T08:00:00Z", "lots": lots},
    )
    work_on(api, delivery["lots"][0]["sacks"][0]["code"])

    released = api_as("quality").post("/holds/1/release", {"reason": "needed today"})

    assert released["open_steps"] == {"GL-1": [], "GL-2": STEPS}
    assert api.get("/lots/GL-2")["held"] is False
    with reading(engine) as session:
        facts = session.scalar(text("SELECT facts FROM entry WHERE kind = 'release'"))
    assert facts is not None
    assert '"open_steps":{"GL-1":[],"GL-2":["count","weight","inspection",' in facts


def test_releasing_another_hold_says_nothing_of_steps(api: Api) -> None:
    four_sacks(api)
    other = api.post("/holds", {"units": ["GL-1"], "reason": "it smells of diesel"})

    released = api.post(f"/holds/{other['id']}/release", {"reason": "it was the lorry"})

    assert released["open_steps"] is None
    api.refuse(f"/holds/{other['id']}/release", {"reason": "again"}, 409, "already-done")


# Held apart.


def test_wet_and_mouldy_sacks_and_sweepings_stay_held_when_the_lot_is_released(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    # ITC, The Coffee Guide, Quality control issues: "OTA prevention during processing": wet or
    # mouldy bags are held. Sweepings apart and on hold: our rule.
    furnish(api)
    sacks = arrive(
        api,
        {"net_kg": 60},
        {"net_kg": 61, "condition": "wet"},
        {"net_kg": 59, "condition": "mouldy"},
        {"net_kg": 50, "condition": "torn"},
        sweepings_kg=9,
    )["lots"][0]["sacks"]

    api.post("/holds/1/release", {"reason": "counted, weighed, inspected, measured"})

    held = {each["code"]: each["held"] for each in api.get("/sacks?lot=GL-1")["items"]}
    assert [held[sack["code"]] for sack in sacks] == [False, True, True, False, True]
    shown = api.get("/lots/GL-1")
    assert (shown["held"], shown["available_kg"], shown["on_hand_kg"]) == (False, 110, 239)
    for sack in (sacks[1], sacks[2], sacks[4]):
        api.refuse("/roasts", draw(sack["code"]), 409, "on-hold")
    holds = api.get("/holds?open=true")["items"]
    assert [each["units"] for each in holds] == [
        [sacks[1]["code"], sacks[2]["code"]],
        [sacks[4]["code"]],
    ]
    assert "competent person" in holds[0]["reason"]
    book_is_sound()


def test_a_release_of_sweepings_lets_them_alone_go(api: Api) -> None:
    furnish(api)
    sacks = arrive(api, {"net_kg": 60, "condition": "wet"}, sweepings_kg=9)["lots"][0]["sacks"]

    for number in (1, 3):
        api.post(f"/holds/{number}/release", {"reason": "cleaned and tasted apart"})

    held = [api.get(f"/sacks/{sack['code']}")["held"] for sack in sacks]
    assert held == [True, False]


@pytest.mark.parametrize(
    ("set_to", "held"),
    [
        ({"hold_on_arrival": False}, [True, True, False]),
        ({"hold_wet_on_arrival": False}, [True, True, True]),
        ({"hold_on_arrival": False, "hold_wet_on_arrival": False}, [False, True, False]),
    ],
)
def test_settings_decide_on_lots_and_on_wet_sacks_and_never_on_sweepings(
    service: FastAPI, settings: Settings, api: Api, set_to: dict[str, bool], held: list[bool]
) -> None:
    furnish(api)
    service.state.engine.dispose()
    open_book(service, settings.model_copy(update=set_to))

    sacks = arrive(api, {"net_kg": 60, "condition": "wet"}, sweepings_kg=9)["lots"][0]["sacks"]

    shown = [api.get(f"/sacks/{sack['code']}")["held"] for sack in sacks]
    assert [*shown, api.get("/lots/GL-1")["held"]] == held


def test_what_an_inspection_found_stays_held_when_the_arrival_is_released(api: Api) -> None:
    # Mould calls for a hold: ITC Coffee Guide, OTA prevention during processing.
    four_sacks(api)
    found = api.post("/lots/GL-1/inspections", CLEAN | {"mould": True})
    again = api.post("/lots/GL-1/inspections", CLEAN | {"mould": True, "musty_smell": True})

    api.post("/holds/1/release", {"reason": "counted, weighed, measured"})
    before = api.get("/lots/GL-1")["held"]
    api.post(f"/holds/{found['hold']}/release", {"reason": "looked at by a competent person"})
    later = api.post("/lots/GL-1/inspections", CLEAN | {"mould": True})

    assert (found["hold"], again["hold"], before) == (2, None, True)
    assert later["hold"] == 3  # the one before was released, and it was found again


def test_a_setting_keeps_inspections_from_holding(
    service: FastAPI, settings: Settings, api: Api
) -> None:
    four_sacks(api)
    service.state.engine.dispose()
    open_book(service, settings.model_copy(update={"hold_on_inspection": False}))
    api.post("/holds/1/release", {"reason": "needed today"})

    seen = api.post("/lots/GL-1/inspections", CLEAN | {"mould": True})

    assert (seen["clean"], seen["hold"]) == (False, None)
    assert api.get("/holds?open=true")["items"] == []


def test_a_lot_with_sweepings_can_be_voided_as_a_whole(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    arrive(api, {"net_kg": 60}, sweepings_kg=9)

    gone = api.post("/units/GL-1/void", {"reason": "entered twice"})

    assert len(gone["voided"]) == 3
    book_is_sound()


# Exceptions.


def test_an_exception_names_sacks_and_where_they_were_put(api: Api) -> None:
    sacks = [each["code"] for each in four_sacks(api)["lots"][0]["sacks"]]

    wet = api.post("/lots/GL-1/exceptions", {
        "kind": "wet", "codes": sacks[:2], "kg": kg("120.5"), "location": "a-01",
        "disposition": "for the surveyor", "note": "water mark at the seam",
    })  # fmt: skip
    missing = api.post("/lots/GL-1/exceptions", {"kind": "missing", "sacks": 1})

    assert (wet["sacks"], wet["codes"], wet["kg"]) == (2, sacks[:2], kg("120.5"))
    assert (wet["location"], wet["disposition"]) == ("A-01", "for the surveyor")
    assert "keep it apart" in wet["caution"]
    assert (missing["sacks"], missing["codes"], missing["caution"]) == (1, [], None)
    assert api.get("/lots/GL-1/exceptions")["items"] == [wet, missing]
    assert api.get("/lots/GL-1/arrival")["exceptions"] == [wet, missing]


@pytest.mark.parametrize(
    ("body", "status", "slug", "pointer"),
    [
        ({"kind": "torn"}, 422, "invalid", "#"),
        ({"kind": "burnt", "sacks": 1}, 422, "invalid", "#/kind"),
        ({"kind": "torn", "sacks": -1}, 422, "invalid", "#/sacks"),
        ({"kind": "torn", "sacks": 1, "kg": 0}, 422, "invalid", "#/kg"),
        ({"kind": "torn", "sacks": 1, "location": "Z-9"}, 422, "unknown-reference", "#/location"),
        ({"kind": "torn", "codes": ["S-404"]}, 404, "unknown-code", None),
        ({"kind": "torn", "codes": ["GL-1"]}, 409, "wrong-kind", None),
        ({"kind": "torn", "codes": ["OTHER-S"]}, 422, "invalid", "#/codes/0"),
        ({"kind": "torn", "codes": ["MINE", "MINE"]}, 422, "invalid", "#/codes"),
        ({"kind": "torn", "codes": ["MINE"], "sacks": 0}, 422, "invalid", "#/sacks"),
        ({"kind": "missing", "codes": ["MINE"]}, 422, "invalid", "#"),
    ],
)
def test_an_exception_that_names_nothing_or_something_else_is_refused(
    api: Api, body: dict[str, Any], status: int, slug: str, pointer: str | None
) -> None:
    furnish(api)
    arrive(api, {"net_kg": 60, "code": "MINE"})
    arrive(api, {"net_kg": 60, "code": "OTHER-S"}, lot="GL-2")

    document = api.refuse("/lots/GL-1/exceptions", body, status, slug)

    if pointer is not None:
        assert [error["pointer"] for error in document["errors"]] == [pointer]
    assert api.get("/lots/GL-1/exceptions")["items"] == []


def test_the_arrival_limit_is_held_against_the_lot_and_not_against_one_sack(api: Api) -> None:
    furnish(api)
    contract(api, arrival_moisture_limit_pct=12)
    lot = arrive(api, {"net_kg": 60}, {"net_kg": 60}, contract="PC-26/014")["lots"][0]
    first = lot["sacks"][0]["code"]
    api.post("/readings", {"subject": "GL-1", "kind": "moisture", "value": kg("13.2")})
    api.post("/readings", {"subject": first, "kind": "moisture", "value": 11})

    moisture = api.get("/lots/GL-1/arrival")["moisture"]

    assert (moisture["pct"], moisture["within"]) == (kg("13.2"), False)


def test_a_voided_lot_says_so_on_its_papers_and_cannot_be_held(api: Api) -> None:
    furnish(api)
    delivery = arrive(api, {"net_kg": 60})
    api.post("/units/GL-1/void", {"reason": "entered twice"})

    assert api.get("/lots/GL-1/arrival")["voided"] is True
    assert api.get(f"/deliveries/{delivery['code']}")["lots"][0]["voided"] is True
    api.refuse("/holds", {"units": ["GL-1"], "reason": "mould"}, 409, "voided")
