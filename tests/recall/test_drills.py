"""A recall rehearsed: drawn at random, traced both ways, timed, and signed off by somebody else."""

from collections import Counter
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from app.recall.drills.rules import choose, goal_met, is_overdue, lacking, minutes_taken, next_due
from tests.api import Api, kg
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


@pytest.mark.parametrize(("hours", "minutes", "met"), [(3, 59, True), (4, 0, True), (4, 1, False)])
def test_four_hours_is_the_usual_goal(hours: int, minutes: int, met: bool) -> None:
    # A sample site procedure for the traceability exercise of a food-safety audit scheme.
    taken = timedelta(hours=hours, minutes=minutes)

    assert goal_met(START, START + taken, 240) is met


def test_minutes_are_told_to_a_tenth() -> None:
    assert minutes_taken(START, START + timedelta(minutes=7, seconds=15)) == Decimal("7.2")


@pytest.mark.parametrize(
    ("last", "due"),
    [
        (date(2025, 11, 24), date(2026, 11, 24)),
        (date(2024, 2, 29), date(2025, 2, 28)),
        (date(2025, 12, 31), date(2026, 12, 31)),
    ],
)
def test_a_drill_is_due_when_the_last_one_is_twelve_months_old(last: date, due: date) -> None:
    # Yearly: the same procedure. A drill of 366 days ago is overdue, in a leap year too.
    assert next_due(last, 12) == due
    assert is_overdue(due, last, 12)
    assert is_overdue(last + timedelta(days=366), last, 12)
    assert not is_overdue(due - timedelta(days=1), last, 12)


def test_without_any_drill_one_is_due() -> None:
    assert next_due(None, 12) is None
    assert is_overdue(date(2026, 3, 2), None, 12)


def test_a_record_without_both_directions_and_an_end_lacks_something() -> None:
    # The same procedure: both directions, quantities, start and end time.
    assert lacking(forward=True, backward=True, completed=True) == []
    assert len(lacking(forward=False, backward=False, completed=False)) == 3


def test_what_is_rare_is_drawn_as_often_as_what_is_common() -> None:
    groups = {"common": list(range(1, 100)), "rare": [100], "empty": []}

    drawn = Counter(choose(groups, seed, "pack") == 100 for seed in range(2000))

    assert 900 < drawn[True] < 1100
    assert choose(groups, 7, "pack") == choose(dict(reversed(groups.items())), 7, "pack")
    assert choose({"empty": []}, 7, "pack") is None


@pytest.fixture
def roastery(api: Api, book_is_sound: Callable[[], None]) -> Api:
    furnish(api)
    (sack,) = sack_codes(receive(api, 60, lot="LOT-A"))
    roast(api, {sack: 30}, kg("25.5"), code="RB-1")
    pack(api, {"RB-1": 20}, 80, code="PK-1")
    dispatch(api, {"PK-1": 12}, code="DS-1")
    book_is_sound()
    return api


def test_a_drill_traces_both_ways_and_tells_nobody(
    roastery: Api, api_as: Callable[..., Api]
) -> None:
    quality = api_as("quality")
    drawn = quality.post("/drills/pick", {"seed": 7})
    begun = quality.post("/drills", {"code": "DR-1", "pick": drawn["id"]})

    assert (drawn["lot"], drawn["pack"], drawn["seed"]) == ("LOT-A", "PK-1", 7)
    forward, backward = begun["forward"], begun["backward"]
    assert (forward["made_bags"], forward["sent_bags"], forward["customers"]) == (80, 12, 1)
    assert (forward["accounted_pct"], forward["contact_pct"]) == (100, 100)
    assert (backward["lots"], backward["suppliers"], backward["accounted_pct"]) == (1, 1, 100)
    assert begun["lacks"] == ["the time at which the report was complete"]
    assert {each["gap"]: each["named"] for each in begun["gaps"]} == {
        "packs without packing material": ["PK-1"],
        "runs without machine": ["PK-1"],
        "dispatches without reference": ["DS-1"],
    }
    stopped = quality.post("/recalls/DR-1/stop", {})
    told = {"customer": "Café Nord", "how": "email"}
    quality.refuse("/recalls/DR-1/notices", told, 409, "drill")
    quality.refuse("/recalls/DR-1/close", {"reason": "x"}, 409, "drill")
    assert (stopped["rehearsed"], stopped["hold"]) == (True, None)
    assert "PK-1" in {each["code"] for each in stopped["held"]}
    assert not roastery.get("/packs/PK-1")["held"]

    done = quality.post("/drills/DR-1/complete", {"gaps": ["nobody knew where the film lies"]})

    assert (done["complete"], done["goal_met"], done["state"]) == (True, True, "closed")
    assert done["own_gaps"] == ["nobody knew where the film lies"]
    quality.refuse("/drills/DR-1/complete", {}, 409, "already-done")
    quality.refuse("/drills/DR-1/sign-off", {}, 409, "own-drill")
    signed = roastery.post("/drills/DR-1/sign-off", {"note": "seen"})
    assert signed["signed_off_by"] == "admin"
    roastery.refuse("/drills/DR-1/sign-off", {}, 409, "already-done")
    listed = roastery.get("/drills")
    assert [(each["code"], each["goal_met"]) for each in listed["items"]] == [("DR-1", True)]
    assert (listed["due"]["overdue"], listed["trend"][0]["contact_pct"]) == (False, 100)


def test_a_completed_drill_stays_as_it_was_and_half_a_drill_does_not_count(roastery: Api) -> None:
    roastery.post("/drills", {"code": "DR-1", "lot": "LOT-A"})
    roastery.refuse("/drills/DR-1/sign-off", {}, 409, "recall-state")
    done = roastery.post("/drills/DR-1/complete", {})

    dispatch(roastery, {"PK-1": 3}, code="DS-2")

    assert roastery.get("/drills/DR-1") == done
    assert done["lacks"] == ["a pack traced backward, with quantities"]
    due = roastery.get("/drills")["due"]
    assert (due["overdue"], due["next_due_on"], due["last_completed_at"]) == (True, None, None)


def test_a_draw_is_repeated_by_its_seed_on_the_book_of_then(roastery: Api) -> None:
    first = roastery.post("/drills/pick", {})
    for number in range(5):
        receive(roastery, 60, lot=f"LOT-B{number}")

    again = roastery.post("/drills/pick", {"seed": first["seed"], "at_entry": first["at_entry"]})
    later = roastery.post("/drills/pick", {"seed": first["seed"]})

    assert (again["lot"], again["pack"], again["lots"]) == (first["lot"], first["pack"], 1)
    assert later["lots"] == 6
    assert len(roastery.get("/drills/picks")["items"]) == 3
    roastery.refuse("/drills/pick", {"at_entry": 2**30}, 422, "invalid")


def test_a_lot_of_packing_material_is_drawn_as_well_and_can_be_traced(roastery: Api) -> None:
    for material, kind in (("BAG-250", "bag"), ("LABEL-9", "label")):
        roastery.post(
            "/materials", {"code": material, "name": material, "kind": kind, "unit": "piece"}
        )
    for lot, material in (("PK-7781", "BAG-250"), ("LB-1", "LABEL-9"), ("UNUSED", "LABEL-9")):
        roastery.post("/material-lots", {"code": lot, "material": material, "quantity": 100})
    before = roastery.post("/drills/pick", {"seed": 3})
    used = [{"lot": "PK-7781"}, {"lot": "LB-1"}]
    pack(roastery, {"RB-1": 5}, 20, code="PK-2", materials=used)
    dispatch(roastery, {"PK-2": 5}, code="DS-2")

    draws = [roastery.post("/drills/pick", {"seed": seed}) for seed in range(12)]
    drawn = draws[0]
    begun = roastery.post(
        "/drills", {"code": "DR-1", "pick": drawn["id"], "traced": "material_lot"}
    )

    assert (before["material_lot"], before["material_lots"]) == (None, 0)
    assert {each["material_lot"] for each in draws} == {"PK-7781", "LB-1"}
    assert drawn["material_lots"] == 2
    assert roastery.get("/drills/picks")["items"] == [before, *draws], "the same for ever"
    forward = begun["forward"]
    assert (begun["lot"], forward["lot"]) == (None, drawn["material_lot"])
    assert (forward["made_bags"], forward["sent_bags"], forward["customers"]) == (20, 5, 1)
    assert begun["backward"]["pack"] == drawn["pack"]
    done = roastery.post("/drills/DR-1/complete", {})
    assert done["complete"]
    own = roastery.post("/drills", {"material_lot": "LB-1", "pack": "PK-1"})
    assert own["forward"]["lot"] == "LB-1"
    none = {"pick": before["id"], "traced": "material_lot"}
    roastery.refuse("/drills", none, 422, "invalid")
    roastery.refuse("/drills", {"material_lot": "LB-1", "lot": "LOT-A"}, 422, "invalid")


def test_a_drill_that_names_nothing_is_not_begun(api: Api) -> None:
    api.refuse("/drills/pick", {}, 404, "not-found")
    api.refuse("/drills", {}, 422, "invalid")
    api.refuse("/drills", {"pick": 1}, 422, "unknown-reference")
    api.refuse("/drills", {"lot": "NONE-1"}, 404, "unknown-code")

    assert api.get("/drills")["items"] == []
    assert api.get("/recalls")["items"] == []
