"""Possible contact on a machine: the next run, unless it was cleaned between."""

from typing import Any

from tests.api import Api
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
