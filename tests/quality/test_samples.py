"""Samples leave stock with their reason, against a plan by the count of sacks."""

from collections.abc import Callable
from typing import Any

import pytest

from tests.api import Api, kg, problem
from tests.makers import furnish, receive, roast, sack_codes


@pytest.fixture
def sacks(api: Api) -> list[str]:
    """Twelve sacks of 60 kg of lot GL-1, and another lot beside them."""
    furnish(api)
    receive(api, 60, 60, lot="GL-2")
    return sack_codes(receive(api, *[60] * 12, lot="GL-1"))


def arrival(sacks: list[str], each: Any = None, **more: Any) -> dict[str, Any]:
    drawn = [{"sack": sack, "kg": each or kg("0.15")} for sack in sacks]
    return {"subject": "GL-1", "kind": "arrival", "from": drawn} | more


def left(api: Api, sack: str) -> Any:
    return api.get(f"/sacks/{sack}")["on_hand_kg"]


def test_a_sample_leaves_each_sack_in_one_entry_with_its_reason(
    api: Api, sacks: list[str], book_is_sound: Callable[[], None]
) -> None:
    taken = api.post(
        "/samples",
        arrival(sacks[:10], increments=20, drawn_with="trier", purpose="arrival check",
                taken_at="2026-03-02T10:00:00+01:00"),
    )  # fmt: skip

    assert taken["kg"] == kg("1.5")
    assert taken["from_stock"] is True
    assert (taken["lot"], taken["subject"], taken["typical_of"]) == ("GL-1", "GL-1", None)
    assert (taken["increments"], taken["drawn_with"]) == (20, "trier")
    assert (taken["taken_at"], taken["taken_by"]) == ("2026-03-02T09:00:00Z", "admin")
    assert taken["from"][9] == {"sack": sacks[9], "kg": kg("0.15")}
    assert {left(api, sack) for sack in sacks[:10]} == {kg("59.85")}
    assert {left(api, sack) for sack in sacks[10:]} == {60}
    booked = api.get("/adjustments")["items"]
    assert [(line["kg"], line["reason"], line["note"]) for line in booked] == [
        (kg("-0.15"), "sample", "arrival check")
    ] * 10
    assert api.get("/lots/GL-1")["on_hand_kg"] == kg("718.5")
    assert api.get("/lots/GL-2")["on_hand_kg"] == 120
    [entry] = [each for each in api.get("/entries")["items"] if each["kind"] == "sample"]
    assert entry["id"] == taken["entry"]
    assert entry["happened_at"] == "2026-03-02T09:00:00Z"
    book_is_sound()


@pytest.mark.parametrize(("count", "enough"), [(9, False), (10, True), (12, True)])
def test_the_plan_says_whether_enough_sacks_were_sampled(
    api: Api, sacks: list[str], count: int, *, enough: bool
) -> None:
    # ISO 4072: a tenth of the sacks and never fewer than ten, from memory.
    taken = api.post("/samples", arrival(sacks[:count]))

    assert taken["plan"] == {
        "sacks": 12, "sacks_to_sample": 10, "sacks_sampled": count, "enough": enough,
        "why": "10 % of 12 sacks, never fewer than 10",
    }  # fmt: skip
    assert api.get("/samples")["items"][0]["plan"] == taken["plan"]


def test_the_plan_of_a_lot_counts_the_sacks_sampled_on_arrival(api: Api, sacks: list[str]) -> None:
    assert api.get("/lots/GL-1/sample-plan") == {
        "lot": "GL-1", "sacks": 12, "sacks_to_sample": 10, "each_g": 150, "bulk_g": 1500,
        "sacks_sampled": 0, "enough": False, "why": "10 % of 12 sacks, never fewer than 10",
    }  # fmt: skip

    api.post("/samples", arrival(sacks[:6]))
    api.post("/samples", arrival(sacks[4:9]))
    api.post("/samples", arrival(sacks[9:], kind="retained"))

    planned = api.get("/lots/gl-1/sample-plan")
    assert (planned["sacks_sampled"], planned["enough"]) == (9, False)
    api.post("/samples", arrival(sacks[11:]))
    planned = api.get("/lots/GL-1/sample-plan")
    assert (planned["sacks_sampled"], planned["enough"]) == (10, True)


def test_a_lot_of_fewer_than_ten_sacks_is_sampled_whole(api: Api, sacks: list[str]) -> None:
    # Our rule: ISO 4072 begins at ten bags.
    assert sacks
    planned = api.get("/lots/GL-2/sample-plan")

    assert (planned["sacks"], planned["sacks_to_sample"], planned["each_g"]) == (2, 2, 750)


def test_a_used_up_sack_is_not_asked_for(api: Api, sacks: list[str]) -> None:
    for sack in sacks[:3]:
        roast(api, {sack: 60}, end_kg=51)

    planned = api.get("/lots/GL-1/sample-plan")

    assert (planned["sacks"], planned["sacks_to_sample"]) == (9, 9)


def test_held_coffee_can_be_sampled(api: Api, sacks: list[str]) -> None:
    api.post("/holds", {"units": ["GL-1"], "reason": "arrived"})

    api.post("/samples", arrival(sacks[:1]))

    assert left(api, sacks[0]) == kg("59.85")


def test_the_last_gram_can_be_sampled_and_not_one_more(api: Api, sacks: list[str]) -> None:
    over = [{"sack": sacks[0], "kg": kg("0.1")}, {"sack": sacks[1], "kg": kg("60.001")}]

    refusal = api.refuse("/samples", arrival([], **{"from": over}), 409, "insufficient-stock")

    assert (refusal["unit"], refusal["left_kg"]) == (sacks[1], 60)
    assert left(api, sacks[0]) == 60
    assert api.get("/samples")["items"] == []
    api.post("/samples", arrival(sacks[1:2], each=60))
    assert left(api, sacks[1]) == 0


def test_a_sample_of_one_sack_comes_out_of_that_sack(api: Api, sacks: list[str]) -> None:
    taken = api.post("/samples", arrival(sacks[:1], subject=sacks[0], kind="retained"))

    assert (taken["subject"], taken["lot"]) == (sacks[0], "GL-1")
    assert taken["plan"] is None
    refusal = api.refuse("/samples", arrival(sacks[1:2], subject=sacks[0]), 422, "invalid")
    assert refusal["errors"][0]["pointer"] == "#/from/0/sack"


def test_an_offer_sample_weighs_nothing_in_the_book(api: Api, sacks: list[str]) -> None:
    offered = api.post(
        "/samples", {"subject": "GL-1", "kind": "offer", "kg": kg("0.3"), "purpose": "approval"}
    )

    assert (offered["kg"], offered["from_stock"], offered["from"]) == (kg("0.3"), False, [])
    assert offered["plan"] is None
    assert {left(api, sack) for sack in sacks} == {60}
    assert api.get("/adjustments")["items"] == []


@pytest.mark.parametrize("kind", ["offer", "type", "pre_shipment", "other"])
def test_a_sample_without_a_lot_says_what_it_is_typical_of(api: Api, kind: str) -> None:
    taken = api.post("/samples", {"typical_of": "Sidama washed, screen 15 up", "kind": kind})

    assert taken["typical_of"] == "Sidama washed, screen 15 up"
    assert (taken["lot"], taken["subject"], taken["kg"]) == (None, None, None)


def test_an_offer_sample_that_we_draw_ourselves_leaves_stock(api: Api, sacks: list[str]) -> None:
    taken = api.post("/samples", arrival(sacks[:1], kind="offer"))

    assert taken["from_stock"] is True
    assert left(api, sacks[0]) == kg("59.85")


MISFITS: list[tuple[dict[str, Any], str]] = [
    ({"kind": "offer"}, "#/subject"),
    ({"kind": "offer", "subject": "GL-1", "typical_of": "Sidama"}, "#/subject"),
    ({"kind": "arrival", "subject": "GL-1"}, "#/from"),
    ({"kind": "retained", "subject": "GL-1", "kg": 1}, "#/from"),
    ({"kind": "arrival", "typical_of": "Sidama"}, "#/from"),
    ({"kind": "offer", "subject": "GL-1", "increments": 3}, "#/increments"),
    ({"kind": "offer", "subject": "GL-1", "kg": 0}, "#/kg"),
    ({"kind": "offer", "subject": "GL-1", "kg": -1}, "#/kg"),
    ({"kind": "offer", "subject": "GL-1", "kg": kg("0.0001")}, "#/kg"),
    ({"kind": "gift", "subject": "GL-1"}, "#/kind"),
    ({"kind": "offer", "subject": "GL-1", "colour": "green"}, "#/colour"),
    ({"kind": "offer", "subject": "GL-1", "taken_at": "2026-03-02T10:00:00"}, "#/taken_at"),
    ({"kind": "offer", "subject": "GL-1", "taken_at": "2999-03-02T10:00:00Z"}, "#/taken_at"),
]
"""Samples that do not fit together, and the field that is at fault."""


def test_a_sample_that_does_not_fit_together_is_refused_by_its_field(
    api: Api, sacks: list[str]
) -> None:
    assert sacks

    for body, pointer in MISFITS:
        refusal = api.refuse("/samples", body, 422, "invalid")
        assert refusal["errors"][0]["pointer"] == pointer, body
    assert api.get("/samples")["items"] == []


def test_sacks_that_do_not_fit_the_sample_are_refused_by_their_place(
    api: Api, sacks: list[str]
) -> None:
    [foreign, _] = [each["code"] for each in api.get("/sacks?lot=GL-2")["items"]]
    cases = [
        (arrival([sacks[0], foreign]), "#/from/1/sack"),
        (arrival([sacks[0], sacks[1], sacks[0].lower()]), "#/from/2/sack"),
        (arrival(sacks[:3], increments=2), "#/increments"),
        (arrival(sacks[:1], kg=1), "#/kg"),
        (arrival(sacks[:1], kind="type", subject=None, typical_of="Sidama"), "#/from"),
    ]

    for body, pointer in cases:
        refusal = api.refuse("/samples", body, 422, "invalid")
        assert refusal["errors"][0]["pointer"] == pointer, body
    assert {left(api, sack) for sack in [*sacks, foreign]} == {60}


def test_only_sacks_are_drawn_from_and_only_green_is_sampled(api: Api, sacks: list[str]) -> None:
    made = roast(api, {sacks[0]: 60}, end_kg=51)

    api.refuse("/samples", arrival(["GL-1"]), 409, "wrong-kind")
    api.refuse("/samples", {"kind": "offer", "subject": made["code"]}, 409, "wrong-kind")
    api.refuse("/samples", {"kind": "offer", "subject": "NOWHERE-1"}, 404, "unknown-code")


def test_a_mistaken_sample_is_voided_and_the_sacks_get_their_coffee_back(
    api: Api, sacks: list[str], book_is_sound: Callable[[], None]
) -> None:
    number = api.post("/samples", arrival(sacks[:2]))["id"]

    voided = api.post(f"/samples/{number}/void", {"reason": "the wrong lot"})

    assert voided["given_back_kg"] == {sacks[0]: kg("0.15"), sacks[1]: kg("0.15")}
    assert (voided["id"], voided["lot"], voided["reason"]) == (number, "GL-1", "the wrong lot")
    assert {left(api, sack) for sack in sacks} == {60}
    assert [each["voided"] for each in api.get("/samples")["items"]] == [True]
    assert api.get("/lots/GL-1/sample-plan")["sacks_sampled"] == 0
    [void] = [each for each in api.get("/entries")["items"] if each["kind"] == "void"]
    assert void["id"] == voided["entry"]
    assert void["reverses"] == voided["entry"] - 1
    api.refuse(f"/samples/{number}/void", {"reason": "again"}, 409, "already-done")
    assert {left(api, sack) for sack in sacks} == {60}
    book_is_sound()


def test_a_sample_that_was_graded_or_cupped_is_voided_after_those(
    api: Api, sacks: list[str]
) -> None:
    number = api.post("/samples", arrival(sacks[:2]))["id"]
    grading = api.post("/lots/GL-1/gradings", {"sample": number, "sample_g": 350, "defects": {}})
    cupping = api.post(
        "/lots/GL-1/cuppings",
        {"sample": number, "form": "house", "form_version": "1", "score": 84},
    )

    refusal = api.refuse(f"/samples/{number}/void", {"reason": "slip"}, 409, "has-dependants")

    assert refusal["dependants"] == [f"grading {grading['id']}", f"cupping {cupping['id']}"]
    api.post(f"/lots/GL-1/gradings/{grading['id']}/void", {"reason": "slip"})
    api.post(f"/lots/GL-1/cuppings/{cupping['id']}/void", {"reason": "slip"})
    api.post(f"/samples/{number}/void", {"reason": "slip"})
    assert left(api, sacks[0]) == 60


def test_a_sample_that_is_not_there_cannot_be_voided(api: Api) -> None:
    api.refuse("/samples/1/void", {"reason": "slip"}, 404, "not-found")


def test_samples_are_listed_by_subject_and_kind(api: Api, sacks: list[str]) -> None:
    api.post("/samples", arrival(sacks[:2]))
    api.post("/samples", {"kind": "offer", "subject": sacks[5]})
    api.post("/samples", {"kind": "type", "typical_of": "Sidama"})
    api.post("/samples", {"kind": "offer", "subject": "GL-2"})

    def numbers(query: str) -> list[int]:
        return [each["id"] for each in api.get(f"/samples?{query}")["items"]]

    assert numbers("subject=GL-1") == [1, 2]
    assert numbers(f"subject={sacks[1]}") == [1]
    assert numbers(f"subject={sacks[5]}") == [2]
    assert numbers(f"subject={sacks[6]}") == []
    assert numbers("kind=offer") == [2, 4]
    assert numbers("kind=offer&subject=gl-2") == [4]
    first = api.get("/samples?limit=3")
    assert [each["id"] for each in first["items"]] == [1, 2, 3]
    assert numbers(f"limit=3&cursor={first['next']}") == [4]


def test_a_retry_takes_no_second_sample(api: Api, sacks: list[str]) -> None:
    body = arrival(sacks[:1])

    once = api.post("/samples", body, Idempotency_Key="noor-1")
    again = api.post("/samples", body, Idempotency_Key="noor-1")

    assert again == once
    assert left(api, sacks[0]) == kg("59.85")


@pytest.mark.parametrize("role", ["warehouse", "quality", "roaster"])
def test_whoever_handles_sacks_may_sample(
    api_as: Callable[..., Api], sacks: list[str], role: str
) -> None:
    assert api_as(role).post("/samples", arrival(sacks[:1]))["taken_by"] == role


def test_a_buyer_may_not_sample(api_as: Callable[..., Api], sacks: list[str]) -> None:
    answer = api_as("buyer").send("POST", "/samples", arrival(sacks[:1]))

    assert problem(answer, 403, "forbidden")["permission"] == "samples:take"


def test_a_voided_lot_is_neither_sampled_nor_graded(api: Api, sacks: list[str]) -> None:
    assert sacks
    api.post("/units/GL-2/void", {"reason": "never came"})

    api.refuse("/samples", {"kind": "offer", "subject": "GL-2"}, 409, "voided")
    api.refuse("/lots/GL-2/gradings", {"sample_g": 350, "defects": {}}, 409, "voided")
    score = {"form": "house", "form_version": "1", "score": 80}
    api.refuse("/lots/GL-2/cuppings", score, 409, "voided")


def test_a_sampled_lot_is_not_void_until_its_sample_is(api: Api, sacks: list[str]) -> None:
    number = api.post("/samples", arrival(sacks[:1]))["id"]

    api.refuse("/units/GL-1/void", {"reason": "never came"}, 409, "has-dependants")

    api.post(f"/samples/{number}/void", {"reason": "never came"})
    api.post("/units/GL-1/void", {"reason": "never came"})
