"""Instruments, their calibrations, and what those say of a reading."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest

from app.green.instruments.rules import CalibrationResult, CalibrationStatus, Checked, due_on
from app.green.instruments.rules import in_force as in_force_on
from app.green.instruments.rules import status as status_on
from tests.api import Api, kg, problem
from tests.green.measuring import ago, calibrate, day, measure, meter
from tests.makers import furnish, receive

A_DAY = date(2026, 3, 2)
PASSED, ADJUSTED, FAILED = CalibrationResult


@pytest.fixture
def lot(api: Api) -> str:
    furnish(api)
    receive(api, 60, lot="GL-1")
    return "GL-1"


def test_an_instrument_is_a_card_that_can_be_changed(api: Api) -> None:
    meter(api, "mm-2", calibration_every_days=90)

    shown = api.send("GET", "/instruments/MM-2")
    changed = api.send(
        "PATCH", "/instruments/mm-2", {"kinds": ["water_activity", "moisture"], "note": "spare"},
        If_Match=shown.headers["etag"],
    )  # fmt: skip
    stale = api.send("PATCH", "/instruments/MM-2", {"note": "x"}, If_Match=shown.headers["etag"])

    assert shown.json()["kinds"] == ["moisture"]
    assert changed.json()["kinds"] == ["moisture", "water_activity"]
    assert changed.json()["version"] == 2
    problem(stale, 412, "precondition-failed")
    assert [card["code"] for card in api.get("/instruments")["items"]] == ["MM-2"]
    twin = {"code": "MM-2", "name": "Other", "kinds": ["moisture"]}
    api.refuse("/instruments", twin, 409, "code-taken")


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"kinds": []}, "#/kinds"),
        ({"kinds": ["weight"]}, "#/kinds"),
        ({"kinds": "moisture"}, "#/kinds"),
        ({"name": ""}, "#/name"),
        ({"calibration_every_days": 0}, "#/calibration_every_days"),
        ({"code": "M M"}, "#/code"),
    ],
)
def test_a_wrong_field_of_an_instrument_is_named(
    api: Api, change: dict[str, Any], pointer: str
) -> None:
    card = {"code": "MM-2", "name": "Moisture meter", "kinds": ["moisture"]}

    refusal = api.refuse("/instruments", card | change, 422, "invalid")

    assert pointer in [error["pointer"] for error in refusal["errors"]]
    assert api.get("/instruments")["items"] == []


def test_a_reading_takes_the_method_of_its_instrument(api: Api, lot: str) -> None:
    meter(api)
    calibrate(api, 10)

    taken = measure(api, lot, "moisture", "11.2", instrument="mm-2")
    other = measure(api, lot, "moisture", "11.2", instrument="MM-2", method="meter, curve B")

    assert (taken["instrument"], taken["instrument_card"]) == ("mm-2", "MM-2")
    assert (taken["method"], taken["calibration"], taken["flags"]) == ("meter", "calibrated", [])
    assert other["method"] == "meter, curve B"
    assert api.get("/readings")["items"] == [taken, other]


def test_an_instrument_reads_what_it_is_made_for(api: Api, lot: str) -> None:
    meter(api)
    body = {"subject": lot, "kind": "density", "value": 700, "instrument": "MM-2"}

    refusal = api.refuse("/readings", body, 422, "invalid")

    assert refusal["errors"][0]["pointer"] == "#/instrument"
    assert "moisture" in refusal["detail"]


@pytest.mark.parametrize(
    ("every_days", "calibrations", "reads"),
    [
        (30, [(30, "passed")], ("calibrated", "green")),
        (30, [(31, "passed")], ("overdue", "unknown")),
        (30, [(31, "passed"), (3, "adjusted")], ("calibrated", "green")),
        (None, [(400, "passed")], ("calibrated", "green")),
        (30, [(5, "failed")], ("failed", "unknown")),
        (30, [(2, "passed"), (5, "failed")], ("calibrated", "green")),
        (30, [(5, "passed"), (5, "failed")], ("failed", "unknown")),
        (30, [], ("overdue", "unknown")),
        (None, [], ("unknown", "green")),
    ],
)
def test_a_reading_of_an_instrument_nobody_can_trust_reads_unknown(
    api: Api,
    lot: str,
    every_days: int | None,
    calibrations: list[tuple[int, str]],
    reads: tuple[str, str],
) -> None:
    status, band = reads
    meter(api, calibration_every_days=every_days)
    for days_ago, result in calibrations:
        calibrate(api, days_ago, result)

    taken = measure(api, lot, "moisture", "11.2", instrument="MM-2")

    assert (taken["calibration"], taken["band"]) == (status, band)
    assert taken["in_range"] is True
    flags = [] if status == "calibrated" else [f"instrument_{status}"]
    assert [flag["flag"] for flag in taken["flags"]] == flags
    assert api.get(f"/lots/{lot}/moisture")["status"] == band


def test_no_standard_is_met_by_an_instrument_that_nobody_can_trust(api: Api, lot: str) -> None:
    meter(api, calibration_every_days=30)
    measure(api, lot, "moisture", "11.2", taken_at=ago(days=2))

    measure(api, lot, "moisture", "11.3", instrument="MM-2")

    assert api.get(f"/lots/{lot}/grade")["moisture"] is None


def test_what_was_known_when_a_reading_was_booked_stays_with_it(api: Api, lot: str) -> None:
    meter(api, calibration_every_days=30)
    calibrate(api, 20)
    taken = measure(api, lot, "moisture", "11.2", instrument="MM-2", taken_at=ago(days=19))

    failed = calibrate(api, 1, "failed", offset=kg("-0.8"))

    assert failed["status"] == "failed"
    assert failed["in_doubt"] == 1
    assert failed["offset"] == kg("-0.8")
    assert api.get("/readings")["items"] == [taken]
    assert calibrate(api, 0, "adjusted", valid_until=day(-7))["due_on"] == day(-7)


def test_readings_before_the_last_good_calibration_are_not_in_doubt(api: Api, lot: str) -> None:
    meter(api)
    calibrate(api, 50)
    measure(api, lot, "moisture", "11", instrument="MM-2", taken_at=ago(days=40))
    calibrate(api, 30)
    slip = measure(api, lot, "moisture", "11", instrument="MM-2", taken_at=ago(days=20))
    measure(api, lot, "moisture", "11", instrument="MM-2", taken_at=ago(days=10))
    api.post(f"/readings/{slip['id']}/void", {"reason": "other lot"})

    assert calibrate(api, 0, "failed")["in_doubt"] == 1


def test_a_calibration_taken_back_leaves_the_one_before(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    meter(api, calibration_every_days=30)
    good = calibrate(api, 9, by="Ilse", certificate="C-17", note="in the lab")
    slip = calibrate(api, 2, "failed")

    voided = api.post(
        f"/instruments/MM-2/calibrations/{slip['id']}/void", {"reason": "it was MM-3"}
    )

    assert (slip["status"], voided["status"]) == ("failed", "calibrated")
    listed = api.get("/instruments/MM-2/calibrations")["items"]
    assert [each["voided"] for each in listed] == [False, True]
    kept = {name: good[name] for name in good if name not in {"status", "in_doubt"}}
    assert listed[0] == kept
    assert (kept["by"], kept["certificate"], kept["against"]) == ("Ilse", "C-17", "ISO 6673")
    again = f"/instruments/MM-2/calibrations/{slip['id']}/void"
    api.refuse(again, {"reason": "twice"}, 409, "already-done")
    api.refuse("/instruments/MM-2/calibrations/99/void", {"reason": "none"}, 404, "not-found")
    api.refuse("/instruments/MM-9/calibrations/1/void", {"reason": "none"}, 404, "not-found")
    book_is_sound()


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"calibrated_on": day(-3)}, "#/calibrated_on"),
        ({"valid_until": day(11)}, "#"),
        ({"result": "fine"}, "#/result"),
        ({"against": ""}, "#/against"),
        ({"calibrated_on": None}, "#/calibrated_on"),
    ],
)
def test_a_wrong_field_of_a_calibration_is_named(
    api: Api, change: dict[str, Any], pointer: str
) -> None:
    meter(api)
    body = {"calibrated_on": day(10), "against": "ISO 6673", "result": "passed"}

    refusal = api.refuse("/instruments/MM-2/calibrations", body | change, 422, "invalid")

    assert pointer in [error["pointer"] for error in refusal["errors"]]
    assert api.get("/instruments/MM-2/calibrations")["items"] == []


def test_instruments_to_be_calibrated_are_listed(api: Api) -> None:
    meter(api, "MM-1", calibration_every_days=30)
    meter(api, "MM-2", calibration_every_days=30)
    meter(api, "MM-3")
    calibrate(api, 31, code="MM-1")
    calibrate(api, 5, code="MM-2")

    everyone = api.get("/calibrations-due")["items"]
    due = api.get("/calibrations-due?status=overdue")["items"]

    assert [(each["instrument"], each["status"]) for each in everyone] == [
        ("MM-1", "overdue"), ("MM-2", "calibrated"), ("MM-3", "unknown"),
    ]  # fmt: skip
    assert due == [everyone[0]]
    assert (due[0]["calibrated_on"], due[0]["due_on"]) == (day(31), day(1))


def test_only_quality_keeps_instruments(api_as: Callable[..., Api]) -> None:
    card = {"code": "MM-2", "name": "Moisture meter", "kinds": ["moisture"]}

    refused = api_as("warehouse").send("POST", "/instruments", card)
    entered = api_as("quality").post("/instruments", card)

    problem(refused, 403, "forbidden")
    assert entered["code"] == "MM-2"


def test_its_own_word_comes_before_the_rhythm_of_the_instrument() -> None:
    own = Checked(1, A_DAY, A_DAY + timedelta(days=3), PASSED)

    assert due_on(own, 30) == A_DAY + timedelta(days=3)
    assert due_on(own._replace(valid_until=None), 30) == A_DAY + timedelta(days=30)
    assert due_on(own._replace(valid_until=None), None) is None
    assert status_on(own, 30, A_DAY + timedelta(days=3)) is CalibrationStatus.CALIBRATED
    assert status_on(own, 30, A_DAY + timedelta(days=4)) is CalibrationStatus.OVERDUE


def test_a_calibration_counts_from_its_day_on() -> None:
    later = Checked(1, A_DAY, None, ADJUSTED)
    same_day = Checked(2, A_DAY, None, FAILED)

    assert in_force_on([later], A_DAY - timedelta(days=1)) is None
    assert in_force_on([later], A_DAY) is later
    assert in_force_on([same_day, later], A_DAY) is same_day
