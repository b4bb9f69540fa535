"""Readings out of bounds raise alarms, and alarms hold what was read."""

from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.main import create_app
from app.settings import Settings
from app.shared.db import writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api, kg, problem
from tests.green.measuring import ago, measure, meter
from tests.makers import PASSING, furnish, receive, sack_codes
from tests.serving import Wire, at_once, served


@pytest.fixture
def sacks(api: Api) -> list[str]:
    furnish(api)
    return sack_codes(receive(api, 60, 60, lot="GL-1"))


@pytest.fixture
def api_with(settings: Settings) -> Iterator[Callable[..., Api]]:
    """Sign an administrator in at a roastery that has set something else."""
    opened: list[tuple[Api, FastAPI]] = []

    def sign_in(**changed: Any) -> Api:
        service = create_app(settings.model_copy(update=changed))
        with writing(service.state.engine) as session:
            token = add_token(session, "admin", [Role.ADMIN])
        opened.append((Api(service, token), service))
        return opened[-1][0]

    yield sign_in
    for api, service in opened:
        api.close()
        service.state.engine.dispose()


def open_holds(api: Api, unit: str) -> list[dict[str, Any]]:
    holds: list[dict[str, Any]] = api.get(f"/holds?unit={unit}&open=true")["items"]
    return holds


@pytest.mark.parametrize(
    ("kind", "value", "alarm", "held"),
    [
        # Above 12.5 %: ICO Resolution 420 (2004); 0.70: SCA, Washed arabica green coffee defect
        # poster (2018). Which alarms hold is our rule: mould grows in damp coffee.
        ("moisture", "12.501", "moisture_high", True),
        ("moisture", "12.5", None, False),
        ("moisture", "8", None, False),
        ("moisture", "7.999", "moisture_low", False),
        ("water_activity", "0.7", "water_activity_high", True),
        ("water_activity", "0.699", None, False),
    ],
)
@pytest.mark.usefixtures("sacks")
def test_an_alarm_is_raised_just_beyond_the_limit(
    api: Api, kind: str, value: str, alarm: str | None, held: bool
) -> None:
    taken = measure(api, "GL-1", kind, value)

    assert [each["kind"] for each in taken["alarms"]] == ([alarm] if alarm else [])
    assert api.get("/lots/GL-1")["held"] is held
    assert api.get("/readings")["items"] == [taken]


def test_a_hold_names_value_limit_and_reading_and_stops_the_coffee(
    api: Api, sacks: list[str], book_is_sound: Callable[[], None]
) -> None:
    entries = len(api.get("/entries")["items"])

    taken = measure(api, sacks[0], "moisture", "12.7")

    [hold] = open_holds(api, sacks[0])
    assert taken["alarms"][0]["hold"] == hold["id"]
    assert hold["reason"] == f"alarm: moisture 12.7 %, above 12.5 % (reading {taken['id']})"
    assert len(api.get("/entries")["items"]) == entries + 1
    draw = {"machine": "DRUM-75", "end_kg": 51, "draws": [{"sack": sacks[0], "kg": 60}]} | PASSING
    api.refuse("/roasts", draw, 409, "on-hold")
    other = draw | {"draws": [{"sack": sacks[1], "kg": 60}]}
    assert api.post("/roasts", other)["disposition"] == "passed"
    book_is_sound()


def test_there_is_no_second_hold_while_one_of_the_same_kind_is_open(
    api: Api, sacks: list[str]
) -> None:
    first = measure(api, "GL-1", "moisture", "12.7")["alarms"][0]["hold"]

    again = measure(api, "GL-1", "moisture", "12.9")["alarms"][0]["hold"]
    other_kind = measure(api, "GL-1", "water_activity", "0.75")["alarms"][0]["hold"]
    other_unit = measure(api, sacks[0], "moisture", "13")["alarms"][0]["hold"]
    api.post(f"/holds/{first}/release", {"reason": "dried"})
    once_more = measure(api, "GL-1", "moisture", "12.8")["alarms"][0]["hold"]

    assert again == first
    assert len({first, other_kind, other_unit, once_more}) == 4


def test_a_hold_stays_when_its_reading_is_taken_back(api: Api, sacks: list[str]) -> None:
    taken = measure(api, sacks[0], "moisture", "21.7")
    hold = taken["alarms"][0]["hold"]

    voided = api.post(f"/readings/{taken['id']}/void", {"reason": "12.7 was meant"})

    assert voided["open_holds"] == [hold]
    assert api.get(f"/sacks/{sacks[0]}")["held"] is True


def test_a_moisture_on_the_delivery_note_raises_the_same_alarm(api: Api) -> None:
    furnish(api)

    wet = receive(api, 60, lot="GL-WET", moisture_pct=kg("12.6"))
    dry = receive(api, 60, lot="GL-DRY", moisture_pct=kg("12.5"))

    assert (wet["held"], dry["held"]) == (True, False)
    [hold] = open_holds(api, "GL-WET")
    assert hold["reason"] == "alarm: moisture 12.6 %, above 12.5 % (reading 1)"
    assert api.get("/readings?subject=GL-WET")["items"][0]["alarms"][0]["hold"] == hold["id"]
    assert api.get("/lots/GL-WET")["held"] is True


def test_the_hold_of_an_alarm_outlives_the_hold_of_the_arrival(
    api_with: Callable[..., Api],
) -> None:
    api = api_with(hold_on_arrival=True)
    furnish(api)
    receive(api, 60, lot="GL-1", moisture_pct=13)
    arrival, alarm = open_holds(api, "GL-1")

    api.post(f"/holds/{arrival['id']}/release", {"reason": "counted"})

    assert api.get("/lots/GL-1")["held"] is True
    assert alarm["reason"].startswith("alarm: moisture 13.0 %")


def test_a_roastery_decides_which_alarms_hold(api_with: Callable[..., Api]) -> None:
    api = api_with(hold_on_alarm=frozenset({"moisture_low", "drift"}))
    furnish(api)
    receive(api, 60, lot="GL-1")

    high = measure(api, "GL-1", "moisture", "12.9", taken_at=ago(days=3))
    low = measure(api, "GL-1", "moisture", "7")

    assert [(each["kind"], each["hold"]) for each in high["alarms"]] == [("moisture_high", None)]
    assert [each["kind"] for each in low["alarms"]] == ["moisture_low", "drift"]
    assert None not in [each["hold"] for each in low["alarms"]]
    assert len(open_holds(api, "GL-1")) == 2


def test_a_setting_names_alarms_that_exist(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("JUTEBOOK_HOLD_ON_ALARM", "[]")
    assert Settings(_env_file=None).hold_on_alarm == frozenset()

    monkeypatch.setenv("JUTEBOOK_HOLD_ON_ALARM", '["smell"]')
    with pytest.raises(ValueError, match="hold_on_alarm"):
        Settings(_env_file=None)

    monkeypatch.delenv("JUTEBOOK_HOLD_ON_ALARM")
    monkeypatch.setenv("JUTEBOOK_MOISTURE_WORKING_PCT", "[12, 10]")
    with pytest.raises(ValueError, match="the lower limit comes first"):
        Settings(_env_file=None)


@pytest.mark.parametrize(
    ("later", "alarms"),
    # 0.5 points: our rule.
    [("11.499", []), ("11.5", ["drift"]), ("10.501", []), ("10.5", ["drift"])],
)
@pytest.mark.usefixtures("sacks")
def test_a_drift_is_an_alarm_from_half_a_point_on(api: Api, later: str, alarms: list[str]) -> None:
    measure(api, "GL-1", "moisture", "11", method="meter", taken_at=ago(days=20))

    taken = measure(api, "GL-1", "moisture", later, method="Meter")

    assert [each["kind"] for each in taken["alarms"]] == alarms
    assert [each["hold"] for each in taken["alarms"]] == [None] * len(alarms)


@pytest.mark.usefixtures("sacks")
def test_methods_that_differ_raise_no_drift(api: Api) -> None:
    # ISO 6673:2003 reads about 1.0 point lower than ISO 1446 (ISO 6673:2003, scope).
    measure(api, "GL-1", "moisture", "11.4", method="ISO 1446", taken_at=ago(days=20))

    taken = measure(api, "GL-1", "moisture", "10.4", method="ISO 6673")

    assert taken["alarms"] == []


def test_neither_another_sack_nor_a_reading_typed_in_late_is_a_drift(
    api: Api, sacks: list[str]
) -> None:
    measure(api, sacks[0], "moisture", "10", taken_at=ago(days=20))
    measure(api, sacks[1], "moisture", "11.5", taken_at=ago(days=10))
    measure(api, sacks[0], "moisture", "10.2", taken_at=ago(days=1))

    late = measure(api, sacks[0], "moisture", "11.9", taken_at=ago(days=10))

    assert late["alarms"] == []


@pytest.mark.usefixtures("sacks")
def test_an_instrument_that_had_failed_tells_no_drift_and_still_holds(api: Api) -> None:
    meter(api, calibration_every_days=30)
    measure(api, "GL-1", "moisture", "11", method="meter", taken_at=ago(days=20))

    taken = measure(api, "GL-1", "moisture", "13", instrument="MM-2")

    assert taken["band"] == "unknown"
    assert [each["kind"] for each in taken["alarms"]] == ["moisture_high"]
    assert taken["alarms"][0]["hold"] is not None


def test_a_damp_room_is_an_alarm_and_holds_nothing(api: Api, sacks: list[str]) -> None:
    # Above 65 % for 48 h, above 75 %: our rules.
    api.post("/moves", {"sacks": sacks, "to": "B-02"})

    first = measure(api, "B-02", "relative_humidity", "65.1", taken_at=ago(hours=48))
    short = measure(api, "B-02", "relative_humidity", "70", taken_at=ago(hours=1))
    long = measure(api, "B-02", "relative_humidity", "66")
    red = measure(api, "B-02", "relative_humidity", "75.1")

    assert (first["alarms"], short["alarms"]) == ([], [])
    assert [each["kind"] for each in long["alarms"]] == ["humidity_damp"]
    assert [each["kind"] for each in red["alarms"]] == ["humidity_high", "humidity_damp"]
    assert all(each["hold"] is None for each in long["alarms"] + red["alarms"])
    assert api.get("/holds")["items"] == []


@pytest.mark.usefixtures("sacks")
def test_a_dry_reading_between_ends_a_damp_spell(api: Api) -> None:
    measure(api, "B-02", "relative_humidity", "70", taken_at=ago(hours=60))
    measure(api, "B-02", "relative_humidity", "65", taken_at=ago(hours=30))

    assert measure(api, "B-02", "relative_humidity", "70")["alarms"] == []


def test_two_who_read_at_once_place_one_hold(
    service: FastAPI, engine: Engine, sacks: list[str], book_is_sound: Callable[[], None]
) -> None:
    with writing(engine) as session:
        token = add_token(session, "ida", list(Role))
    body = {"subject": sacks[0], "kind": "moisture", "value": kg("12.9")}

    with served(service) as address, Wire(address, token) as wire:
        answers = at_once([partial(wire.post, "/readings", body)] * 4)
        holds = wire.get(f"/holds?unit={sacks[0]}")["items"]

    assert [answer.status_code for answer in answers] == [201] * 4
    assert {answer.json()["alarms"][0]["hold"] for answer in answers} == {holds[0]["id"]}
    assert len(holds) == 1
    book_is_sound()


@pytest.mark.usefixtures("sacks")
def test_a_reading_twice_sent_is_booked_once(api: Api) -> None:
    body = {"subject": "GL-1", "kind": "moisture", "value": kg("12.9")}

    first = api.post("/readings", body, Idempotency_Key="scan-1")
    second = api.post("/readings", body, Idempotency_Key="scan-1")

    assert first == second
    assert len(api.get("/holds")["items"]) == 1


def test_what_nobody_may_read_is_not_read(api_as: Callable[..., Api]) -> None:
    admin = api_as("admin")
    furnish(admin)
    receive(admin, 60, lot="GL-1")

    refused = api_as("buyer").send(
        "POST", "/readings", {"subject": "GL-1", "kind": "moisture", "value": 13}
    )

    problem(refused, 403, "forbidden")
    assert admin.get("/holds")["items"] == []
