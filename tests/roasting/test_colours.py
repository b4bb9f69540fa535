"""Colours of roasts: how they were read, what they are held against, and what they leave alone."""

from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy import Engine

from tests.api import Api, kg
from tests.makers import furnish, receive, roast, sack_codes
from tests.records import refuse_changes, rows_of

METER = {"code": "CM-1", "name": "Colour meter", "kinds": ["colour"]}


@pytest.fixture(autouse=True)
def sack(api: Api) -> str:
    furnish(api)
    return sack_codes(receive(api, 60))[0]


def body(sack: str, **more: Any) -> dict[str, Any]:
    draws = [{"sack": sack, "kg": 12}]
    return {
        "machine": "DRUM-15", "draws": draws, "end_kg": kg("10.2"), "profile_hit": True,
        "roasted_at": "2026-03-04T08:00:00Z",
    } | more  # fmt: skip


def test_a_colour_is_kept_with_how_it_was_read(api: Api, sack: str) -> None:
    api.post("/instruments", METER)
    read = {"values": [61, 60, kg("61.5")], "scale": "Disc", "form": "ground", "instrument": "cm-1"}

    made = api.post("/roasts", body(sack, colour_reading=read, colour_target=60))

    assert made["disposition"] == "passed"
    assert made["checks"][2]["detail"] == (
        "colour 60.833 ground on Disc (mean of 61, 60, 61.5) against 60 ± 2"
    )
    assert made["colours"] == [{
        "roast": made["code"], "number": 1, "scale": "Disc", "form": "ground",
        "values": [61, 60, kg("61.5")], "mean": kg("60.833"), "spread": kg("1.5"),
        "instrument": "cm-1", "instrument_card": "CM-1", "calibration": "unknown",
        "taken_at": "2026-03-04T08:00:00Z", "taken_by": "admin",
        "voided": False, "void_reason": None,
    }]  # fmt: skip
    assert api.get(f"/roasts/{made['code']}") == made


@pytest.mark.parametrize(
    ("form", "value", "passed"),
    # 2 points ground, 3 whole beans, ends included: our rule.
    [("ground", 62, True), ("ground", kg("62.001"), False), ("whole", 63, True),
     ("whole", kg("63.001"), False)],
)  # fmt: skip
def test_ground_coffee_is_held_closer_than_beans(
    api: Api, sack: str, form: str, value: Any, passed: bool
) -> None:
    read = {"values": [value], "form": form}

    made = api.post("/roasts", body(sack, colour_reading=read, colour_target=60))

    assert made["checks"][2]["passed"] is passed


def test_a_style_on_one_scale_takes_no_reading_on_another(api: Api, sack: str) -> None:
    style = {"name": "Filter", "colour_target": 60, "colour_scale": "Disc", "colour_form": "ground"}
    api.post("/styles", style)
    read = {"values": [60], "scale": "disc", "form": "ground"}

    same = api.post("/roasts", body(sack, style="Filter", colour_reading=read))
    other = api.post("/roasts", body(sack, style="Filter", colour_reading=read | {"scale": "Eye"}))
    bare = api.post("/roasts", body(sack, style="Filter", colour=60))

    assert [made["disposition"] for made in (same, other, bare)] == [
        "passed", "set_aside", "set_aside",
    ]  # fmt: skip
    assert other["checks"][2]["detail"] == (
        "colour 60 ground on Eye cannot be compared with 60.0 ± 2 ground on Disc"
    )
    assert "colour 60 cannot be compared" in bare["checks"][2]["detail"]


def test_a_bare_colour_is_a_reading_too_and_a_second_figure_must_agree(api: Api, sack: str) -> None:
    read = {"values": [60, 61]}

    refused = api.refuse("/roasts", body(sack, colour=61, colour_reading=read), 422, "invalid")
    agreed = api.post("/roasts", body(sack, colour=kg("60.5"), colour_reading=read))
    bare = api.post("/roasts", body(sack, colour=60))

    assert refused["errors"][0]["pointer"] == "#/colour"
    assert "the mean of colour_reading, 60.5" in refused["errors"][0]["detail"]
    assert agreed["colours"][0]["values"] == [60, 61]
    assert (bare["colours"][0]["values"], bare["colours"][0]["scale"]) == ([60], None)
    assert len(api.get("/roasts")["items"]) == 2


def test_a_later_colour_is_listed_and_judges_nothing(
    api: Api, api_as: Callable[..., Api], sack: str, book_is_sound: Callable[[], None]
) -> None:
    missed = api.post("/roasts", body(sack, colour=70, colour_target=60))
    where = f"/roasts/{missed['code']}/colours"

    later = api_as("roaster").post(where, {"values": [60], "taken_at": "2026-03-05T08:00:00Z"})

    assert (later["number"], later["taken_by"], later["mean"]) == (2, "roaster", 60)
    shown = api.get(f"/roasts/{missed['code']}")
    assert shown["disposition"] == "set_aside"
    assert shown["checks"] == missed["checks"]
    assert shown["colours"] == api.get(where)["items"] == [*missed["colours"], later]
    book_is_sound()


def test_a_colour_that_makes_no_sense_is_refused(api: Api, sack: str) -> None:
    api.post("/instruments", METER | {"code": "MM-1", "kinds": ["moisture"]})
    made = roast(api, {sack: 12}, kg("10.2"), machine="DRUM-15")
    where = f"/roasts/{made['code']}/colours"

    wrong_meter = api.refuse(where, {"values": [60], "instrument": "MM-1"}, 422, "invalid")
    with_roast = {"values": [60], "instrument": "mm-1"}
    refused = api.refuse("/roasts", body(sack, colour_reading=with_roast), 422, "invalid")
    for values in ([], [60] * 11, ["60"], [kg("60.0001")]):
        api.refuse(where, {"values": values}, 422, "invalid")
    api.refuse(where, {"values": [60], "form": "powder"}, 422, "invalid")
    api.refuse(f"/roasts/{sack}/colours", {"values": [60]}, 409, "wrong-kind")
    api.post(f"/units/{made['code']}/void", {"reason": "booked twice"})
    api.refuse(where, {"values": [60]}, 409, "voided")

    assert wrong_meter["errors"][0]["pointer"] == "#/instrument"
    assert refused["errors"][0]["pointer"] == "#/colour_reading/instrument"
    assert len(api.get(where)["items"]) == 1


def test_a_meter_that_nobody_should_trust_is_pointed_out(api: Api, sack: str) -> None:
    api.post("/instruments", METER)
    failed = {"calibrated_on": "2026-03-01", "against": "grey tile", "result": "failed"}
    api.post("/instruments/CM-1/calibrations", failed)
    read = {"values": [60], "instrument": "CM-1"}

    made = api.post("/roasts", body(sack, colour_reading=read, colour_target=60))

    assert made["colours"][0]["calibration"] == "failed"
    assert "the colour is by CM-1, whose calibration was failed" in made["warnings"]


def test_ten_repeats_are_taken(api: Api, sack: str) -> None:
    made = roast(api, {sack: 12}, kg("10.2"), machine="DRUM-15")

    read = api.post(f"/roasts/{made['code']}/colours", {"values": [*range(60, 70)]})

    assert (read["mean"], read["spread"]) == (kg("64.5"), 9)


def test_who_only_buys_reads_no_colour(api: Api, api_as: Callable[..., Api], sack: str) -> None:
    made = roast(api, {sack: 12}, kg("10.2"), machine="DRUM-15")

    where = f"/roasts/{made['code']}/colours"
    refused = api_as("buyer").refuse(where, {"values": [60]}, 403, "forbidden")

    assert refused["permission"] == "readings:take"


def test_colours_and_tastings_are_never_changed(api: Api, sack: str, engine: Engine) -> None:
    made = roast(api, {sack: 12}, kg("10.2"), machine="DRUM-15")
    api.post(f"/roasts/{made['code']}/cuppings", {"verdict": "release"})

    refuse_changes(engine, rows_of(engine, ["roast_colour", "cupping"]))


SLIP = {"reason": "the wrong tray was measured"}


def test_a_colour_that_was_read_later_and_by_mistake_stays_marked(api: Api, sack: str) -> None:
    code = api.post("/roasts", body(sack, colour=60, colour_target=60))["code"]
    api.post(f"/roasts/{code}/colours", {"values": [40]})

    said = api.post(f"/roasts/{code}/colours/2/void", SLIP)

    assert (said["id"], said["of"], said["open_holds"]) == (2, code, [])
    colours = api.get(f"/roasts/{code}/colours")["items"]
    assert [(each["number"], each["voided"], each["void_reason"]) for each in colours] == [
        (1, False, None), (2, True, SLIP["reason"]),
    ]  # fmt: skip
    assert api.get(f"/roasts/{code}")["colours"] == colours
    assert api.get("/entries?limit=500")["items"][-1]["reverses"] == said["entry"] - 1
    assert api.post(f"/roasts/{code}/colours", {"values": [59]})["number"] == 3
    api.refuse(f"/roasts/{code}/colours/2/void", SLIP, 409, "already-done")
    api.refuse(f"/roasts/{code}/colours/9/void", SLIP, 404, "not-found")


def test_the_colour_a_gate_went_by_is_corrected_with_its_roast_alone(api: Api, sack: str) -> None:
    code = api.post("/roasts", body(sack, colour=60, colour_target=60))["code"]

    refused = api.refuse(f"/roasts/{code}/colours/1/void", SLIP, 409, "not-voidable")

    assert code in refused["detail"]
    again = {"corrects": code, "correction_reason": "colour mistyped"}
    assert api.post("/roasts", body(sack, colour=40, colour_target=60) | again)["disposition"] == (
        "set_aside"
    )
    api.refuse(f"/roasts/{code}/colours/1/void", SLIP, 409, "voided")
