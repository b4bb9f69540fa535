"""Possible contact on a machine: the next run, unless it was cleaned between."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from tests.api import Api, problem
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes


def day(hour: int) -> str:
    return f"2026-03-05T{hour:02d}:00:00Z"


def three_roasts(api: Api) -> tuple[list[str], list[str]]:
    """Three sacks of three lots, roasted one after the other in one drum."""
    furnish(api)
    sacks = [sack_codes(receive(api, 60))[0] for _ in range(3)]
    # Booked in another order than they ran: the time on the machine counts.
    runs = [(0, 6), (2, 8), (1, 7)]
    made = {
        number: roast(api, {sacks[number]: 60}, end_kg=51, roasted_at=day(hour))["code"]
        for number, hour in runs
    }
    return sacks, [made[number] for number in range(3)]


def contact(api: Api, code: str, direction: str = "forward") -> list[dict[str, Any]]:
    listed = api.get(f"/trace/{code}?direction={direction}&carry_over=true")["possible_contact"]
    assert isinstance(listed, list)
    return listed


def test_the_next_run_and_what_was_made_of_it_is_possible_contact(api: Api) -> None:
    sacks, roasts = three_roasts(api)
    bags = pack(api, {roasts[1]: 25}, bags=100)["code"]
    sent = dispatch(api, {bags: 10})["code"]

    listed = contact(api, sacks[0])

    assert [row["code"] for row in listed] == [roasts[1], bags, sent]
    assert (listed[0]["machine"], listed[0]["after"]) == ("DRUM-75", roasts[0])
    assert (listed[1]["machine"], listed[1]["after"]) == (None, None)
    assert listed[2]["customer"] == "Café Nord"
    assert roasts[1] not in [unit["code"] for unit in api.get(f"/trace/{sacks[0]}")["units"]]
    assert api.get(f"/trace/{sacks[0]}")["possible_contact"] is None


def test_looking_backward_it_is_the_run_before(api: Api) -> None:
    sacks, roasts = three_roasts(api)

    listed = contact(api, roasts[1], "backward")

    codes = [row["code"] for row in listed]
    assert codes == [api.get(f"/sacks/{sacks[0]}")["lot"], sacks[0], roasts[0]]
    assert (listed[2]["machine"], listed[2]["before"]) == ("DRUM-75", roasts[1])


def test_a_clean_down_ends_it(api: Api) -> None:
    _, roasts = three_roasts(api)

    cleaned = api.post(
        "/machines/drum-75/clean-downs", {"cleaned_at": "2026-03-05T06:30:00Z", "note": "brushed"}
    )

    assert cleaned["machine"] == "DRUM-75"
    assert api.get("/machines/DRUM-75/clean-downs")["items"] == [cleaned]
    assert contact(api, roasts[0]) == []
    assert [row["code"] for row in contact(api, roasts[1])] == [roasts[2]]
    api.refuse("/machines/NONE/clean-downs", {}, 404, "not-found")


def test_a_voided_run_and_another_machine_do_not_count(api: Api) -> None:
    sacks, roasts = three_roasts(api)
    api.post(f"/units/{roasts[1]}/void", {"reason": "booked on the wrong drum"})
    roast(api, {sacks[1]: 12}, end_kg=10, machine="DRUM-15", roasted_at=day(7))

    assert [row["code"] for row in contact(api, roasts[0])] == [roasts[2]]


def test_a_set_is_asked_the_same_way_and_lists_nothing_twice(api: Api) -> None:
    sacks, roasts = three_roasts(api)

    answer = api.post(
        "/trace", {"units": [sacks[0], sacks[1]], "direction": "forward", "carry_over": True}
    )

    assert [row["code"] for row in answer["possible_contact"]] == [roasts[2]]


def hops_of(api: Api, code: str, hops: int, direction: str = "forward") -> dict[str, int]:
    asked = f"direction={direction}&carry_over=true&hops={hops}"
    listed = api.get(f"/trace/{code}?{asked}")["possible_contact"]
    return {row["code"]: row["hop"] for row in listed}


def test_a_hop_more_starts_from_what_was_made_of_contact(api: Api) -> None:
    sacks, roasts = three_roasts(api)
    bags = [
        pack(api, {made: 25}, bags=100, machine="LINE-1", packed_at=day(9 + number))["code"]
        for number, made in enumerate(roasts)
    ]
    _, second, third = roasts

    # The first bags ran before the second ones, and those are made of contact already.
    assert hops_of(api, sacks[0], 1) == {second: 1, bags[1]: 1}
    assert hops_of(api, sacks[0], 2) == {second: 1, bags[1]: 1, third: 2, bags[2]: 2}
    backward = hops_of(api, bags[2], 2, "backward")
    assert (backward[bags[1]], backward[second], backward[roasts[0]]) == (1, 1, 2)
    body = {"units": [sacks[0]], "carry_over": True, "hops": 10}
    assert [row["hop"] for row in api.post("/trace", body)["possible_contact"]] == [1, 1, 2, 2]


@pytest.mark.parametrize("hops", [0, 11])
def test_hops_are_one_to_ten(api: Api, hops: int) -> None:
    sacks, _ = three_roasts(api)

    answer = api.send("GET", f"/trace/{sacks[0]}?carry_over=true&hops={hops}")
    refused = api.refuse("/trace", {"units": [sacks[0]], "hops": hops}, 422, "invalid")

    assert problem(answer, 422, "invalid")["errors"][0]["parameter"] == "hops"
    assert refused["errors"][0]["pointer"] == "#/hops"


def test_the_window_of_a_machine_says_how_many_runs_and_hours_a_rest_is_in(api: Api) -> None:
    _, roasts = three_roasts(api)

    def keep(version: int, **window: Any) -> None:
        answer = api.send("PATCH", "/machines/DRUM-75", window, If_Match=f'"{version}"')
        assert answer.is_success

    keep(1, carry_over_runs=2)
    assert hops_of(api, roasts[0], 1) == {roasts[1]: 1, roasts[2]: 1}
    assert {row["after"] for row in contact(api, roasts[0])} == {roasts[0]}
    keep(2, carry_over_hours=1)
    assert [row["code"] for row in contact(api, roasts[0])] == [roasts[1]]
    emptied = api.send("PATCH", "/machines/DRUM-75", {"carry_over_runs": None}, If_Match='"3"')
    problem(emptied, 422, "invalid")


@pytest.fixture
def tipped(api: Api) -> list[str]:
    """Four roasts, the drum cleaned after each, tipped into a silo that was emptied at eight."""
    furnish(api)
    api.post("/locations", {"code": "SILO-1", "kind": "silo"})
    roasts = []
    for hour in (6, 7, 9, 10):
        sack = sack_codes(receive(api, 12))[0]
        more = {"to": "SILO-1", "roasted_at": day(hour), "code": f"AT-{hour:02d}"}
        roasts.append(roast(api, {sack: 12}, 10, **more)["code"])
        cleaned = {"cleaned_at": f"2026-03-05T{hour:02d}:30:00Z"}
        api.post("/machines/DRUM-75/clean-downs", cleaned)
        if hour == 7:
            body = {"product": "HOUSE-2000", "from": [{"place": "SILO-1", "kg": 20}], "bags": 10}
            api.post("/packs", body | {"packed_at": day(8), "code": "BAGS"})
    return roasts


def test_what_stood_with_it_in_a_silo_and_what_came_next_is_possible_contact(
    api: Api, tipped: list[str]
) -> None:
    first, second, third, fourth = tipped

    listed = contact(api, first)

    assert [(row["code"], row["machine"], row["place"], row["after"]) for row in listed] == [
        (second, None, "SILO-1", first), (third, None, "SILO-1", first),
    ]  # fmt: skip
    assert hops_of(api, first, 2) == {second: 1, third: 1, fourth: 2}
    assert {row["before"] for row in contact(api, fourth, "backward")} == {None, fourth}
    assert hops_of(api, fourth, 1, "backward")[third] == 1
    assert first not in hops_of(api, fourth, 1, "backward")


def test_a_clean_down_of_the_silo_ends_it_and_its_window_widens_it(
    api: Api, tipped: list[str]
) -> None:
    first, second, third, fourth = tipped
    window = {"carry_over_runs": 2, "carry_over_hours": 2}
    etag = api.send("GET", "/locations/SILO-1").headers["etag"]
    assert api.send("PATCH", "/locations/SILO-1", window, If_Match=etag).is_success
    assert [row["code"] for row in contact(api, first)] == [second, third, fourth]

    api.post("/locations/SILO-1/clean-downs", {"cleaned_at": "2026-03-05T08:30:00Z"})

    assert [row["code"] for row in contact(api, first)] == [second]
    assert [row["code"] for row in contact(api, third)] == [fourth]


@pytest.mark.usefixtures("tipped")
def test_what_is_in_bags_touches_nothing_on_a_tray(api: Api) -> None:
    api.post("/locations", {"code": "TRAY-1", "kind": "tray"})
    poured = {"product": "HOUSE-2000", "from": [{"place": "SILO-1", "kg": 4}], "bags": 2}
    other = api.post("/packs", poured)["code"]

    api.post("/moves", {"sacks": ["BAGS", other], "to": "TRAY-1"})

    assert [row["code"] for row in contact(api, "BAGS")] == []


def test_a_trace_of_green_in_a_hopper_reaches_bags_and_rest_and_the_next_run_is_contact(
    api: Api,
) -> None:
    furnish(api)
    api.post("/locations", {"code": "HOPPER-1", "kind": "hopper"})
    [green_a, green_c, next_green] = [sack_codes(receive(api, 20))[0] for _ in range(3)]
    draws = {green_a: Decimal("7.2"), green_c: Decimal("4.8")}
    batch = roast(api, draws, Decimal("10.2"), to="HOPPER-1", roasted_at=day(6))["code"]
    poured = {"product": "HOUSE-250", "from": [{"place": "HOPPER-1", "kg": 10}], "bags": 40}
    bags = api.post("/packs", poured | {"machine": "LINE-1", "packed_at": day(8)})["code"]

    answer = api.get(f"/trace/{green_a}?carry_over=true")

    # Our rule, worked by hand: 7.2 of 12 kg of green are 60 %, and of 7.2 kg of green in 10.2 kg of
    # roasted coffee 10 / 10.2 are in the bags: 7.0588 kg, here to the gram.
    told = {unit["code"]: unit for unit in answer["units"]}
    assert (told[bags]["made_kg"], told[bags]["share_pct"]) == (10, 60)
    assert told[bags]["green_kg"] == Decimal("7.059")
    assert (told[batch]["left_kg"], told[batch]["location"]) == (Decimal("0.2"), "HOPPER-1")
    assert answer["possible_contact"] == []

    follows = roast(api, {next_green: 12}, 10, machine="DRUM-15", roasted_at=day(9))["code"]
    more = pack(api, {follows: 10}, 40, machine="LINE-1", packed_at=day(10))["code"]
    [listed] = contact(api, green_a)
    assert (listed["code"], listed["machine"], listed["after"]) == (more, "LINE-1", bags)
    assert listed["left_kg"] == 10
    api.post("/machines/LINE-1/clean-downs", {"cleaned_at": day(9)})
    assert contact(api, green_a) == []


def test_hops_cost_the_same_statements_however_much_they_find(
    api: Api, tipped: list[str], statements: Callable[[], int]
) -> None:
    counts = []
    for more in (0, 6):
        for n in range(more):
            sack = sack_codes(receive(api, 12))[0]
            roast(api, {sack: 12}, 10, to="SILO-1", roasted_at=f"2026-03-05T09:0{n}:00Z")
        statements()
        assert len(hops_of(api, tipped[0], 2)) == 3 + more
        counts.append(statements())

    assert counts[0] == counts[1]
