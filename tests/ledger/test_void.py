"""Undoing a mistake: the unit never was, its inputs have back exactly what they gave."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import Engine

from app.ledger.queries import made_of
from app.shared.db import reading
from tests.api import Api, kg, problem
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes


@pytest.fixture
def chain(api: Api, book_is_sound: Callable[[], None]) -> Any:
    """A lot of two sacks, a roast of one, a blend, a pack, a dispatch, and bags that came back."""
    furnish(api)
    lot = receive(api, 60, 60, lot="GL-1")
    one, other = sack_codes(lot)
    roast(api, {one: 60}, 51, code="R-A")
    blend(api, {"R-A": 50}, code="B-A")
    pack(api, {"B-A": kg("49.9")}, 199, code="P-A")
    dispatch(api, {"P-A": 12}, code="D-A")
    back = {"dispatch": "D-A", "lines": [{"pack": "P-A", "bags": 2}], "reason": "torn"}
    api.post("/returns", back | {"code": "T-A"})
    yield {"sack": one, "untouched": other}
    book_is_sound()


def void(api: Api, code: str) -> Any:
    return api.post(f"/units/{code}/void", {"reason": "booked by mistake"})


def refused(api: Api, code: str, slug: str) -> Any:
    return api.refuse(f"/units/{code}/void", {"reason": "booked by mistake"}, 409, slug)


def on_hand(api: Api, sack: str) -> Decimal:
    left: Decimal = api.get(f"/sacks/{sack}")["on_hand_kg"]
    return left


def undo(api: Api, *codes: str) -> None:
    for code in codes:
        void(api, code)


@pytest.mark.usefixtures("chain")
def test_a_return_goes_back_to_the_customer(api: Api) -> None:
    said = void(api, "t-a")

    assert (said["code"], said["kind"], said["voided"]) == ("T-A", "return", ["T-A"])
    sent = api.get("/dispatches/D-A")
    assert (sent["left_kg"], sent["returns"]) == (3, [])
    assert sent["lines"][0]["returned_bags"] == 0
    assert api.get("/packs/P-A")["left_kg"] == kg("46.75")
    assert [line["voided"] for line in api.get("/returns")["items"]] == [True]


def test_all_that_came_back_in_one_return_goes_back_together(api: Api, chain: Any) -> None:
    pack(api, {"R-A": 1}, 4, code="P-B")
    dispatch(api, {"P-A": 2, "P-B": 3}, code="D-B")
    lines = [{"pack": "P-A", "bags": 1}, {"pack": "P-B", "bags": 2}]
    came = api.post("/returns", {"dispatch": "D-B", "lines": lines, "reason": "late"})
    first, second = (line["code"] for line in came["lines"])

    said = void(api, second)

    assert said["voided"] == [first, second]
    assert api.get("/dispatches/D-B")["left_kg"] == kg("1.25")
    assert chain


@pytest.mark.usefixtures("chain")
def test_a_dispatch_gives_its_bags_back(api: Api) -> None:
    void(api, "T-A")

    said = void(api, "D-A")

    assert said["given_back_kg"] == {"P-A": 3}
    assert api.get("/packs/P-A")["bags_left"] == 199
    assert api.get("/dispatches/D-A")["voided"] is True


@pytest.mark.usefixtures("chain")
def test_a_pack_gives_back_what_was_brought_to_the_line_and_not_only_what_is_in_bags(
    api: Api,
) -> None:
    undo(api, "T-A", "D-A")

    said = void(api, "P-A")

    assert said["given_back_kg"] == {"B-A": kg("49.9")}
    assert api.get("/blends/B-A")["left_kg"] == 50


def test_a_blend_gives_its_parts_back(api: Api, chain: dict[str, str]) -> None:
    roast(api, {chain["untouched"]: 20}, 17, code="R-B")
    blend(api, {"R-A": kg("0.4"), "R-B": kg("3.001")}, code="B-B")

    said = void(api, "B-B")

    assert said["given_back_kg"] == {"R-A": kg("0.4"), "R-B": kg("3.001")}
    assert api.get("/roasts/R-A")["left_kg"] == 1
    assert api.get("/roasts/R-B")["left_kg"] == 17


def test_a_roast_gives_back_the_green_and_not_only_what_came_out(
    api: Api, chain: dict[str, str]
) -> None:
    undo(api, "T-A", "D-A", "P-A", "B-A")

    said = void(api, "R-A")

    assert said["given_back_kg"] == {chain["sack"]: 60}
    assert on_hand(api, chain["sack"]) == 60
    assert api.get("/roasts/R-A")["left_kg"] == 0


@pytest.mark.parametrize("drawn", ["59.1", "60", "60.9"])
def test_the_difference_of_an_emptied_sack_is_undone_with_the_roast(
    api: Api, chain: dict[str, str], drawn: str
) -> None:
    sack = chain["untouched"]
    draws = [{"sack": sack, "kg": kg(drawn), "emptied": True}]
    body = {"machine": "DRUM-75", "code": "R-B", "draws": draws, "end_kg": 51}
    api.post("/roasts", body)
    emptied_kg = on_hand(api, sack)

    void(api, "R-B")

    assert emptied_kg == 0
    assert on_hand(api, sack) == 60
    booked = api.get(f"/adjustments?unit={sack}")["items"]
    assert sum(line["kg"] for line in booked) == 0
    assert {line["reason"] for line in booked} <= {"draw_difference"}


def test_a_roast_that_was_adjusted_since_gives_back_what_went_in(
    api: Api, chain: dict[str, str]
) -> None:
    roast(api, {chain["untouched"]: 20}, 17, code="R-B")
    api.post("/adjustments", {"unit": "R-B", "kg": -2, "reason": "spill"})

    void(api, "R-B")

    assert on_hand(api, chain["untouched"]) == 60


def test_an_untouched_lot_goes_with_its_sacks(api: Api, chain: dict[str, str]) -> None:
    lot = receive(api, 30, 30, lot="GL-2")
    api.post("/moves", {"sacks": sack_codes(lot), "to": "B-02"})

    said = void(api, "GL-2")

    assert said["voided"] == ["GL-2", *sack_codes(lot)]
    assert said["given_back_kg"] == {}
    shown = api.get("/lots/GL-2")
    assert (shown["voided"], shown["on_hand_kg"]) == (True, 0)
    assert [on_hand(api, code) for code in sack_codes(lot)] == [0, 0]
    assert on_hand(api, chain["untouched"]) == 60


def test_a_lot_is_untouched_again_once_what_was_made_of_it_is_undone(
    api: Api, chain: dict[str, str]
) -> None:
    undo(api, "T-A", "D-A", "P-A", "B-A", "R-A")

    said = void(api, "GL-1")

    assert said["voided"] == ["GL-1", chain["sack"], chain["untouched"]]


@pytest.mark.parametrize(
    ("code", "dependants"),
    [
        ("GL-1", ["R-A"]),
        ("R-A", ["B-A"]),
        ("B-A", ["P-A"]),
        ("P-A", ["D-A", "T-A"]),
        ("D-A", ["T-A"]),
    ],
)
def test_what_something_was_made_from_is_not_undone_and_the_dependants_are_named(
    api: Api, chain: dict[str, str], code: str, dependants: list[str]
) -> None:
    refusal = refused(api, code, "has-dependants")

    assert refusal["dependants"] == dependants
    assert all(name in refusal["detail"] for name in dependants)
    assert on_hand(api, chain["sack"]) == 0


@pytest.mark.usefixtures("chain")
def test_bags_that_came_back_and_went_out_again_are_dependants_of_the_return(api: Api) -> None:
    api.post("/holds/1/release", {"reason": "as new"})
    dispatch(api, {"T-A": 1}, code="D-B")

    assert refused(api, "T-A", "has-dependants")["dependants"] == ["D-B"]
    void(api, "D-B")
    void(api, "T-A")


@pytest.mark.usefixtures("chain")
def test_a_lot_with_an_adjusted_sack_is_not_undone(api: Api) -> None:
    (sack,) = sack_codes(receive(api, 30, lot="GL-2"))
    api.post("/adjustments", {"unit": sack, "kg": kg("-0.3"), "reason": "sample"})

    assert refused(api, "GL-2", "has-dependants")["dependants"] == [sack]


@pytest.mark.usefixtures("chain")
def test_a_lot_of_more_sacks_than_a_statement_takes_parameters_can_be_looked_through(
    engine: Engine,
) -> None:
    # 32,766 is SQLite's usual limit (sqlite.org/limits.html, section 9), 65,535 PostgreSQL's.
    with reading(engine) as session:
        assert made_of(session, {1, 2, 3, *range(100, 70_000)}) == ["R-A"]


def test_nothing_is_undone_twice(api: Api, chain: dict[str, str]) -> None:
    undo(api, "T-A", "D-A", "P-A", "B-A", "R-A")

    for code in ("T-A", "D-A", "P-A", "B-A", "R-A"):
        assert code in refused(api, code, "not-voidable")["detail"]
    assert on_hand(api, chain["sack"]) == 60


def test_a_single_sack_is_not_undone(api: Api, chain: dict[str, str]) -> None:
    refused(api, chain["untouched"], "not-voidable")

    assert on_hand(api, chain["untouched"]) == 60


@pytest.mark.usefixtures("chain")
def test_undoing_takes_a_reason_and_a_code_that_exists(api: Api) -> None:
    problem(api.send("POST", "/units/T-A/void", {}), 422, "invalid")
    problem(api.send("POST", "/units/T-A/void", {"reason": "  "}), 422, "invalid")
    problem(api.send("POST", "/units/NOPE-1/void", {"reason": "slip"}), 404, "unknown-code")


@pytest.mark.usefixtures("chain")
def test_what_quality_stopped_is_not_undone_past_quality(
    api: Api, api_as: Callable[..., Api], chain: dict[str, str]
) -> None:
    roast(api, {chain["untouched"]: 10}, 8, code="R-HELD")
    roast(api, {chain["untouched"]: 10}, 8, code="R-BAD")
    roast(api, {chain["untouched"]: 10}, 8, code="R-GOOD")
    api.post("/holds", {"units": ["R-HELD"], "reason": "glass"})
    api.post("/roasts/R-BAD/cuppings", {"verdict": "reject"})
    api.post("/roasts/R-GOOD/cuppings", {"verdict": "release"})
    floor, slip = api_as("roaster"), {"reason": "slip"}

    for code in ("R-HELD", "R-BAD"):
        answer = floor.send("POST", f"/units/{code}/void", slip)
        assert problem(answer, 403, "forbidden")["permission"] == "holds:release"
        assert api.get(f"/units/{code}")["voided"] is False
    assert floor.post("/units/R-GOOD/void", slip)["voided"] == ["R-GOOD"]
    quality = api_as("quality", "roaster")
    assert quality.post("/units/R-BAD/void", slip)["voided"] == ["R-BAD"]


def test_who_only_buys_undoes_nothing(api_as: Callable[..., Api]) -> None:
    answer = api_as("buyer").send("POST", "/units/T-A/void", {"reason": "slip"})

    assert problem(answer, 403, "forbidden")["permission"] == "units:void"


def test_a_voided_unit_is_of_no_use_and_its_code_is_not_free(
    api: Api, chain: dict[str, str]
) -> None:
    lot = receive(api, 30, lot="GL-2")
    (sack,) = sack_codes(lot)
    undo(api, "T-A", "D-A", "P-A", "B-A", "R-A", "GL-2")
    untouched = chain["untouched"]
    again = {"machine": "DRUM-75", "draws": [{"sack": untouched, "kg": 20}], "end_kg": 17}
    lines = [{"pack": "P-A", "bags": 1}]
    bodies = {
        "/roasts": {"machine": "DRUM-75", "draws": [{"sack": sack, "kg": 20}], "end_kg": 17},
        "/blends": {"parts": [{"unit": "R-A", "kg": 1}]},
        "/packs": {"product": "HOUSE-250", "from": [{"unit": "B-A", "kg": 1}], "bags": 1},
        "/dispatches": {"customer": "Café Nord", "lines": lines},
        "/returns": {"dispatch": "D-A", "lines": lines, "reason": "torn"},
        "/adjustments": {"unit": "R-A", "kg": 1, "reason": "count"},
        "/moves": {"sacks": [sack], "to": "B-02"},
        "/roasts/R-A/cuppings": {"verdict": "release"},
        "/readings": {"subject": "GL-2", "kind": "moisture", "value": 11},
    }

    for path, body in bodies.items():
        api.refuse(path, body, 409, "voided")
    assert api.send("GET", "/trace/R-A?direction=forward").status_code == 409
    api.refuse("/roasts", again | {"code": "R-A"}, 409, "code-taken")


def test_a_voided_roast_leaves_the_trace_of_its_sack(api: Api, chain: dict[str, str]) -> None:
    undo(api, "T-A", "D-A", "P-A", "B-A", "R-A")

    forward = api.get(f"/trace/{chain['sack']}?direction=forward")

    assert [unit["code"] for unit in forward["units"]] == [chain["sack"]]
    assert forward["customers"] == []


@pytest.mark.usefixtures("chain")
def test_the_journal_says_what_was_undone_and_why(api: Api) -> None:
    booked = api.get("/entries?limit=500")["items"][-1]

    said = void(api, "T-A")

    entry = api.get("/entries?limit=500")["items"][-1]
    assert (entry["id"], entry["kind"]) == (said["entry"], "void")
    assert (booked["kind"], entry["reverses"]) == ("return", booked["id"])
    assert said["reason"] == "booked by mistake"
