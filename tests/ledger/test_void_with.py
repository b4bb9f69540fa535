"""Undoing an act with all that was made from it: what somebody saw listed, and nothing else."""

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest

from tests.api import Api, kg
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes
from tests.serving import Wire, at_once


@pytest.fixture
def tree(api: Api, book_is_sound: Callable[[], None]) -> Any:
    """Two roasts, two packs, a dispatch of both with bags of each that came back, one sent on."""
    furnish(api)
    lot = receive(api, 60, 60, lot="GL-1")
    one, other = sack_codes(lot)
    draws = [{"sack": one, "kg": kg("59.5"), "emptied": True}]
    body = {"machine": "DRUM-75", "code": "R-A", "draws": draws, "end_kg": 50}
    api.post("/roasts", body | {"profile_hit": True, "colour": 60, "colour_target": 60})
    roast(api, {other: 20}, 17, code="R-B")
    blend(api, {"R-A": 10, "R-B": 5}, code="B-A")
    pack(api, {"B-A": 5}, 20, code="P-A")
    pack(api, {"R-B": 5}, 20, code="P-B")
    dispatch(api, {"P-A": 10, "P-B": 10}, code="D-A")
    lines = [{"pack": "P-B", "bags": 2}, {"pack": "P-A", "bags": 3}]
    api.post("/returns", {"dispatch": "D-A", "lines": lines, "reason": "late", "code": "T-B"})
    came = api.get("/returns")["items"][1]["code"]
    api.post("/holds/1/release", {"reason": "as new"})
    dispatch(api, {"T-B": 1}, code="D-B")
    yield {"one": one, "other": other, "came": came}
    book_is_sound()


def void(api: Api, code: str, *named: str) -> Any:
    return api.post(f"/units/{code}/void", {"reason": "wrong sack", "with": list(named)})


def refused(api: Api, code: str, *named: str) -> Any:
    asked = {"reason": "wrong sack", "with": list(named)}
    return api.refuse(f"/units/{code}/void", asked, 409, "has-dependants")


def left(api: Api, code: str) -> Any:
    return api.get(f"/units/{code}")["left_kg"]


def all_of(tree: dict[str, str]) -> list[str]:
    """All that was made of the first roast: by way of the dispatch the other pack's bags too."""
    return ["D-B", tree["came"], "T-B", "D-A", "P-A", "B-A"]


def test_all_that_was_made_goes_with_it_in_one_entry_and_everything_is_given_back(
    api: Api, tree: dict[str, str]
) -> None:
    before = len(api.get("/entries?limit=500")["items"])

    said = void(api, "R-A", *all_of(tree))

    assert said["voided"] == ["R-A", *all_of(tree)]
    assert said["given_back_kg"] == {tree["one"]: 60, "R-B": 5, "P-B": kg("2.5")}
    assert len(api.get("/entries?limit=500")["items"]) == before + 1
    assert left(api, tree["one"]) == 60
    assert {code: left(api, code) for code in ("R-B", "P-B", *all_of(tree))} == {
        "R-B": 12, "P-B": 5, **dict.fromkeys(all_of(tree), 0),
    }  # fmt: skip


def test_the_list_may_come_in_any_order_and_is_empty_where_nothing_was_made(
    api: Api, tree: dict[str, str]
) -> None:
    void(api, "D-B")
    void(api, "P-A", *sorted({*all_of(tree)} - {"D-B", "P-A", "B-A"}))

    assert (left(api, "B-A"), left(api, "P-B")) == (15, 5)


def test_less_or_more_than_is_there_is_refused_naming_what_is_there_now(
    api: Api, tree: dict[str, str]
) -> None:
    known = all_of(tree)

    less = refused(api, "R-A", *known[1:])
    more = refused(api, "R-A", *known, "P-B")
    none = refused(api, "R-A")

    assert (less["dependants"], less["missing"], less["surplus"]) == (known, ["D-B"], [])
    assert (more["missing"], more["surplus"]) == ([], ["P-B"])
    assert none["missing"] == known
    assert "D-B" in less["detail"]
    assert left(api, "R-A") == 40


def test_a_pack_made_between_looking_and_voiding_stops_the_void(
    api: Api, tree: dict[str, str]
) -> None:
    seen = all_of(tree)
    pack(api, {"R-A": 1}, 4, code="P-LATE")

    refusal = refused(api, "R-A", *seen)

    assert refusal["missing"] == ["P-LATE"]
    assert left(api, "R-A") == 39


def test_a_lot_goes_with_everything_unless_a_sack_was_adjusted_by_itself(
    api: Api, tree: dict[str, str]
) -> None:
    everything = [*all_of(tree)[:-1], "P-B", "B-A", "R-B", "R-A"]
    born = sorted(everything, key=lambda code: api.get(f"/units/{code}")["recorded_at"])
    api.post("/adjustments", {"unit": tree["other"], "kg": kg("-0.3"), "reason": "sample"})
    adjusted = refused(api, "GL-1", *born)
    api.post("/adjustments", {"unit": tree["other"], "kg": kg("0.3"), "reason": "other"})

    said = void(api, "GL-1", *born)

    assert adjusted["dependants"] == [tree["other"]]
    assert said["voided"][:3] == ["GL-1", tree["one"], tree["other"]]
    assert said["given_back_kg"] == {}
    assert {unit["voided"] for unit in map(partial(shown, api), [*born, "GL-1"])} == {True}


def test_what_a_void_would_take_is_listed_before_and_is_what_it_then_takes(
    api: Api, tree: dict[str, str]
) -> None:
    api.post("/holds", {"units": ["P-A"], "reason": "a wrong label"})
    net = {"weights_g": [250] * 20, "batch_bags": 20}
    api.post("/packs/P-A/check-weighings", net)

    seen = api.get("/units/R-A/impact")

    assert (seen["with"], seen["goes_with"]) == (all_of(tree), [])
    assert seen["plain_void"]["problem"] == "has-dependants"
    assert seen["void_with"] == {"accepted": True, "problem": None, "detail": None}
    units = {unit["code"]: unit for unit in seen["units"]}
    assert list(units) == all_of(tree)
    assert (units["D-A"]["customer"], units["D-A"]["bags"], units["D-A"]["left_kg"]) == (
        "Café Nord", 20, kg("3.75"),
    )  # fmt: skip
    assert (units["P-A"]["check_weighings"], units["P-A"]["held"]) == (1, True)
    assert seen["customers"] == [{
        "customer": "Café Nord", "contact": "Ida, +49 000 1234", "dispatches": ["D-A", "D-B"],
        "bags": 21, "kg": kg("5.25"),
    }]  # fmt: skip
    assert [hold["units"] for hold in seen["holds"]] == [["P-A"]]
    said = void(api, "R-A", *seen["with"])
    assert said["given_back_kg"] == seen["given_back_kg"]


def test_the_impact_says_where_not_even_all_together_could_be_voided(
    api: Api, tree: dict[str, str]
) -> None:
    api.post("/adjustments", {"unit": tree["other"], "kg": kg("-0.3"), "reason": "sample"})

    of_lot, of_sack = api.get("/units/GL-1/impact"), api.get(f"/units/{tree['one']}/impact")
    of_bags = api.get("/units/D-B/impact")

    assert of_lot["goes_with"] == [tree["one"], tree["other"]]
    assert (of_lot["void_with"]["problem"], of_lot["given_back_kg"]) == ("has-dependants", {})
    assert tree["other"] in of_lot["void_with"]["detail"]
    assert (of_sack["void_with"]["problem"], of_sack["with"]) == (
        "not-voidable",
        [*all_of(tree), "R-A"],
    )
    assert (of_bags["plain_void"]["accepted"], of_bags["given_back_kg"]) == (
        True, {"T-B": kg("0.25")},
    )  # fmt: skip
    void(api, "D-B")
    assert api.get("/units/D-B/impact")["plain_void"]["problem"] == "not-voidable"


def shown(api: Api, code: str) -> Any:
    return api.get(f"/units/{code}")


def test_a_pack_and_the_void_of_its_roast_at_once_leave_a_book_that_fits(
    wire: Wire, sack: str
) -> None:
    draws = {"machine": "DRUM-75", "draws": [{"sack": sack, "kg": 1}], "end_kg": 1} | {
        "profile_hit": True, "colour": 60, "colour_target": 60, "loss_range_pct": [0, 25],
    }  # fmt: skip
    for _ in range(5):
        batch = wire.post("/roasts", draws).json()["code"]
        parts = {"product": "HOUSE-250", "from": [{"unit": batch, "kg": 1}], "bags": 4}
        asked = {"reason": "a slip", "with": []}

        packed, voided = at_once([
            partial(wire.post, "/packs", parts),
            partial(wire.post, f"/units/{batch}/void", asked),
        ])  # fmt: skip

        codes = (packed.status_code, voided.status_code)
        assert codes in {(201, 409), (409, 201)}
        lost = voided if packed.status_code == 201 else packed
        wanted = "has-dependants" if lost is voided else "voided"
        assert lost.json()["type"] == f"/problems/{wanted}"
