"""Traces of everything that stood at one place during a time."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from tests.api import Api
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes

ARRIVED = "2026-03-02T08:00:00Z"
"""When `receive` lets every delivery arrive."""


@pytest.fixture(autouse=True)
def _roastery(api: Api) -> None:
    furnish(api)


def arrive_at(api: Api, place: str, *, lot: str, at: str = ARRIVED) -> str:
    """Receive one sack of 60 kg straight to a place."""
    delivery = api.post("/deliveries", {
        "supplier": "Finca El Roble", "received_at": at,
        "lots": [{"code": lot, "name": "Sul", "origin": "BR",
                  "sacks": [{"net_kg": 60, "location": place}]}],
    })  # fmt: skip
    code: str = delivery["lots"][0]["sacks"][0]["code"]
    return code


def move(api: Api, unit: str, to: str, at: str) -> None:
    api.post("/moves", {"sacks": [unit], "to": to, "moved_at": at})


def stood_at(api: Api, place: str, since: str | None = None, until: str | None = None) -> list[str]:
    """Name what a trace of a place starts from."""
    window = {"from": since, "to": until}
    asked = {"location": place} | {name: at for name, at in window.items() if at}
    answer = api.post("/trace", asked)
    assert answer["balance"]["accounted_pct"] == 100
    return [start["code"] for start in answer["of"]]


def nothing_stood_at(api: Api, place: str, **window: str) -> None:
    api.refuse("/trace", {"location": place} | window, 404, "not-found")


@pytest.fixture
def wanderer(api: Api) -> str:
    """A sack that stood at B-02 from arrival to 10 March, then at A-01."""
    sack = arrive_at(api, "B-02", lot="WANDERER")
    move(api, sack, "A-01", "2026-03-10T12:00:00Z")
    return sack


def test_a_place_is_traced_with_what_stands_or_stood_there(api: Api, wanderer: str) -> None:
    stayer = arrive_at(api, "B-02", lot="STAYER")
    arrive_at(api, "A-01", lot="ELSEWHERE")
    batch = roast(api, {stayer: 12}, 10)["code"]

    answer = api.post("/trace", {"location": "b-02"})

    assert answer["of"] == [
        {"code": wanderer, "kind": "sack"},
        {"code": stayer, "kind": "sack"},
    ]
    assert [unit["code"] for unit in answer["units"]] == [wanderer, stayer, batch]
    assert answer["balance"]["received_kg"] == 120


@pytest.mark.parametrize(
    ("since", "until", "there"),
    [
        ("2026-03-05T00:00:00Z", "2026-03-06T00:00:00Z", True),  # in the middle of its stay
        ("2026-03-01T00:00:00Z", "2026-03-31T00:00:00Z", True),  # all around it
        ("2026-03-10T12:00:00Z", "2026-03-11T00:00:00Z", True),  # begins as it leaves
        ("2026-03-10T12:00:01Z", "2026-03-11T00:00:00Z", False),  # begins after it left
        ("2026-03-01T00:00:00Z", ARRIVED, True),  # ends as it arrives
        ("2026-03-01T00:00:00Z", "2026-03-02T07:59:59Z", False),  # ends before
        ("2026-03-10T12:00:01Z", None, False),
        ("2026-03-10T13:00:00+01:00", None, True),  # the same moment on another clock
        (None, ARRIVED, True),
        (None, "2026-03-02T07:59:59Z", False),
        (None, None, True),
    ],
)
def test_a_stay_counts_with_both_its_ends(
    api: Api, wanderer: str, since: str | None, until: str | None, there: bool
) -> None:
    stayer = arrive_at(api, "B-02", lot="STAYER", at="2026-02-01T00:00:00Z")

    found = stood_at(api, "B-02", since, until)

    assert (wanderer in found) == there
    assert stayer in found


def test_a_sack_that_came_back_to_a_place_is_found_in_both_stays_and_named_once(
    api: Api, wanderer: str
) -> None:
    move(api, wanderer, "B-02", "2026-03-20T12:00:00Z")

    assert stood_at(api, "B-02") == [wanderer]
    assert stood_at(api, "B-02", "2026-03-09T00:00:00Z", "2026-03-21T00:00:00Z") == [wanderer]
    assert stood_at(api, "B-02", "2026-03-25T00:00:00Z") == [wanderer]
    nothing_stood_at(api, "B-02", **{"from": "2026-03-11T00:00:00Z", "to": "2026-03-20T11:59:59Z"})


def test_a_sack_used_up_before_the_time_did_not_stand_there_any_more(api: Api) -> None:
    sack = arrive_at(api, "B-02", lot="EATEN")
    for at in ("2026-03-04T10:00:00Z", "2026-03-08T10:00:00Z"):
        roast(api, {sack: 30}, 25, roasted_at=at)

    assert stood_at(api, "B-02", "2026-03-07T00:00:00Z") == [sack]
    assert stood_at(api, "B-02", "2026-03-08T10:00:00Z") == [sack]
    assert stood_at(api, "B-02", until="2026-03-03T00:00:00Z") == [sack]
    nothing_stood_at(api, "B-02", **{"from": "2026-03-08T10:00:01Z"})


def test_a_sack_that_was_destroyed_stood_there_until_then(api: Api) -> None:
    """It was never drawn from: no roast says when it was gone, only the adjustment does."""
    sack = arrive_at(api, "B-02", lot="MOULDY")
    api.post("/adjustments", {
        "unit": sack, "kg": -60, "reason": "destroyed", "happened_at": "2026-03-08T10:00:00Z",
    })  # fmt: skip

    assert stood_at(api, "B-02", "2026-03-05T00:00:00Z") == [sack]
    nothing_stood_at(api, "B-02", **{"from": "2026-03-09T00:00:00Z"})


def test_bags_that_came_back_do_not_let_their_empty_pack_stand_on_the_shelf(api: Api) -> None:
    sack = arrive_at(api, "A-01", lot="LOT-A")
    at = "2026-03-04T10:00:00Z"
    bags = pack(
        api, {roast(api, {sack: 12}, 10, roasted_at=at)["code"]: 10}, bags=40, packed_at=at
    )["code"]
    move(api, bags, "B-02", at)
    sent = dispatch(api, {bags: 40}, dispatched_at="2026-03-05T10:00:00Z")["code"]
    api.post("/returns", {
        "dispatch": sent, "lines": [{"pack": bags, "bags": 4}], "reason": "torn",
        "returned_at": "2026-03-20T10:00:00Z",
    })  # fmt: skip

    assert stood_at(api, "B-02", "2026-03-05T00:00:00Z") == [bags]
    nothing_stood_at(api, "B-02", **{"from": "2026-03-10T00:00:00Z"})


def test_a_draw_that_was_voided_did_not_empty_the_sack(api: Api) -> None:
    sack = arrive_at(api, "B-02", lot="LOT-A")
    batch = roast(api, {sack: 60}, 50, roasted_at="2026-03-08T10:00:00Z")["code"]
    api.post(f"/units/{batch}/void", {"reason": "it was on the fourth"})

    assert stood_at(api, "B-02", "2026-03-10T00:00:00Z") == [sack]

    roast(api, {sack: 60}, 50, roasted_at="2026-03-04T10:00:00Z")

    nothing_stood_at(api, "B-02", **{"from": "2026-03-06T00:00:00Z"})


def test_a_clock_a_little_ahead_of_ours_hides_nothing(api: Api, wanderer: str) -> None:
    in_four_minutes = (datetime.now(UTC) + timedelta(minutes=4)).isoformat()
    move(api, wanderer, "B-02", in_four_minutes)

    assert stood_at(api, "B-02", since="2026-03-11T00:00:00Z") == [wanderer]


def test_a_voided_lot_never_stood_anywhere(api: Api, book_is_sound: Callable[[], None]) -> None:
    arrive_at(api, "B-02", lot="LOT-A")
    api.post("/units/LOT-A/void", {"reason": "delivered to the neighbour"})

    nothing_stood_at(api, "B-02")
    book_is_sound()


def test_a_place_that_is_not_known_is_named(api: Api) -> None:
    refused = api.refuse("/trace", {"location": "Z-99"}, 422, "unknown-reference")

    assert refused["errors"][0]["pointer"] == "#/location"


def test_roasts_and_bags_stand_at_places_too(api: Api) -> None:
    (sack,) = sack_codes(receive(api, 60))
    batch: Any = roast(api, {sack: 12}, 10)["code"]
    bags = pack(api, {batch: 5}, bags=20)["code"]
    for unit in (batch, bags):
        api.post("/moves", {"sacks": [unit], "to": "B-02"})

    answer = api.post("/trace", {"location": "B-02", "direction": "backward"})

    assert [start["code"] for start in answer["of"]] == [batch, bags]
    assert answer["balance"]["received_kg"] == 12
    assert answer["balance"]["asked_kg"] == 10
