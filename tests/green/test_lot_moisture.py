"""What readings say of a lot today: bands, trends, drift, what is overdue, and advice."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import Engine, event

from tests.api import Api, kg, problem
from tests.green.measuring import ago, calibrate, measure, meter
from tests.makers import furnish, receive, roast, sack_codes


@pytest.fixture
def sacks(api: Api) -> list[str]:
    furnish(api)
    return sack_codes(receive(api, 60, 60, lot="GL-1"))


@pytest.mark.usefixtures("sacks")
def test_a_lot_that_nobody_measured_reads_unknown(api: Api) -> None:
    state = api.get("/lots/GL-1/moisture")

    assert (state["status"], state["overdue"]) == ("unknown", True)
    assert state["why"] == ["no moisture reading"]
    assert (state["moisture"], state["drift"], state["explained"]) == (None, None, None)
    assert (state["trends"], state["rooms"]) == ([], [])
    assert api.get("/lots/GL-1")["moisture"] == {
        "value_pct": None, "band": "unknown", "status": "unknown", "taken_at": None,
        "overdue": True,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("hours", "status"),
    # Every 30 days: our rule.
    [(30 * 24 - 1, "green"), (30 * 24 + 1, "unknown")],
)
@pytest.mark.usefixtures("sacks")
def test_a_reading_that_is_too_old_says_nothing_any_more(api: Api, hours: int, status: str) -> None:
    measure(api, "GL-1", "moisture", "11.4", taken_at=ago(hours=hours))

    state = api.get("/lots/GL-1/moisture")

    assert state["status"] == status
    assert state["overdue"] is (status == "unknown")
    assert state["moisture"]["overdue"] is state["overdue"]
    assert state["moisture"]["band"] == "green"
    assert bool(state["why"]) is state["overdue"]
    shown = api.get("/lots/GL-1")
    assert shown["moisture"]["status"] == status
    assert shown["moisture"]["band"] == "green"
    assert shown["latest_moisture_pct"] == kg("11.4")


@pytest.mark.usefixtures("sacks")
def test_the_worse_of_moisture_and_water_activity_counts(api: Api) -> None:
    measure(api, "GL-1", "moisture", "11")
    measure(api, "GL-1", "water_activity", "0.65")

    amber = api.get("/lots/GL-1/moisture")
    measure(api, "GL-1", "water_activity", "0.72")
    red = api.get("/lots/GL-1/moisture")

    assert amber["status"] == "amber"
    assert amber["water_activity"]["value"] == kg("0.65")
    assert red["status"] == "red"
    assert "water activity 0.72" in red["why"][0]


@pytest.mark.usefixtures("sacks")
def test_an_old_water_activity_is_forgotten_unless_it_was_red(api: Api) -> None:
    measure(api, "GL-1", "moisture", "11")
    measure(api, "GL-1", "water_activity", "0.65", taken_at=ago(days=60))

    forgotten = api.get("/lots/GL-1/moisture")
    measure(api, "GL-1", "water_activity", "0.75", taken_at=ago(days=50))
    kept = api.get("/lots/GL-1/moisture")

    assert (forgotten["status"], forgotten["water_activity"]["overdue"]) == ("green", True)
    assert kept["status"] == "unknown"
    assert "too long ago" in kept["why"][0]


def test_a_red_sack_makes_its_lot_red_until_it_is_read_again_or_gone(
    api: Api, sacks: list[str]
) -> None:
    measure(api, sacks[0], "moisture", "12.9", taken_at=ago(days=2))
    measure(api, "GL-1", "moisture", "11", taken_at=ago(days=1))

    red = api.get("/lots/GL-1/moisture")
    api.post("/adjustments", {"unit": sacks[0], "kg": -60, "reason": "destroyed"})
    gone = api.get("/lots/GL-1/moisture")

    assert red["status"] == "red"
    assert red["why"][0].startswith(f"{sacks[0]}: moisture 12.9 %")
    assert red["moisture"]["value"] == 11
    assert gone["status"] == "green"


@pytest.mark.usefixtures("sacks")
def test_a_trend_never_mixes_methods(api: Api) -> None:
    for days, value, method in [
        (50, "11.4", "ISO 1446"), (40, "10.5", "ISO 6673"), (30, "11", None),
        (20, "10.7", "iso6673"), (10, "11.1", None),
    ]:  # fmt: skip
        named = {"method": method} if method else {}
        measure(api, "GL-1", "moisture", value, taken_at=ago(days=days), **named)

    trends = api.get("/lots/GL-1/moisture")["trends"]

    assert [(trend["method"], len(trend["points"])) for trend in trends] == [
        ("ISO 1446", 1), ("iso6673", 2), ("method not recorded", 2),
    ]  # fmt: skip
    assert [trend["drift"] and trend["drift"]["points"] for trend in trends] == [
        None, kg("0.2"), kg("0.1"),
    ]  # fmt: skip


@pytest.mark.usefixtures("sacks")
def test_readings_by_methods_that_differ_are_not_compared(api: Api) -> None:
    # ISO 6673:2003 reads about 1.0 point lower than ISO 1446 (ISO 6673:2003, scope).
    measure(api, "GL-1", "moisture", "11.4", method="ISO 1446", taken_at=ago(days=20))
    measure(api, "GL-1", "moisture", "10.5", method="ISO 6673", taken_at=ago(days=1))

    state = api.get("/lots/GL-1/moisture")

    assert state["drift"]["comparable"] is False
    assert (state["drift"]["points"], state["drift"]["alarm"]) == (None, False)
    assert state["drift"]["detail"] == "not comparable: methods differ (ISO 1446, ISO 6673)"
    assert state["explained"] is None


def test_drift_since_arrival_and_the_mass_that_it_explains(api: Api) -> None:
    # FAO/ICO, Good hygiene practices, Determination of moisture content: 1 000 kg at 12 % dried to
    # 9 % weigh 967.03 kg.
    furnish(api)
    sacks = sack_codes(receive(api, 500, 500, lot="GL-1"))
    measure(api, "GL-1", "moisture", "12", method="meter", taken_at=ago(days=20, hours=1))
    measure(api, "GL-1", "moisture", "9", method="meter")
    api.post("/adjustments", {"unit": sacks[0], "kg": -500, "reason": "destroyed"})

    state = api.get("/lots/GL-1/moisture")

    assert (state["drift"]["points"], state["drift"]["days"]) == (-3, 20)
    assert state["drift"]["alarm"] is True
    explained = state["explained"]
    assert (explained["received_kg"], explained["received_change_kg"]) == (1000, kg("-32.967"))
    assert (explained["on_hand_kg"], explained["on_hand_change_kg"]) == (500, kg("-16.484"))
    assert explained["never_booked"] is True
    assert api.get("/lots/GL-1")["on_hand_kg"] == 500


def test_sacks_are_put_together_by_their_masses(api: Api) -> None:
    furnish(api)
    one, other = sack_codes(receive(api, 60, 20, lot="GL-1"))
    measure(api, one, "moisture", "10.5", method="meter")
    measure(api, other, "moisture", "12.5", method="meter")

    together = api.get("/lots/GL-1/moisture")["sacks_together"]
    measure(api, other, "moisture", "12.5", method="ISO 6673")
    mixed_methods = api.get("/lots/GL-1/moisture")["sacks_together"]

    assert together == {"sacks": 2, "kg": 80, "method": "meter", "moisture_pct": 11}
    assert mixed_methods is None


@pytest.mark.usefixtures("sacks")
def test_readings_of_an_instrument_nobody_can_trust_count_for_no_drift(api: Api) -> None:
    meter(api, calibration_every_days=30)
    calibrate(api, 20)
    measure(api, "GL-1", "moisture", "11", instrument="MM-2", taken_at=ago(days=10))
    calibrate(api, 5, "failed")
    measure(api, "GL-1", "moisture", "12.4", instrument="MM-2")

    state = api.get("/lots/GL-1/moisture")

    assert state["status"] == "unknown"
    assert "overdue for calibration or had failed" in state["why"][0]
    assert state["drift"] is None
    assert [point["trusted"] for point in state["trends"][0]["points"]] == [True, False]


def climate(api: Api, humidity: str, warmth: str, **more: Any) -> None:
    measure(api, "B-02", "relative_humidity", humidity, **more)
    measure(api, "B-02", "temperature", warmth, **more)


@pytest.mark.parametrize(
    ("moisture", "pull"),
    # 12.16 % at 70 % and 25 °C: Roa equation, Trejos, Roa, Oliveros, Cenicafé 40(1) (1989).
    [("11.61", "moistens"), ("11.62", "stays"), ("12.5", "stays"), ("12.71", "dries")],
)
def test_a_room_pulls_a_lot_and_that_is_advice_alone(
    api: Api, sacks: list[str], moisture: str, pull: str
) -> None:
    api.post("/moves", {"sacks": sacks, "to": "B-02"})
    measure(api, "GL-1", "moisture", moisture)
    climate(api, "70", "25")

    [room] = api.get("/lots/GL-1/moisture")["rooms"]

    assert (room["location"], room["sacks"]) == ("B-02", 2)
    assert (room["equilibrium_pct"], room["pull"]) == (kg("12.16"), pull)
    assert room["advice_only"] is True
    assert "pulls parchment-like coffee towards 12.16 %" in room["detail"]


@pytest.mark.parametrize(
    ("air", "days", "said"),
    [
        (("9.9", "20"), 0, "outside 10 to 90 %"),
        (("60", "4"), 0, "outside 5 to 55 °C"),
        (("60", "20"), 8, "too long ago"),
    ],
)
def test_where_the_model_cannot_speak_there_is_no_advice(
    api: Api, sacks: list[str], air: tuple[str, str], days: int, said: str
) -> None:
    api.post("/moves", {"sacks": sacks, "to": "B-02"})
    climate(api, *air, taken_at=ago(days=days))

    [room] = api.get("/lots/GL-1/moisture")["rooms"]

    assert (room["equilibrium_pct"], room["pull"]) == (None, None)
    assert said in room["detail"]


def test_a_room_without_a_thermometer_has_no_advice(api: Api, sacks: list[str]) -> None:
    api.post("/moves", {"sacks": sacks, "to": "B-02"})
    measure(api, "B-02", "relative_humidity", "60")

    [room] = api.get("/lots/GL-1/moisture")["rooms"]

    assert room["relative_humidity_pct"] == 60
    assert room["temperature_c"] is None
    assert "not both read" in room["detail"]


def test_a_rack_without_meters_is_advised_by_the_room_it_stands_in(
    api: Api, sacks: list[str]
) -> None:
    api.post("/locations", {"code": "ROOM", "kind": "zone"})
    api.post("/locations", {"code": "ROOM-1", "kind": "rack", "parent": "ROOM"})
    api.post("/locations", {"code": "ROOM-1-1", "kind": "bay", "parent": "ROOM-1"})
    api.post("/moves", {"sacks": sacks, "to": "ROOM-1-1"})
    measure(api, "ROOM", "relative_humidity", "70")
    measure(api, "ROOM", "temperature", "25")
    measure(api, "ROOM-1", "temperature", "30")  # no humidity beside it: the room says more

    [room] = api.get("/lots/GL-1/moisture")["rooms"]

    assert (room["location"], room["measured_at"]) == ("ROOM-1-1", "ROOM")
    assert (room["equilibrium_pct"], room["temperature_c"]) == (kg("12.16"), 25)


def test_the_advice_holds_nothing_and_lets_nothing_go(api: Api, sacks: list[str]) -> None:
    api.post("/moves", {"sacks": sacks, "to": "B-02"})
    measure(api, "GL-1", "moisture", "11")
    climate(api, "85", "25")

    api.get("/lots/GL-1/moisture")

    assert api.get("/lots/GL-1")["held"] is False


def test_lots_to_look_at_are_listed(api: Api) -> None:
    furnish(api)
    for code, value in [("GL-OK", "11"), ("GL-RED", "13"), ("GL-AMBER", "9")]:
        receive(api, 60, lot=code)
        measure(api, code, "moisture", value)
    receive(api, 60, lot="GL-NEW")
    receive(api, 60, lot="GL-OLD")
    measure(api, "GL-OLD", "moisture", "11", taken_at=ago(days=31))
    used = sack_codes(receive(api, 60, lot="GL-USED"))[0]
    api.post("/adjustments", {"unit": used, "kg": -60, "reason": "destroyed"})

    def watched(query: str = "") -> list[tuple[str, str]]:
        return [(row["lot"], row["status"]) for row in api.get(f"/moisture-watch{query}")["items"]]

    assert watched() == [
        ("GL-RED", "red"), ("GL-AMBER", "amber"), ("GL-NEW", "unknown"), ("GL-OLD", "unknown"),
    ]  # fmt: skip
    assert watched("?status=red") == [("GL-RED", "red")]
    assert watched("?status=green") == [("GL-OK", "green")]
    assert watched("?overdue=true") == [("GL-NEW", "unknown"), ("GL-OLD", "unknown")]
    assert watched("?status=unknown&overdue=false") == []
    first = api.get("/moisture-watch?limit=1")
    assert (first["items"][0]["lot"], first["items"][0]["held"]) == ("GL-RED", True)
    assert watched(f"?limit=2&cursor={first['next']}") == watched()[1:3]
    problem(api.send("GET", "/moisture-watch?status=safe"), 422, "invalid")


def test_places_to_look_at_are_listed(api: Api) -> None:
    furnish(api)
    api.post("/locations", {"code": "C-03", "kind": "rack"})
    measure(api, "A-01", "relative_humidity", "58")
    measure(api, "A-01", "temperature", "20")
    measure(api, "B-02", "relative_humidity", "66", taken_at=ago(hours=49))
    measure(api, "B-02", "relative_humidity", "67")
    measure(api, "C-03", "temperature", "20", taken_at=ago(days=8))

    items = {row["location"]: row for row in api.get("/climate-watch")["items"]}

    assert list(items) == ["B-02", "C-03"]
    assert items["B-02"]["status"] == "amber"
    assert items["B-02"]["why"][-1] == (
        "relative humidity above 65 % in every reading of 48 hours or more"
    )
    assert items["B-02"]["damp_since"] is not None
    assert (items["C-03"]["status"], items["C-03"]["overdue"]) == ("unknown", True)
    assert [row["location"] for row in api.get("/climate-watch?status=green")["items"]] == ["A-01"]


def test_lists_of_lots_take_the_same_statements_however_many_there_are(
    api: Api, engine: Engine
) -> None:
    furnish(api)

    def statements(path: str) -> int:
        seen: list[str] = []
        note: Callable[..., None] = lambda *said: seen.append(said[2])  # noqa: E731
        event.listen(engine, "before_cursor_execute", note)
        api.get(path)
        event.remove(engine, "before_cursor_execute", note)
        return len(seen)

    receive(api, 60, lot="GL-0", moisture_pct=11)
    one = {path: statements(path) for path in ("/lots", "/moisture-watch", "/readings")}
    for number in range(1, 6):
        receive(api, 60, 60, lot=f"GL-{number}", moisture_pct=13)

    assert {path: statements(path) for path in one} == one


@pytest.mark.usefixtures("sacks")
def test_nothing_ever_reads_safe(api: Api) -> None:
    measure(api, "GL-1", "moisture", "11")

    for path in ("/lots/GL-1/moisture", "/lots/GL-1", "/readings", "/moisture-watch?status=green"):
        assert "safe" not in str(api.get(path)).casefold()


@pytest.mark.parametrize(
    ("asked", "humidity", "moisture", "dry"),
    # Roa equation, Trejos, Roa, Oliveros, Cenicafé 40(1) (1989).
    [
        ("relative_humidity_pct=70", "70", "12.16", "13.84"),
        ("relative_humidity_pct=60", "60", "10.88", "12.21"),
        ("moisture_pct=12", "69.0", "12", "13.63"),
    ],
)
def test_the_equilibrium_is_worked_out_either_way(
    api: Api, asked: str, humidity: str, moisture: str, dry: str
) -> None:
    found = api.get(f"/equilibrium?{asked}&temperature_c=25")

    assert found["relative_humidity_pct"] == kg(humidity)
    assert found["moisture_pct"] == kg(moisture)
    assert abs(found["dry_basis_pct"] - Decimal(dry)) <= kg("0.02")
    assert found["advice_only"] is True
    assert "5 to 55 °C" in found["limits"]
    assert found["standard_error_points"] == kg("0.54")


@pytest.mark.parametrize(
    ("query", "parameter", "said"),
    [
        ("temperature_c=25", "relative_humidity_pct", "give either"),
        ("temperature_c=25&relative_humidity_pct=60&moisture_pct=11", "relative_humidity_pct",
         "give either"),
        ("temperature_c=4.9&relative_humidity_pct=60", "temperature_c", "5 to 55"),
        ("temperature_c=25&relative_humidity_pct=91", "relative_humidity_pct", "10 to 90"),
        ("temperature_c=25&moisture_pct=3", "moisture_pct", "4.51 to 16.86"),
        ("temperature_c=warm&moisture_pct=11", "temperature_c", "no plain number"),
        ("moisture_pct=11", "temperature_c", "required"),
    ],
)  # fmt: skip
def test_the_calculator_says_its_limits(api: Api, query: str, parameter: str, said: str) -> None:
    answer = problem(api.send("GET", f"/equilibrium?{query}"), 422, "invalid")

    assert answer["errors"][0]["parameter"] == parameter
    assert said in str(answer).replace("Field required", "required")


def test_a_red_lot_stays_red_until_the_lot_is_read_again(api: Api, sacks: list[str]) -> None:
    measure(api, "GL-1", "moisture", "13.2", taken_at=ago(days=2))
    measure(api, sacks[0], "moisture", "11", taken_at=ago(days=1))
    one_good_sack = api.get("/lots/GL-1/moisture")

    measure(api, "GL-1", "moisture", "11.2")

    assert one_good_sack["status"] == "red"
    assert "13.2" in one_good_sack["why"][0]
    assert api.get("/lots/GL-1/moisture")["status"] == "green"


@pytest.mark.parametrize("subject", ["ROAST-1", "B-02"])
def test_the_range_of_green_coffee_judges_nothing_else(
    api: Api, sacks: list[str], subject: str
) -> None:
    roast(api, {sacks[0]: 30}, 26, code="ROAST-1")

    taken = measure(api, subject, "moisture", "2.1")

    assert (taken["in_range"], taken["range"]) == (None, None)
