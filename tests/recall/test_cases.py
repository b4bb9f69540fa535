"""A case from the complaint to the close: what it reaches, what is stopped, what comes of it."""

from collections.abc import Callable
from typing import Any

import pytest

from tests.api import Api, kg, problem
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes
from tests.tracing.flowing import assert_closes, assert_ends_as_balanced


def opened(api: Api, start: dict[str, Any] | None, **more: Any) -> Any:
    body = {"code": "RC-1", "kind": "inquiry", "trigger": {"kind": "complaint", "text": "musty"}}
    return api.post("/recalls", body | ({"start": start} if start else {}) | more)


@pytest.fixture
def bags(api: Api, book_is_sound: Callable[[], None]) -> Any:
    """A lot of two sacks, roasted and blended, packed into 99 bags, 12 of them sent."""
    furnish(api)
    one, two = sack_codes(receive(api, 60, 60, lot="LOT-A"))
    batch = roast(api, {one: 20, two: 10}, kg("25.5"), code="RB-1")["code"]
    mixed = blend(api, {batch: 25}, code="BL-1")["code"]
    pack(api, {mixed: kg("24.75")}, bags=99, code="PK-1")
    dispatch(api, {"PK-1": 12}, code="DS-1")
    yield api
    book_is_sound()


def named(balance: dict[str, Any]) -> dict[str, Any]:
    return {f"{name}_kg": kilograms for name, kilograms in balance.items()}


def codes(listed: list[dict[str, Any]]) -> list[str]:
    return [each["code"] for each in listed]


def test_a_complaint_about_a_bag_becomes_everything_made_of_what_is_behind_it(bags: Api) -> None:
    case = opened(bags, {"units": ["PK-1"], "behind": "lot"})

    assert (case["state"], case["kind"], case["scope"]["number"]) == ("scoped", "inquiry", 1)
    scope = bags.get("/recalls/RC-1/scopes/1")
    reached = codes(scope["units_listed"])
    assert [code for code in reached if code[:2] != "S-"] == [
        "LOT-A", "RB-1", "BL-1", "PK-1", "DS-1",
    ]  # fmt: skip
    (customer,) = scope["consignees"]
    assert (customer["customer"], customer["bags"], customer["kg"]) == ("Café Nord", 12, 3)
    assert customer["contact"] == "Ida, +49 000 1234"
    assert [each["code"] for each in customer["dispatches"]] == ["DS-1"]
    by_kind = {each["kind"]: each for each in case["scope"]["kinds"]}
    assert (by_kind["pack"]["bags"], by_kind["pack"]["bags_left"]) == (99, 87)
    assert scope["balance_kg"]["received"] == 120
    assert "competent authority" in scope["caution"]
    flow = bags.get("/recalls/RC-1/flow")
    dispatch(bags, {"PK-1": 5}, code="DS-2")  # after the scope was frozen
    assert_closes(flow)
    assert_ends_as_balanced(flow, {**named(scope["balance_kg"]), "asked_kg": 0})
    assert bags.get("/recalls/RC-1/flow?scope=1") == flow
    assert "Case RC-1, scope 1" in bags.send("GET", "/recalls/RC-1/flow.svg").text
    problem(bags.send("GET", "/recalls/RC-1/flow?scope=2"), 404, "not-found")


def test_a_case_about_a_lot_of_packing_material_starts_at_the_packs_that_used_it(
    bags: Api,
) -> None:
    bags.post("/materials", {"code": "BAG", "name": "Bag", "kind": "bag", "unit": "piece"})
    came = {"quantity": 50, "received_at": "2026-03-01T08:00:00Z"}
    for lot in ("PM-1", "PM-2"):
        bags.post("/material-lots", {"code": lot, "material": "BAG"} | came)
    pack(bags, {"BL-1": kg("0.25")}, bags=1, code="PK-2", materials=[{"lot": "PM-1"}])
    dispatch(bags, {"PK-2": 1}, code="DS-2")

    opened(bags, {"material_lot": "PM-1"})

    scope = bags.get("/recalls/RC-1/scopes/1")
    assert codes(scope["units_listed"]) == ["PK-2", "DS-2"]
    assert [each["bags"] for each in scope["consignees"]] == [1]
    body = {"kind": "inquiry", "trigger": {"kind": "complaint", "text": "ink"}}
    unused = body | {"start": {"material_lot": "PM-2"}}
    bags.refuse("/recalls", unused, 404, "not-found")
    both = body | {"start": {"material_lot": "PM-1", "units": ["PK-1"]}}
    bags.refuse("/recalls", both, 422, "invalid")


def test_a_stop_holds_what_is_in_the_house_and_lists_what_has_left(bags: Api) -> None:
    opened(bags, {"units": ["LOT-A"]}, kind="recall")

    stopped = bags.post("/recalls/RC-1/stop", {"reason": "mould in a bag"})

    assert stopped["state"] == "stopped"
    assert {"RB-1", "BL-1", "PK-1"} <= set(codes(stopped["held"]))
    assert stopped["held_bags"] == 87
    (customer,) = stopped["left_the_house"]
    assert (customer["bags"], customer["dispatches"][0]["code"]) == (12, "DS-1")
    bags.refuse(
        "/dispatches",
        {"customer": "Café Nord", "lines": [{"pack": "PK-1", "bags": 1}]},
        409,
        "on-hold",
    )
    again = bags.post("/recalls/RC-1/stop", {})
    assert (again["hold"], again["held"], again["held_before"]) == (None, [], stopped["held_units"])


def test_coffee_that_a_void_brings_back_after_the_stop_is_held_too(bags: Api) -> None:
    dispatch(bags, {"PK-1": 87}, code="DS-2")
    opened(bags, {"units": ["LOT-A"]}, kind="withdrawal")
    bags.post("/recalls/RC-1/stop", {})

    bags.post("/units/DS-2/void", {"reason": "never loaded"})

    assert bags.get("/packs/PK-1")["held"]
    changes = bags.get("/recalls/RC-1/changes")
    assert changes["not_held"] == []
    assert [(each["code"], each["voided"]) for each in changes["dropped_out"]] == [("DS-2", True)]
    changed = {each["code"]: each for each in changes["changed"]}
    assert (changed["PK-1"]["left_then_kg"], changed["PK-1"]["left_now_kg"]) == (0, kg("21.75"))


@pytest.mark.parametrize("start", [{"units": ["DS-1"]}, {"units": ["DS-1"], "behind": "roast"}])
def test_a_start_that_is_corrected_stays_one_as_what_was_booked_in_its_place(
    bags: Api, start: dict[str, Any]
) -> None:
    opened(bags, start)
    right = {"corrects": "DS-1", "correction_reason": "miscounted"}
    dispatch(bags, {"PK-1": 10}, code="DS-2", **right)

    changes = bags.get("/recalls/RC-1/changes")
    stopped = bags.post("/recalls/RC-1/stop", {})

    assert [each["code"] for each in changes["dropped_out"]] == ["DS-1"]
    assert [each["code"] for each in changes["came_in"]] == ["DS-2"]
    (customer,) = stopped["left_the_house"]
    assert (customer["bags"], customer["dispatches"][0]["code"]) == (10, "DS-2")


def test_a_roast_that_is_corrected_before_the_stop_is_stopped(bags: Api) -> None:
    (sack,) = sack_codes(receive(bags, 60, lot="LOT-B"))
    roast(bags, {sack: 20}, 17, code="RB-7")
    opened(bags, {"units": ["RB-7"]})
    roast(bags, {sack: 21}, 17, code="RB-8", corrects="RB-7", correction_reason="mistyped")

    stopped = bags.post("/recalls/RC-1/stop", {})

    assert "RB-8" in codes(stopped["held"])
    assert bags.get("/units/RB-8")["held"]


def test_the_frozen_scope_stays_and_is_compared_with_today_s(bags: Api) -> None:
    opened(bags, {"units": ["RB-1"]})
    before = bags.get("/recalls/RC-1/scopes/1")

    pack(bags, {"RB-1": kg("0.25")}, bags=1, code="PK-2")
    dispatch(bags, {"PK-1": 3}, code="DS-2")
    bags.post(
        "/returns",
        {"dispatch": "DS-1", "lines": [{"pack": "PK-1", "bags": 4}], "reason": "asked back"},
    )
    changes = bags.get("/recalls/RC-1/changes")

    assert not changes["same"]
    assert "PK-2" in changes["not_held"]
    assert [code for code in codes(changes["came_in"]) if code[:2] != "T-"] == ["PK-2", "DS-2"]
    assert [(each["dispatch"], each["bags"]) for each in changes["sent_since"]] == [("DS-2", 3)]
    assert [each["bags"] for each in changes["returned_since"]] == [4]
    assert bags.get("/recalls/RC-1/scopes/1") == before
    frozen = bags.post("/recalls/RC-1/scopes", {"start": {"units": ["LOT-A"]}})
    assert frozen["number"] == 2
    assert frozen["starts"] == [{"units": ["RB-1"]}, {"units": ["LOT-A"]}]
    assert bags.get("/recalls/RC-1/changes")["same"]
    assert bags.get("/recalls/RC-1/scopes/1") == before


def test_a_case_starts_at_a_machine_or_a_place_during_a_time(bags: Api) -> None:
    sack = sack_codes(receive(bags, 60, lot="LOT-B"))[0]
    bags.post("/moves", {"sacks": [sack], "to": "B-02", "moved_at": "2026-03-02T09:00:00Z"})
    roast(bags, {sack: 30}, 26, code="RB-2", roasted_at="2026-03-05T08:00:00Z")

    drum = opened(bags, {"machine": "DRUM-75", "from": "2026-03-05T08:00:00Z"}, code="RC-2")
    until = {"machine": "DRUM-75", "to": "2026-03-05T08:00:00Z"}
    early = opened(bags, until, code="RC-3")
    place = opened(bags, {"location": "B-02"}, code="RC-4")

    starts = [
        [u["code"] for u in bags.get(f"/recalls/{code}/scopes/1")["units_listed"] if u["start"]]
        for code in ("RC-2", "RC-3", "RC-4")
    ]
    assert starts == [["RB-1", "RB-2"], ["RB-2"], [sack]]
    assert {drum["state"], early["state"], place["state"]} == {"scoped"}


def test_a_case_starts_at_what_was_read_or_stood_where_it_was_read(bags: Api) -> None:
    sack = sack_codes(receive(bags, 60, lot="LOT-B"))[0]
    bags.post("/moves", {"sacks": [sack], "to": "B-02", "moved_at": "2026-03-02T09:00:00Z"})
    kinds = {"LOT-A": ("moisture", kg("13.4")), "B-02": ("relative_humidity", 82)}
    wet, damp = (
        bags.post("/readings", {
            "subject": subject, "kind": kind, "value": value, "taken_at": "2026-03-04T09:00:00Z",
        })["id"]
        for subject, (kind, value) in kinds.items()
    )  # fmt: skip

    opened(bags, {"reading": wet}, code="RC-2")
    opened(bags, {"reading": damp}, code="RC-3")

    starts = [
        [u["code"] for u in bags.get(f"/recalls/{code}/scopes/1")["units_listed"] if u["start"]]
        for code in ("RC-2", "RC-3")
    ]
    assert starts == [["LOT-A"], [sack]]
    body = {"kind": "inquiry", "trigger": {"kind": "reading", "text": "wet"}}
    bags.refuse("/recalls", body | {"start": {"reading": 99}}, 404, "not-found")
    both = body | {"start": {"reading": wet, "location": "B-02"}}
    bags.refuse("/recalls", both, 422, "invalid")


def test_possible_contact_is_listed_apart_and_held_unless_that_is_declined(bags: Api) -> None:
    sack = sack_codes(receive(bags, 60, lot="LOT-B"))[0]
    roast(bags, {sack: 30}, 26, code="RB-2")
    opened(bags, {"units": ["RB-1"]})

    scope = bags.get("/recalls/RC-1/scopes/1")
    first = bags.post("/recalls/RC-1/stop", {"possible_contact": False})
    free = bags.get("/roasts/RB-2")["held"]
    second = bags.post("/recalls/RC-1/stop", {})

    (near,) = scope["contact_listed"]
    assert (near["code"], near["machine"], near["after"]) == ("RB-2", "DRUM-75", "RB-1")
    assert near["suspect_kg"] is None
    assert "RB-2" not in codes(first["held"])
    assert not free
    assert codes(second["held"]) == ["RB-2"]
    assert bags.get("/roasts/RB-2")["held"]


def test_possible_contact_in_a_silo_says_where_it_was(bags: Api) -> None:
    bags.post("/locations", {"code": "SILO-1", "kind": "silo"})
    one, two = sack_codes(receive(bags, 60, 60, lot="LOT-S"))
    roast(bags, {one: 20}, 17, code="IN-1", to="SILO-1", machine="DRUM-75")
    bags.post("/machines/DRUM-75/clean-downs", {})
    roast(bags, {two: 10}, 8, code="IN-2", to="SILO-1")
    opened(bags, {"units": ["IN-1"]})

    (near,) = bags.get("/recalls/RC-1/scopes/1")["contact_listed"]

    assert (near["code"], near["place"], near["after"], near["machine"]) == (
        "IN-2", "SILO-1", "IN-1", None,
    )  # fmt: skip


def test_what_the_state_of_a_case_does_not_allow_is_refused(bags: Api) -> None:
    opened(bags, None, kind="recall")
    told = {"customer": "Café Nord", "how": "phone"}
    bags.refuse("/recalls/RC-1/stop", {}, 409, "recall-state")
    bags.refuse("/recalls/RC-1/notices", told, 409, "recall-state")
    bags.post("/recalls/RC-1/scopes", {"start": {"units": ["PK-1"]}})
    bags.refuse("/recalls/RC-1/notices", told, 409, "recall-state")
    bags.refuse("/recalls/RC-1/close", {"reason": "nothing"}, 409, "recall-state")
    bags.post("/recalls/RC-1/stop", {})
    assert bags.post("/recalls/RC-1/notices", told)["state"] == "working_off"
    closed = bags.post("/recalls/RC-1/close", {"reason": "found nothing"})
    assert closed["open_points"] == [
        "1 of 1 notices were not acknowledged", "12 bags are unaccounted for",
    ]  # fmt: skip
    bags.refuse("/recalls/RC-1/notices", told, 409, "recall-state")
    bags.refuse("/recalls/RC-1/stop", {}, 409, "recall-state")

    assert bags.post("/recalls/RC-1/reopen", {"reason": "one more"})["state"] == "reopened"
    assert bags.post("/recalls/RC-1/notices", told)["state"] == "working_off"
    steps = [each["step"] for each in bags.get("/recalls/RC-1")["steps"]]
    assert steps == [
        "opened", "scoped", "stopped", "working_off", "closed", "reopened", "working_off",
    ]  # fmt: skip


def test_kind_and_class_are_decided_with_a_reason_and_the_words_stay_out_of_the_journal(
    bags: Api,
) -> None:
    opened(bags, {"units": ["PK-1"]})

    decided = bags.post("/recalls/RC-1/decisions", {
        "kind": "recall", "class": {"jurisdiction": "US", "class": "II"}, "reason": "lab says so",
    })  # fmt: skip
    bags.refuse("/recalls/RC-1/decisions", {"reason": "none"}, 422, "invalid")
    four = {"class": {"jurisdiction": "US", "class": "IV"}, "reason": "none"}
    problem = bags.refuse("/recalls/RC-1/decisions", four, 422, "invalid")

    assert decided["kind"] == "recall"
    assert decided["class"] == {"jurisdiction": "US", "class": "II"}
    assert decided["state"] == "scoped"
    assert problem["errors"][0]["pointer"] == "#/class"
    log = bags.get("/recalls/RC-1/log")["items"]
    assert [each["what"] for each in log] == ["opened", "scoped", "decided"]


@pytest.mark.parametrize(
    ("start", "status", "slug"),
    [
        ({"units": ["NONE-1"]}, 404, "unknown-code"),
        ({"units": ["PK-1"], "location": "B-02"}, 422, "invalid"),
        ({"units": ["PK-1"], "from": "2026-03-05T08:00:00Z"}, 422, "invalid"),
        ({"machine": "LINE-1"}, 404, "not-found"),
        ({"machine": "LINE-9"}, 422, "unknown-reference"),
        ({"location": "B-02"}, 404, "not-found"),
        ({"units": ["LOT-A"], "behind": "roast"}, 404, "not-found"),
    ],
)
def test_a_start_that_names_nothing_opens_no_case(
    bags: Api, start: dict[str, Any], status: int, slug: str
) -> None:
    body = {"kind": "recall", "trigger": {"kind": "other", "text": "x"}, "start": start}

    bags.refuse("/recalls", body, status, slug)

    assert bags.get("/recalls")["items"] == []


def test_only_quality_works_on_cases_and_everybody_reads_them(
    api_as: Callable[..., Api],
) -> None:
    body = {"code": "RC-1", "kind": "recall", "trigger": {"kind": "other", "text": "x"}}

    api_as("warehouse").refuse("/recalls", body, 403, "forbidden")
    api_as("quality").post("/recalls", body)
    api_as("quality").refuse("/recalls", body, 409, "code-taken")

    assert api_as("buyer").get("/recalls/rc-1")["state"] == "opened"
