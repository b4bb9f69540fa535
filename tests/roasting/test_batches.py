"""Planned batches: what they reserve, and what becomes of it."""

from collections import Counter
from collections.abc import Callable
from decimal import Decimal
from functools import partial
from typing import Any

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as run
from hypothesis import strategies as st

from tests.api import Api, kg, problem
from tests.makers import PASSING, furnish, receive, roast, sack_codes
from tests.serving import Wire, at_once

SACKS = {"GL-1": 60, "GL-2": 30}
STYLE = {
    "name": "Filter", "machine": "DRUM-15", "batch_kg": 12,
    "green": [
        {"share_pct": 75, "lots": ["GL-1"]}, {"share_pct": 25, "lots": ["GL-2", "GL-1"]},
    ],
}  # fmt: skip


@pytest.fixture(autouse=True)
def store(request: pytest.FixtureRequest) -> dict[str, str]:
    """A lot of 60 kg and one of 30, each of one sack; the sacks by their lots."""
    api: Api = request.getfixturevalue("api")
    furnish(api)
    sacks = {lot: sack_codes(receive(api, net, lot=lot))[0] for lot, net in SACKS.items()}
    api.post("/styles", STYLE)
    return sacks


def plan(api: Api, **more: Any) -> list[dict[str, Any]]:
    body = {"on": "2026-11-26", "style": "filter"} | more
    made: list[dict[str, Any]] = api.post("/batches", body)["batches"]
    return made


def of_lot(grams: int, lot: str = "GL-1") -> list[dict[str, Any]]:
    return [{"lot": lot, "kg": Decimal(grams) / 1000}]


def stock(api: Api, lot: str = "GL-1") -> tuple[Any, ...]:
    """Say what of a lot is on hand, available, held, reserved, and reserved and gone."""
    names = ("on_hand_kg", "available_kg", "held_kg", "reserved_kg", "reserved_short_kg")
    found = api.get(f"/lots/{lot}")
    return tuple(found[name] for name in names)


def charge(store: dict[str, str], **kilograms: Any) -> list[dict[str, Any]]:
    return [{"sack": store[lot.replace("_", "-")], "kg": each} for lot, each in kilograms.items()]


def test_a_roast_that_corrects_another_is_of_its_batch(api: Api, store: dict[str, str]) -> None:
    [batch] = plan(api)
    draws = charge(store, GL_1=9, GL_2=3)
    body = {"machine": "DRUM-15", "draws": draws, "end_kg": 10, "style": "Filter"}
    api.post("/roasts", body | {"batch": batch["id"], "code": "R-1", "profile_hit": True})
    mistyped = {"corrects": "R-1", "correction_reason": "10.2 on the scale"}

    made = api.post("/roasts", body | mistyped | {"end_kg": kg("10.2"), "profile_hit": True})

    assert made["batch"] == batch["id"]
    assert api.get(f"/batches/{batch['id']}")["state"] == "roasted"
    assert stock(api)[3] == 0


def test_a_plan_keeps_the_green_of_the_style(api: Api) -> None:
    first, second = plan(api, count=2)

    assert (first["style"], first["machine"], first["charge_kg"]) == ("Filter", "DRUM-15", 12)
    assert first["green"] == [{"lot": "GL-1", "kg": 9}, {"lot": "GL-2", "kg": 3}]
    assert (first["state"], first["roast"], first["on"]) == ("planned", None, "2026-11-26")
    assert stock(api) == (60, 42, 0, 18, 0)
    assert stock(api, "GL-2") == (30, 24, 0, 6, 0)
    assert api.get(f"/batches/{first['id']}") == first
    assert api.get("/batches?state=planned&from=2026-11-26&to=2026-11-26")["items"] == [
        first, second,
    ]  # fmt: skip
    assert api.get("/batches?from=2026-11-27")["items"] == []


@pytest.mark.parametrize(("grams", "taken"), [(60_000, True), (60_001, False)])
def test_no_gram_is_promised_that_is_not_there(api: Api, grams: int, taken: bool) -> None:
    body = {"on": "2026-11-26", "style": "Filter", "machine": "DRUM-75"}

    if taken:
        plan(api, machine="DRUM-75", green=of_lot(grams))
        refused = api.refuse("/batches", body | {"green": of_lot(1)}, 409, "insufficient-stock")
        assert (refused["available_kg"], refused["reserved_kg"]) == (0, 60)
        assert stock(api) == (60, 0, 0, 60, 0)
    else:
        refused = api.refuse("/batches", body | {"green": of_lot(grams)}, 409, "insufficient-stock")
        assert (refused["unit"], refused["asked_kg"], refused["available_kg"]) == (
            "GL-1", kg("60.001"), 60,
        )  # fmt: skip
        assert stock(api) == (60, 60, 0, 0, 0)
        assert api.get("/batches")["items"] == []


def test_what_is_held_cannot_be_promised(api: Api) -> None:
    hold = api.post("/holds", {"units": ["GL-1"], "reason": "musty"})

    body = {"on": "2026-11-26", "style": "Filter"}
    refused = api.refuse("/batches", body | {"green": of_lot(1)}, 409, "insufficient-stock")
    by_style = api.refuse("/batches", body | {"count": 3}, 409, "insufficient-stock")
    held = stock(api)
    api.post(f"/holds/{hold['id']}/release", {"reason": "clean"})

    assert (refused["held_kg"], refused["available_kg"], held) == (60, 0, (60, 0, 60, 0, 0))
    assert by_style["short_kg"] == 27
    assert stock(api) == (60, 60, 0, 0, 0)


def test_a_roast_takes_over_what_was_kept_for_its_batch_alone(
    api: Api, store: dict[str, str], book_is_sound: Callable[[], None]
) -> None:
    first, second = plan(api, count=2)

    made = roast(api, {store["GL-1"]: 11}, 10, batch=first["id"], machine="DRUM-15")

    assert (made["batch"], made["style"], made["warnings"]) == (first["id"], "Filter", [])
    assert api.get(f"/roasts/{made['code']}") == made
    roasted = api.get(f"/batches/{first['id']}")
    assert (roasted["state"], roasted["roast"]) == ("roasted", made["code"])
    # 11 kg came out of the first lot; of both lots only what is kept for the second batch stays so.
    assert stock(api) == (49, 40, 0, 9, 0)
    assert stock(api, "GL-2") == (30, 27, 0, 3, 0)
    assert api.get(f"/batches/{second['id']}")["state"] == "planned"
    book_is_sound()


def test_a_batch_is_roasted_once_and_a_void_opens_it_again(api: Api, store: dict[str, str]) -> None:
    (batch,) = plan(api)
    body = {"machine": "DRUM-15", "end_kg": 10, "batch": batch["id"]} | PASSING
    body |= {"draws": charge(store, GL_1=9, GL_2=3)}
    made = api.post("/roasts", body)

    refused = api.refuse("/roasts", body, 409, "batch-state")
    late = api.refuse(f"/batches/{batch['id']}/cancel", {"reason": "x"}, 409, "batch-state")
    api.post(f"/units/{made['code']}/void", {"reason": "wrong sack"})

    assert (refused["batch"], refused["state"], late["state"]) == (
        batch["id"],
        "roasted",
        "roasted",
    )
    assert api.get(f"/batches/{batch['id']}") == batch
    assert stock(api) == (60, 51, 0, 9, 0)
    assert api.get(f"/roasts/{made['code']}")["batch"] == batch["id"]
    again = api.post("/roasts", body)
    assert api.get(f"/batches/{batch['id']}")["roast"] == again["code"]


def test_a_cancelled_batch_frees_its_green_and_is_not_roasted(
    api: Api, store: dict[str, str]
) -> None:
    (batch,) = plan(api)

    ended = api.post(f"/batches/{batch['id']}/cancel", {"reason": "the order fell away"})
    body = {"machine": "DRUM-15", "end_kg": 10, "draws": charge(store, GL_1=12)}
    refused = api.refuse("/roasts", body | {"batch": batch["id"]}, 409, "batch-state")

    assert (ended["state"], ended["cancelled_reason"]) == ("cancelled", "the order fell away")
    assert refused["state"] == "cancelled"
    assert stock(api) == (60, 60, 0, 0, 0)
    assert api.get("/batches?state=cancelled")["items"] == [ended]
    api.refuse(f"/batches/{batch['id']}/cancel", {"reason": "again"}, 409, "batch-state")
    assert api.get("/roasts")["items"] == []


@pytest.mark.parametrize(
    ("more", "slug", "pointer"),
    [
        ({"batch": 99}, "unknown-reference", "#/batch"),
        ({"batch": 0}, "invalid", "#/batch"),
        ({"batch": 1, "style": "Espresso"}, "invalid", "#/style"),
    ],
)
def test_a_roast_names_a_batch_that_is_there_and_its_style(
    api: Api, store: dict[str, str], more: dict[str, Any], slug: str, pointer: str
) -> None:
    plan(api)
    body = {"machine": "DRUM-15", "end_kg": 10, "draws": charge(store, GL_1=12)}

    refused = api.refuse("/roasts", body | more, 422, slug)

    assert refused["errors"][0]["pointer"] == pointer
    assert stock(api)[0] == 60


def test_a_draw_beside_the_plan_is_booked_and_says_whose_coffee_it_was(
    api: Api, store: dict[str, str]
) -> None:
    plan(api, machine="DRUM-75", green=of_lot(50_000))

    free = roast(api, {store["GL-1"]: 10}, 8)
    eaten = roast(api, {store["GL-1"]: 30}, 25)

    assert free["warnings"][1:] == []  # the first says that the drum is nearly empty
    assert eaten["warnings"] == [
        "30.0 kg of GL-1 were reserved for planned batch 1 (Filter, 2026-11-26)"
    ]
    assert api.get(f"/roasts/{eaten['code']}")["warnings"] == eaten["warnings"]
    assert stock(api) == (20, 0, 0, 20, 30)


def test_another_drum_than_planned_is_pointed_out(api: Api, store: dict[str, str]) -> None:
    (batch,) = plan(api, machine="DRUM-75", charge_kg=40)

    made = roast(api, {store["GL-1"]: 12}, 10, batch=batch["id"], machine="DRUM-15")

    assert made["warnings"] == [f"batch {batch['id']} was planned for DRUM-75, not DRUM-15"]


@pytest.mark.parametrize(
    ("more", "status", "slug"),
    [
        ({"style": "None such"}, 422, "unknown-reference"),
        ({"machine": "TUMBLER"}, 409, "wrong-machine"),
        ({"charge_kg": kg("15.001")}, 409, "over-capacity"),
        ({"charge_kg": 12, "green": [{"lot": "GL-1", "kg": 11}]}, 422, "invalid"),
        ({"green": [{"lot": "GL-1", "kg": 1}] * 2}, 422, "invalid"),
        ({"green": [{"lot": "GL-9", "kg": 12}]}, 404, "unknown-code"),
        ({"count": 0}, 422, "invalid"),
        ({"style": "Bare"}, 422, "invalid"),
        ({"style": "Bare", "charge_kg": 10}, 422, "invalid"),
    ],
)
def test_a_plan_that_makes_no_sense_is_refused(
    api: Api, more: dict[str, Any], status: int, slug: str
) -> None:
    api.post("/styles", {"name": "Bare"})

    api.refuse("/batches", {"on": "2026-11-26", "style": "Filter"} | more, status, slug)

    assert api.get("/batches")["items"] == []
    assert stock(api) == (60, 60, 0, 0, 0)


def test_of_two_plans_for_the_last_kilograms_one_wins(api: Api, wire: Wire) -> None:
    body: dict[str, Any] = {"on": "2026-11-26", "style": "Filter", "machine": "DRUM-75"}
    body |= {"green": of_lot(40_000)}

    answers = at_once([partial(wire.post, "/batches", body)] * 4)

    assert Counter(answer.status_code for answer in answers) == {201: 1, 409: 3}
    for answer in answers:
        assert answer.status_code == 201 or problem(answer, 409, "insufficient-stock")
    assert stock(api) == (60, 20, 0, 40, 0)


def test_planning_is_the_roasters(api_as: Callable[..., Api]) -> None:
    plan(api_as("roaster"))

    body = {"on": "2026-11-26", "style": "Filter"}
    api_as("warehouse").refuse("/batches", body, 403, "forbidden")


ACTS = st.lists(
    st.tuples(st.sampled_from(["plan", "roast", "draw", "cancel", "void", "hold", "release"]),
              st.integers(1, 30_000), st.integers(0, 5)),
    min_size=1, max_size=12,
)  # fmt: skip


@run(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(acts=ACTS)
def test_on_hand_is_available_held_and_reserved_whatever_happens(
    api: Api, store: dict[str, str], acts: list[tuple[str, int, int]]
) -> None:
    """Every example goes on with the book of the one before: what matters holds all the same."""
    body = {"machine": "DRUM-75", "end_kg": kg("0.001")} | PASSING
    for act, grams, which in acts:
        drawing = [{"sack": store["GL-1"], "kg": Decimal(grams) / 1000}]
        if act == "plan":
            batch = {"on": "2026-11-26", "style": "Filter", "machine": "DRUM-75"}
            api.send("POST", "/batches", batch | {"green": of_lot(grams)})
        elif act == "draw":
            api.send("POST", "/roasts", body | {"draws": drawing})
        elif act == "hold":
            subject = "GL-1" if which == 0 else store["GL-1"]
            api.send("POST", "/holds", {"units": [subject], "reason": "musty"})
        elif act == "release":
            open_holds = api.get("/holds?open=true&limit=500")["items"]
            for each in open_holds[: which + 1]:
                api.send("POST", f"/holds/{each['id']}/release", {"reason": "clean"})
        else:
            _to_a_batch(api, act, which, body | {"draws": drawing})

        on_hand, available, held, reserved, short = stock(api)
        promised = sum(
            each["kg"]
            for batch in api.get("/batches?state=planned&limit=500")["items"]
            for each in batch["green"]
        )
        assert on_hand == available + held + reserved
        assert min(on_hand, available, held, reserved, short) >= 0
        assert reserved + short == promised
        assert available == 0 or short == 0


def _to_a_batch(api: Api, act: str, which: int, body: dict[str, Any]) -> None:
    state = "roasted" if act == "void" else "planned"
    found = api.get(f"/batches?state={state}&limit=500")["items"][which : which + 1]
    for batch in found:
        if act == "void":
            api.send("POST", f"/units/{batch['roast']}/void", {"reason": "wrong"})
        elif act == "cancel":
            api.send("POST", f"/batches/{batch['id']}/cancel", {"reason": "not wanted"})
        else:
            api.send("POST", "/roasts", body | {"batch": batch["id"]})
