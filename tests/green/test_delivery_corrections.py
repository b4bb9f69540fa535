"""A delivery that was booked wrongly, booked anew in one act: lots, sacks, holds and places."""

from collections.abc import Callable
from typing import Any

import pytest
from fastapi import FastAPI

from app.settings import Settings
from tests.api import Api, kg
from tests.green.arrivals.contracted import CONTRACT
from tests.makers import furnish, roast, sack_codes

FIRST = "2026-03-02T08:00:00Z"
AGAIN = {"correction_reason": "two sacks were not counted"}


@pytest.fixture(autouse=True)
def roastery(api: Api, book_is_sound: Callable[[], None]) -> Any:
    furnish(api)
    yield
    book_is_sound()


def body(*lots: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"supplier": "Finca El Roble", "received_at": FIRST, "lots": list(lots)} | more


def lot(code: str, *sacks: Any, **more: Any) -> dict[str, Any]:
    listed = [sack if isinstance(sack, dict) else {"net_kg": sack} for sack in sacks]
    return {"code": code, "name": "Sidama Washed", "origin": "ET", "sacks": listed} | more


def shown(api: Api, code: str) -> Any:
    return api.get(f"/units/{code}")


def test_a_delivery_is_booked_anew_and_every_lot_names_what_it_replaces(api: Api) -> None:
    old = api.post("/deliveries", body(lot("GL-1", 60, 60), lot("GL-2", 69)))
    before = len(api.get("/entries?limit=500")["items"])

    asked = body(lot("GL-11", 60, 60, 60, 60), lot("GL-12", kg("68.5")))
    new = api.post("/deliveries", asked | {"corrects": old["code"]} | AGAIN)

    entries = api.get("/entries?limit=500")["items"]
    assert len(entries) == before + 1
    assert (entries[-1]["kind"], entries[-1]["reverses"]) == (entries[-2]["kind"], before)
    assert [each["received_kg"] for each in new["lots"]] == [240, kg("68.5")]
    assert new == api.get(f"/deliveries/{new['code']}")
    assert [each["voided"] for each in api.get(f"/deliveries/{old['code']}")["lots"]] == [True] * 2
    for code, by in (("GL-1", "GL-11"), ("GL-2", "GL-12")):
        assert (shown(api, code)["replaced_by"], shown(api, by)["replaces"][0]) == (by, code)
    # As many sacks: each is the one of its place. More: nobody can say which is which.
    [old_2], [new_2] = (sack_codes(each["lots"][1]) for each in (old, new))
    assert shown(api, old_2)["replaced_by"] == new_2
    assert shown(api, sack_codes(old["lots"][0])[0])["replaced_by"] == "GL-11"
    assert api.get("/trace/GL-1")["of"]["code"] == "GL-11"
    assert api.get("/lots/GL-1")["on_hand_kg"] == 0
    assert api.get("/lots/GL-11")["on_hand_kg"] == 240
    gone = asked | {"corrects": old["code"]} | AGAIN
    api.refuse("/deliveries", gone, 409, "voided")


def test_one_lot_of_a_delivery_is_corrected_while_the_other_is_roasted_already(api: Api) -> None:
    old = api.post("/deliveries", body(lot("GL-1", 60), lot("GL-2", 60)))
    (used,) = sack_codes(old["lots"][0])
    roast(api, {used: 30}, 25, code="R-1", roasted_at="2026-03-03T08:00:00Z")
    right = body(lot("GL-12", kg("59.4")))

    refused = api.refuse(
        "/deliveries", right | {"corrects": old["code"]} | AGAIN, 409, "has-dependants"
    )
    api.post("/deliveries", right | {"corrects": "GL-2"} | AGAIN)

    assert refused["dependants"] == ["R-1"]
    assert [shown(api, code)["voided"] for code in ("GL-1", "GL-2", "GL-12")] == [
        False, True, False,
    ]  # fmt: skip
    sack = sack_codes(old["lots"][1])[0]
    api.refuse("/deliveries", right | {"corrects": sack} | AGAIN, 409, "wrong-kind")
    api.refuse("/deliveries", right | {"corrects": "A-9"} | AGAIN, 404, "unknown-code")


def test_a_mark_may_come_again_with_the_lot_that_had_it(api: Api) -> None:
    mark = {"ico_mark": "010/0123/0456"}
    old = api.post("/deliveries", body(lot("GL-1", 60, **mark)))
    api.refuse("/deliveries", body(lot("GL-2", 60, **mark)), 409, "mark-taken")

    again = {"corrects": old["code"]} | AGAIN
    api.post("/deliveries", body(lot("GL-2", 60, 60, **mark), **again))

    assert api.get("/lots/GL-2")["mark"] == api.get("/lots/GL-1")["mark"] is not None


def test_holds_go_on_but_for_those_of_the_old_arrival(api: Api, service: FastAPI) -> None:
    settings: Settings = service.state.settings
    service.state.settings = settings.model_copy(update={"hold_on_arrival": True})
    old = api.post("/deliveries", body(lot("GL-1", 60, 60), lot("GL-2", 60, 60)))
    api.post("/holds", {"units": [sack_codes(each)[1] for each in old["lots"]], "reason": "musty"})
    service.state.settings = settings

    asked = body(lot("GL-11", 60, 60), lot("GL-12", 60, 60, 60), corrects=old["code"], **AGAIN)
    new = api.post("/deliveries", asked)

    # The second sack of the first lot is known again; of the second lot nobody knows which it is.
    assert [each["held"] for each in new["lots"]] == [False, True]
    held = [api.get(f"/sacks/{code}")["held"] for each in new["lots"] for code in sack_codes(each)]
    assert held == [False, True, True, True, True]


def test_sacks_stand_where_they_stood_unless_the_correction_says_otherwise(api: Api) -> None:
    api.post("/locations", {"code": "FULL-1", "kind": "rack", "capacity_kg": 120})
    racked = [{"net_kg": 60, "location": "FULL-1"}, {"net_kg": 60, "location": "FULL-1"}]
    old = api.post("/deliveries", body(lot("GL-1", *racked)))
    first = sack_codes(old["lots"][0])[0]
    moved = {"sacks": [first], "to": "A-01", "moved_at": "2026-03-05T08:00:00Z"}
    api.post("/moves", moved)

    asked = body(lot("GL-2", 59, {"net_kg": 60, "location": "FULL-1"}), corrects="GL-1", **AGAIN)
    new = api.post("/deliveries", asked)

    assert [sack["location"] for sack in new["lots"][0]["sacks"]] == ["A-01", "FULL-1"]
    stays = api.get("/locations/FULL-1/stays")["items"]
    assert {stay["unit"] for stay in stays} == set(sack_codes(new["lots"][0]))
    assert old["lots"][0]["code"] == "GL-1"


def test_a_sack_that_was_adjusted_by_itself_stops_the_correction(api: Api) -> None:
    old = api.post("/deliveries", body(lot("GL-1", 60)))
    (sack,) = sack_codes(old["lots"][0])
    api.post("/adjustments", {"unit": sack, "kg": -1, "reason": "spill"})

    asked = body(lot("GL-2", 59), corrects=old["code"], **AGAIN)
    refused = api.refuse("/deliveries", asked, 409, "has-dependants")

    assert refused["dependants"] == [sack]
    assert shown(api, "GL-1")["voided"] is False
    lone = body(lot("GL-2", 59), corrects=old["code"])
    api.refuse("/deliveries", lone, 422, "invalid")


def test_a_contract_counts_the_delivery_that_stands(api: Api) -> None:
    api.post("/contracts", CONTRACT | {"reference": "C-1", "quantity_kg": 120})
    old = api.post("/deliveries", body(lot("GL-1", 60), contract="C-1"))

    asked = body(lot("GL-2", 60, 60), contract="C-1", corrects=old["code"], **AGAIN)
    api.post("/deliveries", asked)

    assert api.get("/contracts/C-1")["received_kg"] == 120
