"""Receiving deliveries by the sack."""

from collections.abc import Callable
from typing import Any

import pytest
from fastapi import FastAPI

from app.main import create_app
from app.settings import Settings
from app.shared.db import writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api, kg, problem
from tests.makers import PASSING, furnish, receive, sack_codes

WHEN = "2026-03-02T08:00:00Z"


def delivery(*lots: dict[str, Any], **more: Any) -> dict[str, Any]:
    return (
        {"supplier": "Finca El Roble", "reference": "DN-1042", "received_at": WHEN}
        | more
        | {"lots": list(lots)}
    )


def lot(*sacks: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"name": "Sidama", "origin": "ET", "sacks": list(sacks)} | more


def test_a_delivery_says_what_arrived_against_what_was_advised(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    furnish(api)

    arrived = api.post(
        "/deliveries",
        delivery(
            lot({"code": "S-ONE", "net_kg": kg("60.2"), "location": "b-02", "condition": "slack"},
                {"count": 39, "net_kg": 60, "location": "A-01"},
                code="GL-7", advised_kg=2400, crop_year="2025/26", process="washed",
                ico_mark="010/1402/0001", moisture_pct=kg("11.25")),
            lot({"net_kg": 69}, origin="gt"),
        ),
    )  # fmt: skip

    first, second = arrived["lots"]
    assert first["code"] == "GL-7"
    assert first["received_kg"] == kg("2400.2")
    assert first["difference_kg"] == kg("0.2")
    assert len(first["sacks"]) == 40
    assert first["sacks"][0] == {"code": "S-ONE", "net_kg": kg("60.2"), "location": "B-02"}
    assert second["advised_kg"] is None
    assert second["difference_kg"] is None
    assert api.get(f"/deliveries/{arrived['code']}") == arrived
    assert api.get("/deliveries")["items"][0]["lots"] == ["GL-7", second["code"]]
    shown = api.get("/lots/gl-7")
    assert shown["on_hand_kg"] == shown["available_kg"] == kg("2400.2")
    assert shown["sack_count"] == 40
    assert shown["latest_moisture_pct"] == kg("11.25")
    assert shown["supplier"] == "Finca El Roble"
    assert api.get("/sacks/s-one")["condition"] == "slack"
    book_is_sound()


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"origin": "XX"}, "#/lots/0/origin"),
        ({"sacks": []}, "#/lots/0/sacks"),
        ({"sacks": [{"net_kg": 0}]}, "#/lots/0/sacks/0/net_kg"),
        ({"sacks": [{"net_kg": -60}]}, "#/lots/0/sacks/0/net_kg"),
        ({"sacks": [{"net_kg": kg("60.0001")}]}, "#/lots/0/sacks/0/net_kg"),
        ({"sacks": [{"net_kg": 30001}]}, "#/lots/0/sacks/0/net_kg"),
        ({"sacks": [{"net_kg": "60"}]}, "#/lots/0/sacks/0/net_kg"),
        ({"sacks": [{"net_kg": 60, "count": 2, "code": "TWO"}]}, "#/lots/0/sacks/0"),
        ({"sacks": [{"net_kg": 60, "condition": "soggy"}]}, "#/lots/0/sacks/0/condition"),
        ({"sacks": [{"net_kg": 60, "location": "Z-99"}]}, "#/lots/0/sacks/0/location"),
        ({"code": "ß-1"}, "#/lots/0/code"),
        ({"code": "A"}, "#/lots/0/code"),
        ({"code": "L-000001-A"}, "#/lots/0/code"),
        ({"moisture_pct": 101}, "#/lots/0/moisture_pct"),
    ],
)
def test_a_wrong_field_is_named_and_nothing_is_stored(
    api: Api, change: dict[str, Any], pointer: str
) -> None:
    furnish(api)
    before = api.get("/entries?limit=500")

    answer = api.send("POST", "/deliveries", delivery(lot({"net_kg": 60}) | change))

    refusal = problem(answer, 422, "invalid" if "Z-99" not in str(change) else "unknown-reference")
    assert pointer in [error["pointer"] for error in refusal["errors"]]
    assert api.get("/entries?limit=500") == before
    assert api.get("/lots")["items"] == []


@pytest.mark.parametrize(
    ("when", "said"),
    [
        ("2026-03-02T08:00:00", "with an offset"),
        ("2126-03-02T08:00:00Z", "ahead of the server"),
        ("2026-03-02", "with an offset"),
        ("1772438400", "with an offset"),
        ("2026-02-30T08:00:00Z", "day"),
    ],
)
def test_a_time_without_offset_or_ahead_of_the_clock_is_refused(
    api: Api, when: str, said: str
) -> None:
    furnish(api)

    answer = api.send("POST", "/deliveries", delivery(lot({"net_kg": 60}), received_at=when))

    refusal = problem(answer, 422, "invalid")
    assert refusal["errors"][0]["pointer"] == "#/received_at"
    assert said in refusal["errors"][0]["detail"]


def test_a_delivery_of_more_sacks_than_sixty_containers_hold_is_refused(api: Api) -> None:
    furnish(api)
    groups = [{"count": 5000, "net_kg": 60} for _ in range(4)]

    answer = api.send("POST", "/deliveries", delivery(lot(*groups, {"net_kg": 60})))

    assert "20001 sacks" in problem(answer, 422, "invalid")["detail"]
    assert api.get("/lots")["items"] == []


def test_a_time_with_an_offset_is_answered_in_utc(api: Api) -> None:
    furnish(api)

    arrived = api.post(
        "/deliveries", delivery(lot({"net_kg": 60}), received_at="2026-03-02T09:30:00+01:30")
    )

    assert arrived["received_at"] == "2026-03-02T08:00:00Z"


def test_codes_are_unique_over_every_kind_of_unit(api: Api) -> None:
    furnish(api)
    receive(api, 60, lot="GL-1")

    taken = api.send("POST", "/deliveries", delivery(lot({"code": "gl-1", "net_kg": 60})))
    twins = api.send(
        "POST", "/deliveries",
        delivery(lot({"code": "X-1", "net_kg": 60}, {"code": "x-1", "net_kg": 60})),
    )  # fmt: skip

    assert problem(taken, 409, "code-taken")["codes"] == ["GL-1"]
    assert problem(twins, 409, "code-taken")["codes"] == ["X-1"]
    assert len(api.get("/lots")["items"]) == 1


def test_an_unknown_supplier_is_named(api: Api) -> None:
    furnish(api)

    answer = api.send("POST", "/deliveries", delivery(lot({"net_kg": 60}), supplier="Nobody"))

    refusal = problem(answer, 422, "unknown-reference")
    assert refusal["errors"][0]["pointer"] == "#/supplier"
    assert "Nobody" in refusal["detail"]


def test_lots_wait_on_hold_until_quality_releases_them(settings: Settings) -> None:
    service: FastAPI = create_app(settings.model_copy(update={"hold_on_arrival": True}))
    api = _admin(service)
    furnish(api)
    received = receive(api, 60, lot="GL-1")
    sack = sack_codes(received)[0]
    draw = {"machine": "DRUM-75", "end_kg": 51, "draws": [{"sack": sack, "kg": 60}]} | PASSING

    refusal = api.refuse("/roasts", draw, 409, "on-hold")
    held = api.get("/lots/GL-1")
    hold = api.get("/holds?unit=GL-1&open=true")["items"][0]
    api.post(f"/holds/{hold['id']}/release", {"reason": "counted, weighed, 11.2 %"})

    assert received["held"] is True
    assert refusal["units"] == [sack]
    assert held["held"] is True
    assert held["available_kg"] == 0
    assert held["on_hand_kg"] == 60
    assert api.get("/lots/GL-1")["available_kg"] == 60
    assert api.post("/roasts", draw)["disposition"] == "passed"
    api.close()
    service.state.engine.dispose()


def _admin(service: FastAPI) -> Api:
    with writing(service.state.engine) as session:
        return Api(service, add_token(session, "admin", [Role.ADMIN]))


def test_readings_are_judged_against_their_range(api: Api) -> None:
    # Moisture 8.0 to 12.5 %, both in: ICO Resolution 420 (2004). Water activity below 0.70:
    # SCA washed arabica green coffee defect poster (2018).
    furnish(api)
    receive(api, 60, lot="GL-1")
    expected: list[tuple[str, str, bool | None]] = [
        ("moisture", v, ok)
        for v, ok in [("7.9", False), ("8.0", True), ("12.5", True), ("12.6", False)]
    ]
    expected += [("water_activity", "0.69", True), ("water_activity", "0.70", False)]
    expected += [("density", "720", None), ("relative_humidity", "61.5", None)]

    for kind, value, verdict in expected:
        reading = api.post("/readings", {"subject": "GL-1", "kind": kind, "value": kg(value)})
        assert reading["in_range"] is verdict, (kind, value)
        assert reading["value"] == kg(value)

    assert len(api.get("/readings?subject=gl-1&kind=moisture")["items"]) == 4
    assert api.get("/lots/GL-1")["latest_moisture_pct"] == kg("12.6")
    place = api.post("/readings", {"subject": "B-02", "kind": "temperature", "value": kg("-1.5")})
    assert place["range"] is None


def test_the_newest_moisture_counts_whenever_it_was_booked(api: Api) -> None:
    furnish(api)
    received = receive(api, 60, lot="GL-1")
    reading = {"kind": "moisture", "value": 11}
    api.post(
        "/readings",
        reading
        | {
            "subject": sack_codes(received)[0],
            "value": kg("11.9"),
            "taken_at": "2026-05-01T08:00:00Z",
        },
    )

    api.post("/readings", reading | {"subject": "GL-1", "taken_at": "2026-04-01T08:00:00Z"})

    assert api.get("/lots/GL-1")["latest_moisture_pct"] == kg("11.9")


def test_a_reading_of_nothing_known_is_refused(api: Api) -> None:
    furnish(api)
    body = {"kind": "moisture", "value": 11}

    api.refuse("/readings", body | {"subject": "GL-404"}, 404, "unknown-code")
    api.refuse("/readings", body | {"subject": "L-000001-A"}, 404, "misread-code")


def test_sacks_are_listed_by_lot_place_and_what_is_left(api: Api) -> None:
    furnish(api)
    received = receive(api, 60, 60, lot="GL-1")
    one, other = sack_codes(received)
    api.post("/moves", {"sacks": [one], "to": "B-02"})
    api.post("/adjustments", {"unit": other, "kg": -60, "reason": "destroyed"})

    def listed(query: str) -> list[str]:
        return [sack["code"] for sack in api.get(f"/sacks?{query}")["items"]]

    assert listed("lot=gl-1") == [one, other]
    assert listed("location=b-02") == [one]
    assert listed("on_hand=true") == [one]
    assert listed("lot=GL-1&on_hand=false") == [other]
    assert [row["code"] for row in api.get("/lots?origin=et&on_hand=true")["items"]] == ["GL-1"]
    assert api.get("/lots?origin=BR")["items"] == []


def test_a_move_is_booked_once_and_says_where_from(api: Api) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, lot="GL-1"))

    first = api.post("/moves", {"sacks": sacks, "to": "A-01", "moved_at": "2026-03-03T07:00:00Z"})
    api.post("/moves", {"sacks": sacks[:1], "to": "B-02"})

    assert first["sacks"] == [{"sack": code, "from": None} for code in sacks]
    assert api.get(f"/sacks/{sacks[0]}")["location"] == "B-02"
    moves = api.get(f"/moves?unit={sacks[0]}")["items"]
    assert [(move["from"], move["to"]) for move in moves] == [(None, "A-01"), ("A-01", "B-02")]
    api.refuse("/moves", {"sacks": sacks[:1], "to": "B-02"}, 409, "already-done")
    api.refuse("/moves", {"sacks": sacks[:1], "to": "Z-9"}, 422, "unknown-reference")
    api.refuse("/moves", {"sacks": [sacks[0], sacks[0]], "to": "A-01"}, 422, "invalid")
    api.refuse("/moves", {"sacks": ["GL-1"], "to": "A-01"}, 409, "wrong-kind")


def test_prices_are_for_buyers(api_as: Callable[..., Api]) -> None:
    admin = api_as("admin")
    furnish(admin)
    receive(admin, 60, lot="GL-1")

    for role in ("buyer", "roaster"):
        assert api_as(role).get("/lots/GL-1")["cost_per_kg"] is None


def test_null_is_as_good_as_left_out(api: Api) -> None:
    furnish(api)
    sacks = [{"net_kg": 60, "condition": None, "location": None, "count": None}]
    lots = [{"name": "Huila", "origin": "CO", "sacks": sacks, "note": None}]
    body = {"supplier": "Finca El Roble", "received_at": "2026-03-02T08:00:00Z", "lots": lots}

    lot = api.post("/deliveries", body)["lots"][0]

    assert api.get(f"/sacks/{lot['sacks'][0]['code']}")["condition"] == "sound"
