"""Pick lists: a suggestion, another choice with its reason, and nothing reserved by either."""

from collections.abc import Callable
from typing import Any

import pytest

from app.standards.handling import HEAVY, IN_PARTS
from tests.api import Api, kg, problem
from tests.makers import furnish, receive, roast, sack_codes


def lines(answer: dict[str, Any]) -> list[tuple[str, Any]]:
    return [(line["sack"], line["kg"]) for line in answer["lines"]]


@pytest.fixture
def family(api: Api) -> dict[str, list[str]]:
    """Two like lots: a new crop of two sacks of 30 kg, the first opened, and an older of two."""
    furnish(api)
    new = sack_codes(receive(api, 30, 30, lot="NEW", crop_year="2025/26"))
    old = sack_codes(receive(api, 24, 24, lot="OLD", crop_year="2024/25"))
    api.post("/moves", {"sacks": new, "to": "A-01"})
    roast(api, {new[0]: 4}, 3)
    return {"NEW": new, "OLD": old}


def test_the_suggestion_opens_no_sack_before_the_opened_ones_are_empty(
    api: Api, family: dict[str, list[str]]
) -> None:
    new, old = family["NEW"], family["OLD"]

    answer = api.get("/pick-list?lot=NEW&lot=OLD&kg=82.5")

    assert answer["lots"] == ["NEW", "OLD"]
    line = {"lot": "OLD", "location": None, "kg": 24, "left_after_kg": 0, "caution": None}
    assert answer["lines"] == [
        {"sack": new[0], "lot": "NEW", "location": "A-01", "kg": 26, "whole": True,
         "left_after_kg": 0, "caution": HEAVY},
        line | {"sack": old[0], "whole": True},
        line | {"sack": old[1], "whole": True},
        {"sack": new[1], "lot": "NEW", "location": "A-01", "kg": kg("8.5"), "whole": False,
         "left_after_kg": kg("21.5"), "caution": IN_PARTS},
    ]  # fmt: skip
    assert answer["left_out"] == []


def test_what_cannot_be_picked_is_left_out_and_named_with_the_reason(
    api: Api, family: dict[str, list[str]]
) -> None:
    new, old = family["NEW"], family["OLD"]
    api.post("/locations", {"code": "PORT", "kind": "external"})
    api.post("/locations", {"code": "PORT-1", "kind": "bay", "parent": "PORT"})
    api.post("/moves", {"sacks": [new[1]], "to": "PORT-1"})
    api.post("/holds", {"units": [old[0]], "reason": "musty"})
    api.post("/adjustments", {"unit": old[1], "kg": -24, "reason": "destroyed"})
    receive(api, 60, lot="SLIP")
    api.post("/units/SLIP/void", {"reason": "the neighbour's"})

    answer = api.get("/pick-list?lot=NEW&lot=old&lot=SLIP&kg=26")

    assert lines(answer) == [(new[0], 26)]
    left_out = {line["sack"]: line["why"] for line in answer["left_out"]}
    [slip] = [sack["code"] for sack in api.get("/sacks?lot=SLIP")["items"]]
    assert left_out == {
        new[1]: "external", old[0]: "held", old[1]: "empty", slip: "voided",
    }  # fmt: skip


def test_too_little_is_refused_with_the_figures(api: Api, family: dict[str, list[str]]) -> None:
    api.post("/holds", {"units": ["OLD"], "reason": "musty"})

    for answer in (
        api.send("GET", "/pick-list?lot=NEW&lot=OLD&kg=56.001"),
        api.send("POST", "/pick-lists", {"lots": ["NEW", "OLD"], "kg": kg("56.001")}),
    ):
        refused = problem(answer, 409, "insufficient-stock")
        figures = [refused[name] for name in ("asked_kg", "available_kg", "short_kg")]
        assert figures == [kg("56.001"), 56, kg("0.001")]
        assert [line["why"] for line in refused["left_out"]] == ["held", "held"]
    assert lines(api.get("/pick-list?lot=NEW&lot=OLD&kg=56")) == [
        (family["NEW"][0], 26), (family["NEW"][1], 30),
    ]  # fmt: skip
    assert api.get("/pick-lists")["items"] == []


@pytest.mark.parametrize(
    ("query", "status", "slug"),
    [
        ("lot=NEW", 422, "invalid"),
        ("kg=5", 422, "invalid"),
        ("lot=NEW&kg=0", 422, "invalid"),
        ("lot=NEW&kg=-1", 422, "invalid"),
        ("lot=NEW&kg=1.0005", 422, "invalid"),
        ("lot=NEW&kg=30000.001", 422, "invalid"),
        ("lot=NEW&kg=1e3", 422, "invalid"),
        ("lot=NEW&kg=nan", 422, "invalid"),
        ("lot=GL-404&kg=1", 404, "unknown-code"),
    ],
)
def test_a_question_that_is_not_right_is_refused(
    api: Api, family: dict[str, list[str]], query: str, status: int, slug: str
) -> None:
    assert family
    problem(api.send("GET", f"/pick-list?{query}"), status, slug)


def test_the_suggestion_is_put_on_record_and_reserves_nothing(
    api: Api, family: dict[str, list[str]], book_is_sound: Callable[[], None]
) -> None:
    suggested = api.get("/pick-list?lot=NEW&lot=OLD&kg=40")

    made = api.post("/pick-lists", {"lots": ["NEW", "OLD"], "kg": 40})
    roast(api, {family["NEW"][0]: 26}, 22)  # somebody else takes it

    assert made["lines"] == suggested["lines"]
    assert (made["as_suggested"], made["reason"], made["listed_by"]) == (True, None, "admin")
    assert api.get(f"/pick-lists/{made['id']}") == made
    [listed] = api.get("/pick-lists")["items"]
    assert listed == {name: made[name] for name in listed}
    assert lines(api.post("/pick-lists", {"lots": ["NEW", "OLD"], "kg": 40})) != lines(made)
    book_is_sound()


def test_another_choice_needs_a_reason_and_is_told_the_suggestion(
    api: Api, family: dict[str, list[str]]
) -> None:
    new, old = family["NEW"], family["OLD"]
    body: dict[str, Any] = {"lots": ["NEW"], "kg": 10, "sacks": [{"sack": new[1], "kg": 10}]}

    refused = api.refuse("/pick-lists", body, 422, "invalid")
    made = api.post("/pick-lists", body | {"reason": "the other one stands behind it"})

    assert [error["pointer"] for error in refused["errors"]] == ["#/reason"]
    assert refused["suggestion"] == [{"sack": new[0], "kg": 10}]
    assert lines(made) == [(new[1], 10)]
    assert (made["as_suggested"], made["reason"]) == (False, "the other one stands behind it")
    assert old[0] not in str(made)


def test_the_same_choice_in_another_order_needs_no_reason(
    api: Api, family: dict[str, list[str]]
) -> None:
    first, second = family["OLD"]
    sacks = [{"sack": second, "kg": 6}, {"sack": first, "kg": 24}]

    made = api.post("/pick-lists", {"lots": ["OLD"], "kg": 30, "sacks": sacks})

    assert made["as_suggested"] is True
    assert lines(made) == [(second, 6), (first, 24)]


def test_a_choice_is_of_these_lots_and_comes_to_what_is_wanted(
    api: Api, family: dict[str, list[str]]
) -> None:
    one, two = family["NEW"]
    [other] = family["OLD"][:1]

    def pointer(sacks: list[dict[str, Any]]) -> str:
        body = {"lots": ["NEW"], "kg": 20, "sacks": sacks, "reason": "why not"}
        found: str = api.refuse("/pick-lists", body, 422, "invalid")["errors"][0]["pointer"]
        return found

    assert pointer([{"sack": one, "kg": 10}, {"sack": other, "kg": 10}]) == "#/sacks/1/sack"
    assert pointer([{"sack": two, "kg": 10}, {"sack": two, "kg": 10}]) == "#/sacks/1/sack"
    assert pointer([{"sack": two, "kg": kg("19.999")}]) == "#/sacks"
    assert api.get("/pick-lists")["items"] == []


def test_a_choice_that_cannot_be_drawn_is_refused(api: Api, family: dict[str, list[str]]) -> None:
    one, two = family["NEW"]
    body = {"lots": ["NEW", "OLD"], "kg": 27, "reason": "why not"}
    api.post("/locations", {"code": "PORT", "kind": "external"})
    api.post("/moves", {"sacks": [family["OLD"][1]], "to": "PORT"})

    def pick(sack: str) -> dict[str, Any]:
        return body | {"sacks": [{"sack": sack, "kg": 27}]}

    short = api.refuse("/pick-lists", pick(one), 409, "insufficient-stock")
    outside = api.refuse("/pick-lists", pick(family["OLD"][1]), 422, "invalid")
    api.post("/holds", {"units": [two], "reason": "musty"})
    held = api.refuse("/pick-lists", pick(two), 409, "on-hold")

    assert (short["unit"], short["left_kg"]) == (one, 26)
    assert outside["errors"][0]["pointer"] == "#/sacks/0/sack"
    assert held["units"] == [two]


def test_a_list_that_is_not_there_is_not_found(api: Api) -> None:
    problem(api.send("GET", "/pick-lists/7"), 404, "not-found")


@pytest.mark.parametrize(("role", "status"), [("warehouse", 422), ("roaster", 422), ("buyer", 403)])
def test_who_fetches_sacks_makes_lists(api_as: Callable[..., Api], role: str, status: int) -> None:
    assert api_as(role).send("POST", "/pick-lists", {}).status_code == status
