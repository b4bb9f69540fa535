"""Stock counts: blind, against the book of their time, and booked by somebody who did not count."""

from collections import Counter
from collections.abc import Callable
from contextlib import ExitStack
from functools import partial
from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.shared.db import writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api, kg, problem
from tests.makers import furnish, receive, roast, sack_codes
from tests.serving import Wire, at_once, served


@pytest.fixture
def staff(api_as: Callable[..., Api], api: Api) -> dict[str, Api]:
    """A furnished store and who works there."""
    furnish(api)
    return {role: api_as(role) for role in ("warehouse", "roaster", "quality", "buyer")}


@pytest.fixture
def sacks(api: Api, staff: dict[str, Api]) -> list[str]:
    """Three sacks of 20 kg at a rack of two bays."""
    assert staff
    codes = sack_codes(receive(api, 20, 20, 20, lot="GL-1"))
    for bay in ("B-02-1", "B-02-2"):
        api.post("/locations", {"code": bay, "kind": "bay", "parent": "B-02"})
    api.post("/moves", {"sacks": codes[:2], "to": "B-02-2"})
    api.post("/moves", {"sacks": codes[2:], "to": "B-02-1"})
    return codes


def count(person: Api, number: int, *lines: dict[str, Any], **more: Any) -> Any:
    return person.post(f"/counts/{number}/lines", {"lines": list(lines)} | more)


def left(api: Api, sack: str) -> Any:
    return api.get(f"/sacks/{sack}")["on_hand_kg"]


def masses(answer: object) -> list[str]:
    """Name every member of an answer that holds a mass."""
    if isinstance(answer, dict):
        named = [name for name in answer if name.endswith("kg")]
        return named + [name for member in answer.values() for name in masses(member)]
    if isinstance(answer, list):
        return [name for member in answer for name in masses(member)]
    return []


def test_a_count_goes_from_the_blind_sheet_to_one_entry(
    api: Api, staff: dict[str, Api], sacks: list[str], book_is_sound: Callable[[], None]
) -> None:
    noor, tomasz, ilse = (staff[role] for role in ("warehouse", "roaster", "quality"))
    one, two, three = sacks

    opened = noor.post("/counts", {"location": "b-02", "note": "quarter"})
    sheet = noor.get("/counts/1/sheet")
    noted = count(noor, 1, {"sack": one, "kg": kg("19.5")}, {"sack": two, "found": False})
    count(tomasz, 1, {"sack": three, "kg": 20})
    under_way = noor.get("/counts/1")
    closed = noor.post("/counts/1/close", {})

    assert (opened["status"], opened["expected_sacks"], opened["figures"]) == ("open", 3, None)
    place = [(line["location"], line["sack"], line["counted"]) for line in sheet["sacks"]]
    assert place == [("B-02-1", three, False), ("B-02-2", one, False), ("B-02-2", two, False)]
    assert [line["expected"] for line in noted["lines"]] == [True, True]
    assert [masses(each) for each in (opened, sheet, noted, under_way)] == [[], [], [], []]
    assert under_way["counted_sacks"] == 3
    assert [left(api, sack) for sack in sacks] == [20, 20, 20]
    found = [
        (line["sack"], line["book_kg"], line["counted_kg"], line["variance_kg"], line["found"])
        for line in closed["figures"]["sacks"]
    ]
    assert found == [
        (one, 20, kg("19.5"), kg("-0.5"), True), (two, 20, 0, -20, False), (three, 20, 20, 0, True),
    ]  # fmt: skip
    [lot] = closed["figures"]["lots"]
    assert (lot["lot"], lot["sacks"], lot["variance_kg"]) == ("GL-1", 3, kg("-20.5"))
    assert closed["figures"]["total"]["counted_kg"] == kg("39.5")

    approved = ilse.post("/counts/1/approve", {"reason": "looked myself"})

    assert (approved["status"], approved["decided_by"]) == ("approved", "quality")
    assert [left(api, sack) for sack in sacks] == [kg("19.5"), 0, 20]
    booked = api.get("/adjustments")["items"]
    assert [(line["unit"], line["kg"], line["reason"], line["note"]) for line in booked] == [
        (one, kg("-0.5"), "count", "count 1"), (two, -20, "count", "count 1"),
    ]  # fmt: skip
    assert api.get("/entries?limit=500")["items"][-1]["kind"] == "count approved"
    assert api.get("/counts/1") == approved
    book_is_sound()


def test_a_count_of_a_lot_goes_wherever_its_sacks_stand(
    staff: dict[str, Api], sacks: list[str], api: Api
) -> None:
    api.post("/moves", {"sacks": sacks[:1], "to": "A-01"})
    api.post("/adjustments", {"unit": sacks[1], "kg": -20, "reason": "spill"})

    staff["warehouse"].post("/counts", {"lot": "GL-1"})

    sheet = staff["warehouse"].get("/counts/1/sheet")
    there = [(line["sack"], line["location"], line["number"]) for line in sheet["sacks"]]
    assert there == [(sacks[0], "A-01", 1), (sacks[2], "B-02-1", 3)]


@pytest.mark.parametrize("body", [{}, {"location": "B-02", "lot": "GL-1"}])
def test_a_count_is_of_a_place_or_of_a_lot(staff: dict[str, Api], body: dict[str, str]) -> None:
    staff["warehouse"].refuse("/counts", body, 422, "invalid")


def test_drawing_after_counting_disturbs_nothing(
    api: Api, staff: dict[str, Api], sacks: list[str], book_is_sound: Callable[[], None]
) -> None:
    one, *_ = sacks
    noor = staff["warehouse"]
    noor.post("/counts", {"location": "B-02"})
    count(noor, 1, {"sack": one, "kg": 19})
    roast(api, {one: 12}, 10)
    noor.post("/counts/1/close", {})

    [line] = staff["quality"].post("/counts/1/approve", {})["figures"]["sacks"]

    assert (line["book_kg"], line["variance_kg"]) == (20, -1)
    assert left(api, one) == 7
    book_is_sound()


def test_paper_that_is_entered_later_is_held_against_the_book_of_its_time(
    api: Api, staff: dict[str, Api], sacks: list[str]
) -> None:
    one, two, _ = sacks
    noor = staff["warehouse"]
    noor.post("/counts", {"lot": "GL-1"})
    roast(api, {one: 12}, 10, roasted_at="2026-03-10T10:00:00Z")
    undone = roast(api, {two: 5}, 4, roasted_at="2026-03-10T10:00:00Z")["code"]
    api.post(f"/units/{undone}/void", {"reason": "it was another sack"})
    api.post("/adjustments", {
        "unit": two, "kg": -1, "reason": "spill", "happened_at": "2026-03-10T11:00:00Z",
    })  # fmt: skip
    lines = [{"sack": one, "kg": 20}, {"sack": two, "kg": 20}]

    count(noor, 1, *lines, counted_at="2026-03-10T09:59:59Z")

    found = noor.post("/counts/1/close", {})["figures"]
    assert [(line["book_kg"], line["variance_kg"]) for line in found["sacks"]] == [(20, 0), (20, 0)]
    assert found["sacks"][0]["counted_at"] == "2026-03-10T09:59:59Z"


def test_of_two_lines_about_a_sack_the_later_counts_and_both_stay(
    staff: dict[str, Api], sacks: list[str]
) -> None:
    one, two, _ = sacks
    noor, tomasz = staff["warehouse"], staff["roaster"]
    noor.post("/counts", {"location": "B-02"})
    count(noor, 1, {"sack": one, "kg": 2}, {"sack": two, "kg": 20})
    problem(noor.send("GET", "/counts/1/lines"), 409, "count-state")
    count(tomasz, 1, {"sack": one, "kg": kg("19.9")})

    closed = noor.post("/counts/1/close", {})

    assert closed["counted_sacks"] == 2
    figures = closed["figures"]["sacks"]
    assert [(line["counted_kg"], line["counted_by"]) for line in figures] == [
        (kg("19.9"), "roaster"), (20, "warehouse"),
    ]  # fmt: skip
    lines = noor.get("/counts/1/lines")["items"]
    assert [(line["sack"], line["counted_kg"], line["stands"]) for line in lines] == [
        (one, 2, False), (two, 20, True), (one, kg("19.9"), True),
    ]  # fmt: skip


def test_what_was_not_counted_and_what_was_not_expected_are_shown_and_nothing_is_moved(
    api: Api, staff: dict[str, Api], sacks: list[str]
) -> None:
    one, two, three = sacks
    [stray] = sack_codes(receive(api, 15, lot="GL-2"))
    api.post("/moves", {"sacks": [stray], "to": "A-01"})
    noor = staff["warehouse"]
    noor.post("/counts", {"location": "B-02"})

    noted = count(noor, 1, {"sack": one, "kg": 20}, {"sack": stray, "kg": 15})
    found = noor.post("/counts/1/close", {})["figures"]

    assert [line["expected"] for line in noted["lines"]] == [True, False]
    assert found["unexpected"] == [stray]
    assert [(line["sack"], line["location"], line["expected"]) for line in found["sacks"]] == [
        (one, "B-02-2", True), (stray, "A-01", False),
    ]  # fmt: skip
    assert [line["sack"] for line in found["not_counted"]] == [two, three]
    assert api.get(f"/sacks/{stray}")["location"] == "A-01"
    approved = staff["quality"].post("/counts/1/approve", {})
    assert approved["status"] == "approved"
    assert [left(api, sack) for sack in (two, three)] == [20, 20]


def test_an_empty_sack_is_found_with_nothing_in_it(
    api: Api, staff: dict[str, Api], sacks: list[str]
) -> None:
    noor = staff["warehouse"]
    noor.post("/counts", {"lot": "GL-1"})
    count(noor, 1, {"sack": sacks[0], "kg": 0})
    noor.post("/counts/1/close", {})

    staff["buyer"].post("/counts/1/approve", {})

    assert left(api, sacks[0]) == 0


@pytest.mark.parametrize(
    ("line", "pointer"),
    [
        ({"kg": -1}, "#/lines/0/kg"), ({"kg": kg("0.0005")}, "#/lines/0/kg"),
        ({}, "#/lines/0"), ({"found": False, "kg": 3}, "#/lines/0"), ({"kg": "20"}, "#/lines/0/kg"),
    ],
)  # fmt: skip
def test_a_line_that_is_not_right_is_pointed_at(
    staff: dict[str, Api], sacks: list[str], line: dict[str, Any], pointer: str
) -> None:
    staff["warehouse"].post("/counts", {"lot": "GL-1"})
    body = {"lines": [{"sack": sacks[0]} | line]}

    refused = staff["warehouse"].refuse("/counts/1/lines", body, 422, "invalid")

    assert [error["pointer"] for error in refused["errors"]] == [pointer]


def test_one_request_counts_a_sack_once_and_sacks_alone(
    staff: dict[str, Api], sacks: list[str]
) -> None:
    noor = staff["warehouse"]
    noor.post("/counts", {"lot": "GL-1"})
    twice = {"lines": [{"sack": sacks[0], "kg": 1}, {"sack": sacks[0], "kg": 2}]}

    refused = noor.refuse("/counts/1/lines", twice, 422, "invalid")
    noor.refuse("/counts/1/lines", {"lines": [{"sack": "GL-1", "kg": 1}]}, 409, "wrong-kind")
    noor.refuse("/counts/1/lines", {"lines": [{"sack": "GL-404", "kg": 1}]}, 404, "unknown-code")
    noor.refuse("/counts/9/lines", {"lines": [{"sack": sacks[0], "kg": 1}]}, 404, "not-found")

    assert refused["errors"][0]["pointer"] == "#/lines/1/sack"
    assert noor.get("/counts/1")["counted_sacks"] == 0


@pytest.mark.parametrize("act", ["opened", "counted"])
def test_whoever_opened_or_counted_does_not_approve(
    api: Api, staff: dict[str, Api], sacks: list[str], act: str
) -> None:
    noor, ilse = staff["warehouse"], staff["quality"]
    (ilse if act == "opened" else noor).post("/counts", {"lot": "GL-1"})
    if act == "counted":  # even where a later line of another's replaced it
        count(ilse, 1, {"sack": sacks[0], "kg": 19})
    count(noor, 1, {"sack": sacks[0], "kg": 18})
    noor.post("/counts/1/close", {})

    refused = ilse.refuse("/counts/1/approve", {}, 409, "own-count")

    assert refused["person"] == "quality"
    assert act in refused["detail"]
    assert left(api, sacks[0]) == 20
    staff["buyer"].post("/counts/1/approve", {})
    assert left(api, sacks[0]) == 18


def test_a_count_goes_step_by_step(staff: dict[str, Api], sacks: list[str]) -> None:
    noor, ilse = staff["warehouse"], staff["quality"]
    noor.post("/counts", {"lot": "GL-1"})
    line = {"lines": [{"sack": sacks[0], "kg": 20}]}

    early = ilse.refuse("/counts/1/approve", {}, 409, "count-state")
    noor.post("/counts/1/close", {})
    late = noor.refuse("/counts/1/lines", line, 409, "count-state")
    again = noor.refuse("/counts/1/close", {}, 409, "already-done")
    ilse.post("/counts/1/approve", {})

    assert [early["count_status"], late["count_status"]] == ["open", "closed"]
    assert "by warehouse" in again["detail"]
    ilse.refuse("/counts/1/approve", {}, 409, "already-done")
    ilse.refuse("/counts/1/reject", {"reason": "no"}, 409, "already-done")
    noor.refuse("/counts/1/close", {}, 409, "already-done")


@pytest.mark.parametrize("closed", [True, False])
def test_a_rejected_count_books_nothing_and_stays_readable(
    api: Api, staff: dict[str, Api], sacks: list[str], closed: bool
) -> None:
    noor, ilse = staff["warehouse"], staff["quality"]
    noor.post("/counts", {"lot": "GL-1"})
    count(noor, 1, {"sack": sacks[0], "kg": 2})
    if closed:
        noor.post("/counts/1/close", {})

    ilse.refuse("/counts/1/reject", {}, 422, "invalid")
    rejected = ilse.post("/counts/1/reject", {"reason": "the scale was off"})

    assert (rejected["status"], rejected["reason"]) == ("rejected", "the scale was off")
    assert rejected["figures"]["total"]["variance_kg"] == -18
    assert left(api, sacks[0]) == 20
    ilse.refuse("/counts/1/approve", {}, 409, "already-done")
    noor.refuse("/counts/1/lines", {"lines": [{"sack": sacks[0], "kg": 1}]}, 409, "count-state")


def test_a_sack_that_cannot_give_its_variance_any_more_is_named_and_nothing_is_booked(
    api: Api, staff: dict[str, Api], sacks: list[str], book_is_sound: Callable[[], None]
) -> None:
    one, two, _ = sacks
    noor = staff["warehouse"]
    noor.post("/counts", {"lot": "GL-1"})
    count(noor, 1, {"sack": one, "kg": 15}, {"sack": two, "kg": 19})
    noor.post("/counts/1/close", {})
    roast(api, {one: kg("15.001")}, 12)

    refused = staff["quality"].refuse("/counts/1/approve", {}, 409, "insufficient-stock")

    assert refused["unit"] == one
    assert [left(api, sack) for sack in (one, two)] == [kg("4.999"), 20]
    book_is_sound()


def test_the_last_gram_can_be_given(api: Api, staff: dict[str, Api], sacks: list[str]) -> None:
    noor = staff["warehouse"]
    noor.post("/counts", {"lot": "GL-1"})
    count(noor, 1, {"sack": sacks[0], "kg": 15})
    noor.post("/counts/1/close", {})
    roast(api, {sacks[0]: 15}, 12)

    staff["quality"].post("/counts/1/approve", {})

    assert left(api, sacks[0]) == 0


def test_held_sacks_are_counted_and_corrected(
    api: Api, staff: dict[str, Api], sacks: list[str]
) -> None:
    noor = staff["warehouse"]
    api.post("/holds", {"units": ["GL-1"], "reason": "musty"})
    noor.post("/counts", {"lot": "GL-1"})
    count(noor, 1, {"sack": sacks[0], "kg": kg("20.25")})
    noor.post("/counts/1/close", {})

    staff["quality"].post("/counts/1/approve", {})

    assert left(api, sacks[0]) == kg("20.25")


def _count_it_again(api: Api, staff: dict[str, Api], sack: str) -> None:
    staff["warehouse"].post("/counts", {"lot": "GL-1"})
    count(staff["warehouse"], 2, {"sack": sack, "kg": 19})
    staff["warehouse"].post("/counts/2/close", {})
    staff["buyer"].post("/counts/2/approve", {})
    assert left(api, sack) == 19


def _book_late(api: Api, _: dict[str, Api], sack: str) -> None:
    roast(api, {sack: 1}, kg("0.8"), roasted_at="2026-03-10T08:00:00Z")


def _void_a_draw(api: Api, _: dict[str, Api], __: str) -> None:
    api.post("/units/BEFORE/void", {"reason": "it was another sack"})


@pytest.mark.parametrize("correct", [_count_it_again, _book_late, _void_a_draw])
def test_what_the_book_learnt_since_is_not_corrected_twice(
    api: Api,
    staff: dict[str, Api],
    sacks: list[str],
    correct: Callable[[Api, dict[str, Api], str], None],
) -> None:
    noor = staff["warehouse"]
    roast(api, {sacks[0]: 5}, 4, code="BEFORE", roasted_at="2026-03-09T08:00:00Z")
    noor.post("/counts", {"lot": "GL-1"})
    lines = [{"sack": sacks[0], "kg": 19}, {"sack": sacks[1], "kg": 19}]
    count(noor, 1, *lines, counted_at="2026-03-10T09:00:00Z")
    noor.post("/counts/1/close", {})
    correct(api, staff, sacks[0])
    before = [left(api, sack) for sack in sacks]

    refused = staff["quality"].refuse("/counts/1/approve", {}, 409, "count-outdated")

    assert refused["units"] == [sacks[0]]
    assert [left(api, sack) for sack in sacks] == before


def test_moisture_explains_a_part_of_the_variance_and_changes_no_mass(
    api: Api, staff: dict[str, Api]
) -> None:
    # FAO and ICO, Good hygiene practices along the coffee chain, Determination of moisture content:
    # 1000 kg at 12 % dried to 9 % weigh 967 kg.
    dry = sack_codes(receive(api, 1000, lot="DRY", moisture_pct=12))
    once = sack_codes(receive(api, 60, lot="ONCE", moisture_pct=12))
    noor = staff["warehouse"]
    noor.post("/readings", {"subject": "DRY", "kind": "moisture", "value": 9})
    noor.post("/readings", {"subject": dry[0], "kind": "moisture", "value": 12})  # of one sack
    for number, lot in enumerate(("DRY", "ONCE"), 1):
        noor.post("/counts", {"lot": lot})
        [sack] = dry if lot == "DRY" else once
        count(noor, number, {"sack": sack, "kg": 960 if lot == "DRY" else 59})
        noor.post(f"/counts/{number}/close", {})
    noor.post("/readings", {"subject": "DRY", "kind": "moisture", "value": 8})  # after it ended

    [line] = api.get("/counts/1")["figures"]["sacks"]
    total = api.get("/counts/2")["figures"]["total"]

    explained = [line[f"{name}_kg"] for name in ("variance", "explained", "remaining")]
    assert explained == [-40, kg("-32.967"), kg("-7.033")]
    assert (total["variance_kg"], total["explained_kg"], total["remaining_kg"]) == (-1, None, None)
    assert left(api, dry[0]) == 1000
    staff["quality"].post("/counts/1/approve", {})
    assert left(api, dry[0]) == 960


@pytest.mark.parametrize("flaw", ["another method", "voided"])
def test_readings_that_cannot_be_compared_explain_nothing(
    api: Api, staff: dict[str, Api], flaw: str
) -> None:
    [sack] = sack_codes(receive(api, 1000, lot="DRY", moisture_pct=12))
    noor = staff["warehouse"]
    reading = {"subject": "DRY", "kind": "moisture", "value": 9}
    if flaw == "another method":
        noor.post("/readings", reading | {"method": "ISO 6673"})
    else:
        number = noor.post("/readings", reading)["id"]
        noor.post(f"/readings/{number}/void", {"reason": "the cup was not dry"})
    noor.post("/counts", {"lot": "DRY"})
    count(noor, 1, {"sack": sack, "kg": 960})
    noor.post("/counts/1/close", {})

    [line] = api.get("/counts/1")["figures"]["sacks"]

    assert (line["variance_kg"], line["explained_kg"], line["remaining_kg"]) == (-40, None, None)


def test_two_who_approve_at_once_book_once(
    service: FastAPI,
    staff: dict[str, Api],
    sacks: list[str],
    engine: Engine,
    book_is_sound: Callable[[], None],
) -> None:
    noor = staff["warehouse"]
    noor.post("/counts", {"lot": "GL-1"})
    count(noor, 1, {"sack": sacks[0], "kg": 19})
    noor.post("/counts/1/close", {})
    with writing(engine) as session:
        tokens = [add_token(session, f"approver {n}", [Role.QUALITY]) for n in range(4)]

    with served(service) as address, ExitStack() as lines:
        people = [lines.enter_context(Wire(address, token)) for token in tokens]
        answers = at_once([partial(each.post, "/counts/1/approve", {}) for each in people])

    assert Counter(answer.status_code for answer in answers) == {201: 1, 409: 3}
    for answer in answers:
        if answer.status_code == 409:
            problem(answer, 409, "already-done")
    assert left(noor, sacks[0]) == 19
    assert len(noor.get("/adjustments")["items"]) == 1
    book_is_sound()


def test_counts_are_listed_by_how_far_they_have_come(
    staff: dict[str, Api], sacks: list[str]
) -> None:
    assert sacks
    noor, ilse = staff["warehouse"], staff["quality"]
    for _ in range(4):
        noor.post("/counts", {"lot": "GL-1"})
    for number in (2, 3):
        noor.post(f"/counts/{number}/close", {})
    ilse.post("/counts/3/approve", {})
    ilse.post("/counts/4/reject", {"reason": "not today"})

    def listed(status: str) -> list[int]:
        found = noor.get(f"/counts?status={status}")["items"]
        assert {each["status"] for each in found} == {status}
        return [each["id"] for each in found]

    assert {name: listed(name) for name in ("open", "closed", "approved", "rejected")} == {
        "open": [1], "closed": [2], "approved": [3], "rejected": [4],
    }  # fmt: skip
    assert len(noor.get("/counts")["items"]) == 4


def test_an_upward_correction_stands_however_little_the_place_takes(
    api: Api, staff: dict[str, Api], sacks: list[str]
) -> None:
    api.send("PATCH", "/locations/B-02", {"capacity_kg": 60}, If_Match="*")
    noor = staff["warehouse"]
    noor.post("/counts", {"location": "B-02"})
    count(noor, 1, {"sack": sacks[0], "kg": 21})
    noor.post("/counts/1/close", {})

    staff["quality"].post("/counts/1/approve", {})

    assert api.get("/locations/B-02")["free_kg"] == -1


@pytest.mark.parametrize(
    ("role", "counts", "approves"),
    [("warehouse", True, False), ("roaster", True, False), ("quality", True, True),
     ("buyer", False, True)],
)  # fmt: skip
def test_counting_and_approving_are_given_to_roles(
    staff: dict[str, Api], role: str, counts: bool, approves: bool
) -> None:
    opened = staff[role].send("POST", "/counts", {})
    approved = staff[role].send("POST", "/counts/9/approve", {})

    assert (opened.status_code != 403, approved.status_code != 403) == (counts, approves)


def test_a_line_is_not_from_before_the_sack_came(staff: dict[str, Api], sacks: list[str]) -> None:
    noor = staff["warehouse"]
    noor.post("/counts", {"lot": "GL-1"})
    lines = {"lines": [{"sack": sacks[0], "kg": 10}], "counted_at": "2026-03-02T07:59:59Z"}

    refused = noor.refuse("/counts/1/lines", lines, 422, "invalid")

    assert refused["errors"][0]["pointer"] == "#/counted_at"


def test_a_sack_that_was_voided_while_it_was_counted_drops_out(
    api: Api, staff: dict[str, Api], book_is_sound: Callable[[], None]
) -> None:
    kept = sack_codes(receive(api, 60, lot="KEPT"))[0]
    gone = sack_codes(receive(api, 60, lot="GONE"))[0]
    api.post("/moves", {"sacks": [kept, gone], "to": "B-02"})
    noor = staff["warehouse"]
    noor.post("/counts", {"location": "B-02"})
    count(noor, 1, {"sack": kept, "kg": 59}, {"sack": gone, "kg": 58})
    api.post("/units/GONE/void", {"reason": "entered twice"})
    sheet = noor.get("/counts/1/sheet")["sacks"]
    noor.post("/counts/1/close", {})

    staff["quality"].post("/counts/1/approve", {})

    assert [line["sack"] for line in sheet] == [kept]
    assert left(api, kept) == 59
    book_is_sound()


def test_of_two_lines_that_one_stands_which_was_counted_later_whenever_it_was_entered(
    api: Api, staff: dict[str, Api], sacks: list[str]
) -> None:
    noor = staff["warehouse"]
    noor.post("/counts", {"lot": "GL-1"})
    later, earlier = "2026-03-03T10:00:00Z", "2026-03-03T09:00:00Z"
    for kilograms, at in ((18, later), (15, earlier)):
        lines = [{"sack": sacks[0], "kg": kilograms}]
        noor.post("/counts/1/lines", {"lines": lines, "counted_at": at})
    noor.post("/counts/1/close", {})

    [line] = api.get("/counts/1")["figures"]["sacks"]

    assert (line["counted_kg"], line["counted_at"]) == (18, later)
