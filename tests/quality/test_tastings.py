"""What a tasting decides: release, blend in, rework, reject, scrap; and that a reject stays out."""

import random
from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy import Engine, select
from sqlmodel import col

from app.ledger.tables import Unit
from app.quality.tables import Cupping, Verdict
from app.shared.db import writing
from tests.api import Api, kg
from tests.makers import blend, furnish, pack, receive, roast, sack_codes

USABLE = {"passed", "released"}
DECIDES = {
    "release": "released", "blend_in": "blend_in", "rework": "rework", "reject": "rejected",
    "scrap": "scrapped",
}  # fmt: skip
WIDEST_FIRST = ["passed", "released", "blend_in", "rework", "rejected", "scrapped"]


@pytest.fixture(autouse=True)
def _furnished(api: Api) -> None:
    furnish(api)


def made(api: Api, code: str, kilograms: int = 36, **more: Any) -> str:
    """Roast 30 kg under this code."""
    sack = sack_codes(receive(api, 60))[0]
    roast(api, {sack: kilograms}, 30, code=code, **more)
    return code


def taste(api: Api, code: str, verdict: str, **more: Any) -> dict[str, Any]:
    reason = {} if verdict in {"release", "reject"} else {"reason": "thin and papery"}
    cupped: dict[str, Any] = api.post(
        f"/roasts/{code}/cuppings", {"verdict": verdict} | reason | more
    )
    return cupped


def parts(**kilograms: Any) -> list[dict[str, Any]]:
    return [{"unit": unit.replace("_", "-"), "kg": mass} for unit, mass in kilograms.items()]


@pytest.mark.parametrize("verdict", ["blend_in", "rework", "scrap"])
def test_a_verdict_between_needs_its_reason(api: Api, verdict: str) -> None:
    made(api, "R-1")

    for without in ({}, {"reason": " "}):
        asked = {"verdict": verdict} | without
        [error] = api.refuse("/roasts/R-1/cuppings", asked, 422, "invalid")["errors"]
        assert error["pointer"] == "#/reason"

    assert api.get("/roasts/R-1/cuppings")["items"] == []
    assert api.get("/roasts/R-1")["disposition"] == "passed"


@pytest.mark.parametrize(
    "more",
    [{"at_most_pct": 0}, {"at_most_pct": 101}, {"verdict": "release", "at_most_pct": 5},
     {"cuppers": []}, {"cuppers": ["Ida", "ida"]}, {"verdict": "keep"}],
)  # fmt: skip
def test_a_tasting_that_makes_no_sense_is_refused(api: Api, more: dict[str, Any]) -> None:
    made(api, "R-1")
    whole = {"verdict": "blend_in", "reason": "thin"} | more

    [error] = api.refuse("/roasts/R-1/cuppings", whole, 422, "invalid")["errors"]

    assert error["pointer"] == f"#/{[*more][-1]}"
    assert api.get("/roasts/R-1/cuppings")["items"] == []


def test_whoever_tasted_is_named(api: Api) -> None:
    made(api, "R-1")

    alone = taste(api, "R-1", "release")
    table = taste(api, "R-1", "blend_in", cuppers=["Ida", "Noor"], at_most_pct=kg("12.5"))

    assert (alone["cuppers"], alone["reason"], alone["at_most_pct"]) == (["admin"], None, None)
    assert table["cuppers"] == ["Ida", "Noor"]
    assert (table["disposition"], table["at_most_pct"]) == ("blend_in", kg("12.5"))
    assert api.get("/roasts/R-1/cuppings")["items"] == [alone, table]


def test_a_tasting_booked_before_cuppers_were_named_was_by_whoever_booked_it(
    api: Api, engine: Engine
) -> None:
    made(api, "R-1")
    with writing(engine) as session:
        unit = session.scalars(select(Unit).where(col(Unit.code) == "R-1")).one()
        session.add(Cupping(unit_id=unit.id, verdict=Verdict.REJECT, entry_id=unit.born_entry_id))

    (shown,) = api.get("/roasts/R-1/cuppings")["items"]

    assert (shown["cuppers"], shown["reason"], shown["scrapped_kg"]) == (["admin"], None, None)
    assert api.get("/roasts/R-1")["disposition"] == "rejected"


def test_coffee_to_blend_in_goes_into_blends_up_to_its_share(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    # 20 % unless the tasting says otherwise, the limit included: our rule.
    made(api, "R-1")
    made(api, "R-2")
    taste(api, "R-1", "blend_in")

    bags = {"product": "HOUSE-250", "bags": 4, "from": parts(R_1=1)}
    straight = api.refuse("/packs", bags, 409, "tasting-limits-use")
    too_much = {"parts": parts(R_1=kg("5.001"), R_2=20)}
    refused = api.refuse("/blends", too_much, 409, "tasting-limits-use")
    mixed = blend(api, {"R-1": 5, "R-2": 20})

    assert straight["units"] == ["R-1"]
    assert "R-1 goes into blends alone, at most 20.0 % of each" in straight["detail"]
    assert (refused["at_most_pct"], refused["share_pct"]) == (20, kg("20.003200"))
    assert pack(api, {mixed["code"]: 25}, bags=100)["bags"] == 100
    assert api.get("/roasts/R-1")["left_kg"] == 25
    assert [row["at_most_pct"] for row in api.get("/roasts?disposition=blend_in")["items"]] == [20]
    book_is_sound()


def test_coffee_for_rework_goes_into_the_rework_of_a_recipe_alone(api: Api) -> None:
    made(api, "R-1", style="House")
    made(api, "R-2", style="House")
    whole = [{"name": "House", "share_pct": 100}]
    api.post("/recipes", {"name": "Base", "components": whole, "rework_at_most_pct": 5})
    taste(api, "R-1", "rework")
    named = {"recipe": "Base", "parts": parts(R_1=1, R_2=19)}

    bags = {"product": "HOUSE-250", "bags": 4, "from": parts(R_1=1)}
    straight = api.refuse("/packs", bags, 409, "tasting-limits-use")
    api.refuse("/blends", {"parts": parts(R_1=1, R_2=19)}, 409, "tasting-limits-use")
    api.refuse("/blends", named | {"recipe": "a word"}, 409, "tasting-limits-use")
    as_coffee = [{"unit": "R-1", "kg": 1, "component": "House"}, *parts(R_2=19)]
    astray = api.refuse("/blends", named | {"parts": as_coffee}, 409, "tasting-limits-use")
    beyond = named | {"parts": parts(R_1=kg("1.001"), R_2=19)}
    api.refuse("/blends", beyond, 409, "off-recipe")
    mixed = api.post("/blends", named)

    assert "R-1 goes into blends as rework alone" in straight["detail"]
    assert astray["units"] == ["R-1"]
    assert [part["component"] for part in mixed["parts"]] == ["rework", "House"]
    assert api.get(f"/blends/{mixed['code']}") == mixed


def test_scrapping_books_off_what_is_left_and_is_for_good(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    made(api, "R-1")
    pack(api, {"R-1": 10}, bags=40)

    scrapped = taste(api, "R-1", "scrap", notes="mouldy")

    assert (scrapped["disposition"], scrapped["scrapped_kg"]) == ("scrapped", 20)
    assert api.get("/roasts/R-1")["left_kg"] == 0
    booked = api.get("/adjustments?unit=R-1")["items"]
    assert [(line["kg"], line["reason"], line["note"]) for line in booked] == [
        (-20, "destroyed", "thin and papery")
    ]
    assert api.get("/entries?limit=500")["items"][-1]["kind"] == "cupping"
    for verdict in DECIDES:
        body = {"verdict": verdict, "reason": "again"}
        api.refuse("/roasts/R-1/cuppings", body, 409, "not-set-aside")
    api.post("/adjustments", {"unit": "R-1", "kg": 1, "reason": "count"})
    api.refuse("/blends", {"parts": parts(R_1=1)}, 409, "not-released")
    assert api.get("/roasts/R-1/cuppings")["items"] == [scrapped]
    book_is_sound()


def test_a_rejected_roast_can_be_scrapped_and_nothing_else(api: Api) -> None:
    made(api, "R-1")
    taste(api, "R-1", "reject")

    body = {"verdict": "rework", "reason": "it is not that bad"}
    refused = api.refuse("/roasts/R-1/cuppings", body, 409, "not-set-aside")

    assert refused["disposition"] == "rejected"
    assert taste(api, "R-1", "scrap")["scrapped_kg"] == 30
    assert [row["code"] for row in api.get("/roasts?disposition=scrapped")["items"]] == ["R-1"]


def test_a_bad_cup_found_late_stops_what_is_left(api: Api) -> None:
    made(api, "R-1")
    taste(api, "R-1", "release")
    first = pack(api, {"R-1": 10}, bags=40)

    taste(api, "R-1", "reject")

    api.refuse(
        "/packs", {"product": "HOUSE-250", "bags": 4, "from": parts(R_1=1)}, 409, "not-released"
    )
    assert api.get("/roasts/R-1")["left_kg"] == 20
    assert api.get(f"/packs/{first['code']}")["bags_left"] == 40


def test_once_some_was_used_a_tasting_narrows_and_does_not_widen(api: Api) -> None:
    made(api, "R-1")
    made(api, "R-2")
    where = "/roasts/R-1/cuppings"
    taste(api, "R-1", "rework")
    taste(api, "R-1", "blend_in", at_most_pct=10)
    mixed = blend(api, {"R-1": 2, "R-2": 18})

    more = {"verdict": "blend_in", "reason": "it is fine", "at_most_pct": 11}
    refused = api.refuse(where, {"verdict": "release"}, 409, "not-set-aside")
    api.refuse(where, more, 409, "not-set-aside")
    api.post(f"/units/{mixed['code']}/void", {"reason": "never mixed"})

    assert refused["made"] == [mixed["code"]]
    assert "blend in, at most 10.0 % of a blend" in refused["detail"]
    assert api.get("/roasts/R-1")["disposition"] == "blend_in"
    assert taste(api, "R-1", "release")["disposition"] == "released"


@pytest.mark.parametrize("seed", range(4))
def test_nothing_is_packed_of_what_the_last_tasting_bars(
    api: Api, seed: int, book_is_sound: Callable[[], None]
) -> None:
    """Whatever tastings and attempts to pack follow each other, the book does as it says."""
    chance = random.Random(seed)  # noqa: S311 - a walk through what can happen, no secret
    made(api, "R-1")
    stands, used, left = "passed", False, 120
    for _ in range(14):
        if chance.random() < 0.5:
            bags = {"product": "HOUSE-250", "bags": 4, "from": parts(R_1=1)}
            answer = api.send("POST", "/packs", bags)
            assert (answer.status_code == 201) is (stands in USABLE), answer.text
            used, left = used or stands in USABLE, left - 4 * (stands in USABLE)
        else:
            verdict = chance.choice(list(DECIDES))
            body = {"verdict": verdict, "reason": "as tasted", "at_most_pct": None}
            answer = api.send("POST", "/roasts/R-1/cuppings", body)
            taken = _follows(stands, DECIDES[verdict], used=used)
            assert (answer.status_code == 201) is taken, answer.text
            stands = DECIDES[verdict] if taken else stands
            left = 0 if stands == "scrapped" else left
        assert api.get("/roasts/R-1")["left_kg"] * 4 == left
        assert api.get("/roasts/R-1")["disposition"] == stands
    book_is_sound()


def _follows(stands: str, then: str, *, used: bool) -> bool:
    if stands in {"rejected", "scrapped"}:
        return (stands, then) == ("rejected", "scrapped")
    return not used or WIDEST_FIRST.index(then) >= WIDEST_FIRST.index(stands)
