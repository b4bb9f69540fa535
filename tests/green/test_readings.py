"""What is kept of a reading, what it can be at all, and how it is taken back."""

from collections.abc import Callable
from typing import Any

import pytest

from tests.api import Api, kg, problem
from tests.green.measuring import ago, measure
from tests.makers import furnish, receive, roast, sack_codes


@pytest.fixture
def lot(api: Api) -> str:
    furnish(api)
    receive(api, 60, 60, lot="GL-1")
    return "GL-1"


def test_a_reading_keeps_how_it_was_taken(
    api: Api, lot: str, book_is_sound: Callable[[], None]
) -> None:
    taken = measure(
        api, lot, "moisture", "11.3", method=" ISO 6673 ", temperature_c=kg("21.5"),
        sample_g=kg("10.003"), instrument="oven, small", note="second drawer",
    )  # fmt: skip

    assert taken["method"] == "ISO 6673"
    assert (taken["basis"], taken["given_value"], taken["values"]) == ("wet", None, None)
    assert (taken["temperature_c"], taken["sample_g"]) == (kg("21.5"), kg("10.003"))
    assert (taken["instrument"], taken["instrument_card"]) == ("oven, small", None)
    assert (taken["calibration"], taken["note"]) == (None, "second drawer")
    assert (taken["flags"], taken["alarms"], taken["voided"]) == ([], [], False)
    assert api.get("/readings")["items"] == [taken]
    book_is_sound()


def test_what_the_contract_reads_is_read_as_before(api: Api, lot: str) -> None:
    taken = measure(api, lot, "moisture", "11.4")

    assert (taken["value"], taken["in_range"]) == (kg("11.4"), True)
    assert taken["range"] == [kg("8"), kg("12.5")]
    assert (taken["method"], taken["instrument"]) == (None, None)


def test_the_value_is_the_mean_of_single_readings(api: Api, lot: str) -> None:
    body = {"subject": lot, "kind": "moisture", "values": [kg("11.2"), kg("11.5"), kg("11.3")]}

    taken = api.post("/readings", body)

    assert taken["value"] == kg("11.333")
    assert taken["values"] == [kg("11.2"), kg("11.5"), kg("11.3")]
    assert taken["flags"] == []


def test_a_value_beside_single_readings_is_their_mean_or_refused(api: Api, lot: str) -> None:
    body = {"subject": lot, "kind": "moisture", "values": [11, kg("11.5")]}

    agreed = api.post("/readings", body | {"value": kg("11.25")})
    refusal = api.refuse("/readings", body | {"value": kg("11.3")}, 422, "invalid")

    assert agreed["value"] == kg("11.25")
    assert refusal["errors"][0]["pointer"] == "#/value"
    assert "11.25" in refusal["detail"]


@pytest.mark.parametrize(
    ("lowest", "flags"),
    # Spread of 0.3 points: our rule; Hawaii's tolerance for meters (Gautz, Smith, Bittenbender,
    # Measuring coffee bean moisture content, Univ. of Hawaii CTAHR EN-3, 2008).
    [("11.2", []), ("11.199", ["repeat"])],
)
def test_single_readings_far_apart_are_to_be_repeated(
    api: Api, lot: str, lowest: str, flags: list[str]
) -> None:
    body = {"subject": lot, "kind": "moisture", "values": [kg("11.5"), kg(lowest), kg("11.4")]}

    taken = api.post("/readings", body)

    assert [flag["flag"] for flag in taken["flags"]] == flags


def test_a_moisture_on_dry_basis_is_kept_on_wet_basis(api: Api, lot: str) -> None:
    # Arithmetic: w = 100 d / (100 + d).
    taken = measure(api, lot, "moisture", "13.636", basis="dry")

    assert taken["value"] == kg("12.000")
    assert (taken["basis"], taken["given_value"]) == ("dry", kg("13.636"))
    assert taken["in_range"] is True
    assert api.get(f"/lots/{lot}")["latest_moisture_pct"] == 12


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        ("moisture", "-0.001"),
        ("moisture", "100.001"),
        ("water_activity", "-0.001"),
        ("water_activity", "1.001"),
        ("relative_humidity", "100.001"),
        ("relative_humidity", "-1"),
        ("density", "0"),
        ("temperature", "-273.151"),
    ],
)
def test_what_cannot_be_is_refused_and_not_stored(
    api: Api, lot: str, kind: str, value: str
) -> None:
    body = {"subject": lot, "kind": kind, "value": kg(value)}
    before = api.get("/entries?limit=500")

    refusal = api.refuse("/readings", body, 422, "invalid")
    single = body | {"value": None, "values": [1, kg(value)]}
    one_of_several = api.refuse("/readings", single, 422, "invalid")

    assert refusal["errors"][0]["pointer"] == "#/value"
    assert value in refusal["detail"]
    assert one_of_several["errors"][0]["pointer"] in {"#/values/0", "#/values/1"}
    assert api.get("/entries?limit=500") == before


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        ("moisture", "0"),
        ("moisture", "100"),
        ("water_activity", "0"),
        ("water_activity", "1"),
        ("relative_humidity", "0"),
        ("relative_humidity", "100"),
        ("density", "0.001"),
        ("temperature", "-273.15"),
        ("colour", "-5"),
    ],
)
def test_the_last_value_that_can_be_is_taken(api: Api, lot: str, kind: str, value: str) -> None:
    assert measure(api, lot, kind, value)["value"] == kg(value)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"value": None}, "#"),
        ({"value": None, "values": [11]}, "#/values"),
        ({"value": None, "values": [11] * 11}, "#/values"),
        ({"basis": "damp"}, "#/basis"),
        ({"kind": "density", "basis": "wet"}, "#/basis"),
        ({"method": " "}, "#/method"),
        ({"sample_g": 0}, "#/sample_g"),
        ({"sample_g": 100_001}, "#/sample_g"),
        ({"temperature_c": "warm"}, "#/temperature_c"),
        ({"value": kg("11.0001")}, "#/value"),
    ],
)
def test_a_wrong_field_of_a_reading_is_named(
    api: Api, lot: str, change: dict[str, Any], pointer: str
) -> None:
    body = {"subject": lot, "kind": "moisture", "value": 11} | change

    refusal = api.refuse("/readings", body, 422, "invalid")

    assert pointer in [error["pointer"] for error in refusal["errors"]]


@pytest.mark.parametrize(
    ("kind", "value", "band"),
    [
        # Limits 8.0 and 12.5: ICO Resolution 420 (2004); 10 to 12 %: SCA, Washed arabica green
        # coffee defect poster (2018); the colours are our rule.
        ("moisture", "7.9", "red"),
        ("moisture", "8.0", "amber"),
        ("moisture", "9.9", "amber"),
        ("moisture", "10.0", "green"),
        ("moisture", "12.0", "green"),
        ("moisture", "12.1", "amber"),
        ("moisture", "12.5", "amber"),
        ("moisture", "12.6", "red"),
        # Below 0.70: SCA, Washed arabica green coffee defect poster (2018); 0.60 is our rule.
        ("water_activity", "0.599", "green"),
        ("water_activity", "0.60", "amber"),
        ("water_activity", "0.69", "amber"),
        ("water_activity", "0.70", "red"),
        ("density", "720", None),
        ("relative_humidity", "60", None),
    ],
)
def test_green_reads_in_bands(api: Api, lot: str, kind: str, value: str, band: str | None) -> None:
    assert measure(api, lot, kind, value)["band"] == band


@pytest.mark.parametrize(
    ("kind", "value", "band"),
    [
        # 50 to 65 %: Cargo Handbook, Coffee beans; 18 to 25 °C: trade pages on storage; above
        # 75 % red: our rule.
        ("relative_humidity", "49.9", "amber"),
        ("relative_humidity", "50", "green"),
        ("relative_humidity", "65", "green"),
        ("relative_humidity", "65.1", "amber"),
        ("relative_humidity", "75", "amber"),
        ("relative_humidity", "75.1", "red"),
        ("temperature", "17.9", "amber"),
        ("temperature", "18", "green"),
        ("temperature", "25", "green"),
        ("temperature", "25.1", "amber"),
        ("moisture", "11", None),
    ],
)
@pytest.mark.usefixtures("lot")
def test_places_read_in_bands(api: Api, kind: str, value: str, band: str | None) -> None:
    assert measure(api, "B-02", kind, value)["band"] == band


def test_roasted_coffee_has_no_band_and_no_alarm(api: Api, lot: str) -> None:
    sack = api.get(f"/sacks?lot={lot}")["items"][0]["code"]
    batch = roast(api, {sack: 60}, 51)["code"]

    taken = measure(api, batch, "moisture", "2.1")

    assert (taken["band"], taken["alarms"], taken["in_range"]) == (None, [], None)


def test_a_reading_taken_back_counts_for_nothing_and_stays_to_be_read(
    api: Api, lot: str, book_is_sound: Callable[[], None]
) -> None:
    first = measure(api, lot, "moisture", "11", taken_at=ago(days=2))
    slip = measure(api, lot, "moisture", "11.9", taken_at=ago(days=1))

    voided = api.post(f"/readings/{slip['id']}/void", {"reason": "read off upside down"})

    assert voided["subject"] == lot
    assert voided["open_holds"] == []
    assert api.get(f"/lots/{lot}")["latest_moisture_pct"] == 11
    assert api.get(f"/lots/{lot}/grade")["moisture"]["value"] == 11
    state = api.get(f"/lots/{lot}/moisture")
    assert state["moisture"]["reading"] == first["id"]
    assert [point["reading"] for point in state["trends"][0]["points"]] == [first["id"]]
    listed = api.get(f"/readings?subject={lot}")["items"]
    assert [(row["voided"], row["void_reason"]) for row in listed] == [
        (False, None), (True, "read off upside down"),
    ]  # fmt: skip
    again = api.refuse(f"/readings/{slip['id']}/void", {"reason": "twice"}, 409, "already-done")
    assert "upside down" in again["detail"]
    api.refuse("/readings/9999/void", {"reason": "none"}, 404, "not-found")
    book_is_sound()


@pytest.mark.usefixtures("lot")
def test_a_reading_of_a_place_is_taken_back_too(api: Api) -> None:
    damp = measure(api, "B-02", "relative_humidity", "90")

    voided = api.post(f"/readings/{damp['id']}/void", {"reason": "breathed on it"})

    assert voided["subject"] == "B-02"
    assert api.get("/climate-watch")["items"] == []


def test_a_buyer_takes_no_reading_back(api_as: Callable[..., Api]) -> None:
    admin = api_as("admin")
    furnish(admin)
    sack = sack_codes(receive(admin, 60))[0]
    number = measure(admin, sack, "moisture", "11")["id"]

    refused = api_as("buyer").send("POST", f"/readings/{number}/void", {"reason": "no"})
    accepted = api_as("warehouse").post(f"/readings/{number}/void", {"reason": "wrong sack"})

    problem(refused, 403, "forbidden")
    assert accepted["subject"] == sack
