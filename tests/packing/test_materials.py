"""Packing materials: taken in, used by packs, counted, held, given back."""

from collections.abc import Callable
from decimal import Decimal
from functools import partial
from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.settings import Settings
from app.shared.db import writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api, kg, problem
from tests.makers import furnish, receive, roast, sack_codes
from tests.serving import Wire, at_once, served

BAGS, FILM = "BAG-250", "FILM-9"


@pytest.fixture(autouse=True)
def packing_room(api: Api) -> None:
    """ROAST-1 of 60 kg; 100 bags as PK7781, 500 m of film as RL-3."""
    furnish(api)
    sack = sack_codes(receive(api, 70))[0]
    roast(api, {sack: 70}, 60, code="ROAST-1", roasted_at="2026-03-03T08:00:00Z")
    api.post("/materials", {"code": BAGS, "name": "Bag, 250 g", "kind": "bag", "unit": "piece"})
    api.post("/materials", {"code": FILM, "name": "Film", "kind": "film", "unit": "metre"})
    take_in(api, "PK7781", BAGS, 100)
    take_in(api, "RL-3", FILM, 500)


def take_in(api: Api, code: str, material: str, quantity: Any, **more: Any) -> Any:
    body = {"code": code, "material": material, "quantity": quantity}
    return api.post("/material-lots", body | {"received_at": "2026-03-01T08:00:00Z"} | more)


def run(bags: int, *materials: dict[str, Any], **more: Any) -> dict[str, Any]:
    """Ask for a pack of bags of 250 g out of ROAST-1."""
    asked = {"product": "HOUSE-250", "bags": bags, "materials": list(materials)}
    coffee = [{"unit": "ROAST-1", "kg": bags * Decimal("0.25")}]
    return asked | {"from": coffee, "packed_at": "2026-03-20T08:00:00Z"} | more


def left(api: Any, lot: str = "PK7781") -> Any:
    return api.get(f"/material-lots/{lot}")["left"]


def test_a_pack_that_corrects_another_can_use_what_that_one_used(api: Api) -> None:
    api.post("/packs", run(100, {"lot": "PK7781"}, code="P-1"))
    again = {"corrects": "P-1", "correction_reason": "99 were filled, one bag was torn"}

    made = api.post("/packs", run(99, {"lot": "PK7781", "spoiled": 1}, code="P-2", **again))

    assert (made["materials"][0]["used"], left(api)) == (99, 0)
    too_many = run(102, {"lot": "PK7781"}, corrects="P-2", correction_reason="recounted")
    api.refuse("/packs", too_many, 409, "insufficient-stock")
    assert (api.get("/packs/P-2")["voided"], left(api)) == (False, 0)


def test_a_hold_on_a_lot_stops_no_correction_that_takes_no_more_of_it(api: Api) -> None:
    api.post("/packs", run(50, {"lot": "PK7781"}, code="P-1"))
    api.post("/material-lots/PK7781/holds", {"reason": "the supplier recalls it"})
    again = {"corrects": "P-1", "correction_reason": "miscounted"}

    refused = api.refuse("/packs", run(51, {"lot": "PK7781"}, **again), 409, "on-hold")
    api.post("/packs", run(49, {"lot": "PK7781"}, code="P-2", **again))

    assert (refused["material_lots"], left(api)) == (["PK7781"], 51)
    api.refuse("/packs", run(1, {"lot": "PK7781"}), 409, "on-hold")


def test_what_was_issued_is_used_spoiled_or_brought_back(api: Api) -> None:
    # 100 issued, 99 used, 1 spoiled: nothing is left over. Regulation (EC) No 1935/2004, article
    # 17, asks to know which lot; that the count closes is our rule.
    made = api.post("/packs", run(99, {"lot": "pk7781", "issued": 100, "spoiled": 1}, code="P-1"))

    assert made["materials"] == [{
        "lot": "PK7781", "material": BAGS, "kind": "bag", "unit": "piece", "used": 99,
        "issued": 100, "spoiled": 1, "returned": None,
    }]  # fmt: skip
    assert made["gaps"] == []
    assert api.get("/packs/P-1") == made
    lot = api.get("/material-lots/PK7781")
    assert [lot[each] for each in ("received", "used", "spoiled", "left")] == [100, 99, 1, 0]


@pytest.mark.parametrize(
    ("use", "member", "said"),
    [
        ({"lot": "PK7781", "issued": 90, "spoiled": 1}, "issued", ": 1 too many"),
        ({"lot": "PK7781", "issued": 92, "spoiled": 1}, "issued", ": 1 missing"),
        ({"lot": "RL-3"}, "used", "say how much"),
        ({"lot": "PK7781", "used": kg("1.5")}, "used", "no whole number of pieces"),
        ({"lot": "PK7781", "used": 0}, "used", "above zero"),
        ({"lot": "PK7781", "used": kg("0.0001")}, "used", "at most 3 decimals"),
    ],
)
def test_a_use_that_does_not_add_up_is_refused_at_its_field(
    api: Api, use: dict[str, Any], member: str, said: str
) -> None:
    refused = api.refuse("/packs", run(90, use), 422, "invalid")

    assert refused["errors"][0]["pointer"] == f"#/materials/0/{member}"
    assert said in refused["errors"][0]["detail"]
    assert (api.get("/packs")["items"], left(api), left(api, "RL-3")) == ([], 100, 500)


def test_a_lot_that_is_not_there_or_named_twice_is_refused(api: Api) -> None:
    unknown = api.refuse("/packs", run(1, {"lot": "PK-NONE"}), 422, "unknown-reference")
    twice = api.refuse(
        "/packs", run(1, {"lot": "RL-3", "used": 1}, {"lot": "rl-3"}), 422, "invalid"
    )

    assert unknown["errors"][0]["pointer"] == "#/materials/0/lot"
    assert twice["errors"][0]["pointer"] == "#/materials"
    assert api.get("/packs")["items"] == []


def test_the_last_piece_can_be_used_and_not_one_more(api: Api) -> None:
    refused = api.refuse("/packs", run(101, {"lot": "PK7781"}), 409, "insufficient-stock")
    api.post("/packs", run(100, {"lot": "PK7781"}))

    assert (refused["material_lot"], refused["asked"], refused["left"]) == ("PK7781", 101, 100)
    assert left(api) == 0
    assert [lot["code"] for lot in api.get("/material-lots?on_hand=true")["items"]] == ["RL-3"]


def test_what_is_spoiled_has_to_be_there_too(api: Api) -> None:
    body = run(100, {"lot": "PK7781", "spoiled": 1})

    assert api.refuse("/packs", body, 409, "insufficient-stock")["asked"] == 101


def test_two_lots_of_one_bag_share_the_bags_by_word(api: Api) -> None:
    take_in(api, "PK7782", BAGS, 100)

    unsaid = api.refuse("/packs", run(120, {"lot": "PK7781"}, {"lot": "PK7782"}), 422, "invalid")
    api.post("/packs", run(120, {"lot": "PK7781", "used": 100}, {"lot": "PK7782", "used": 20}))

    assert unsaid["errors"][0]["pointer"] == "#/materials/0/used"
    assert (left(api), left(api, "PK7782")) == (0, 80)


def test_a_case_holds_more_than_one_bag(api: Api) -> None:
    api.post("/materials", {"code": "CASE-20", "name": "Case", "kind": "case", "unit": "piece"})
    take_in(api, "C-1", "CASE-20", 50)

    api.refuse("/packs", run(40, {"lot": "C-1"}), 422, "invalid")
    api.post("/packs", run(40, {"lot": "C-1", "used": 2}))

    assert left(api, "C-1") == 48


def test_a_voided_pack_gives_its_material_back(api: Api, book_is_sound: Callable[[], None]) -> None:
    api.post("/packs", run(60, {"lot": "PK7781", "issued": 70, "returned": 10}, code="P-1"))
    assert left(api) == 40

    api.post("/units/P-1/void", {"reason": "booked twice"})

    assert left(api) == 100
    api.post("/packs", run(100, {"lot": "PK7781"}))
    book_is_sound()


def test_the_film_roll_of_a_pack_is_an_input_where_it_is_a_lot(api: Api) -> None:
    made = api.post("/packs", run(10, film_roll="rl-3"))
    word = api.post("/packs", run(10, film_roll="the blue one"))
    both = api.post("/packs", run(10, {"lot": "RL-3", "used": kg("2.125")}, film_roll="RL-3"))

    assert [(use["lot"], use["used"]) for use in made["materials"]] == [("RL-3", None)]
    assert made["gaps"] == []
    assert (word["materials"], word["film_roll"]) == ([], "the blue one")
    # Regulation (EC) No 1935/2004, article 17: a run without its material is incomplete.
    assert word["gaps"] == ["no packing material on record: film roll the blue one is a word alone"]
    assert [(use["lot"], use["used"]) for use in both["materials"]] == [("RL-3", kg("2.125"))]
    assert left(api, "RL-3") == kg("497.875")


def test_a_pack_may_name_no_material_and_says_that_it_lacks_it(api: Api) -> None:
    assert api.post("/packs", run(10))["gaps"] == ["no packing material on record"]


class TestWhereMaterialsAreRequired:
    @pytest.fixture
    def settings(self, settings: Settings) -> Settings:
        return settings.model_copy(update={"require_packing_materials": True})

    def test_a_pack_without_any_is_refused(self, api: Api) -> None:
        refused = api.refuse("/packs", run(10, film_roll="the blue one"), 422, "invalid")
        api.post("/packs", run(10, film_roll="RL-3"))

        assert refused["errors"][0]["pointer"] == "#/materials"
        assert len(api.get("/packs")["items"]) == 1


def test_a_held_lot_goes_into_no_bag_until_quality_releases_it(
    api: Api, api_as: Callable[..., Api]
) -> None:
    roaster, quality = api_as("roaster"), api_as("quality")
    for lot in ("PK7781", "RL-3"):
        roaster.post(f"/material-lots/{lot}/holds", {"reason": "it smells of solvent"})

    refused = api.refuse("/packs", run(10, {"lot": "PK7781"}, film_roll="RL-3"), 409, "on-hold")
    roaster.refuse("/material-holds/1/release", {"reason": "aired"}, 403, "forbidden")
    released = quality.post("/material-holds/1/release", {"reason": "aired, no smell"})
    api.post("/packs", run(10, {"lot": "PK7781"}))

    assert refused["material_lots"] == ["PK7781", "RL-3"]
    assert (released["lot"], released["placed_by"], released["released_by"]) == (
        "PK7781", "roaster", "quality",
    )  # fmt: skip
    assert api.get("/material-lots/PK7781/holds")["items"] == [released]
    assert api.get("/material-lots/RL-3")["held"] is True
    quality.refuse("/material-holds/1/release", {"reason": "again"}, 409, "already-done")
    quality.refuse("/material-holds/9/release", {"reason": "again"}, 404, "not-found")


def test_a_count_and_a_write_off_change_what_is_left(api: Api) -> None:
    counted = api.post("/material-lots/PK7781/changes", {"counted": 97, "reason": "counted"})
    off = api.post("/material-lots/PK7781/changes", {"written_off": 97, "reason": "wet"})
    more = api.post("/material-lots/PK7781/changes", {"counted": 2, "reason": "found two"})

    assert (counted["change"], counted["left"]) == (-3, 97)
    assert (off["change"], off["counted"], off["left"]) == (-97, None, 0)
    lot = api.get("/material-lots/PK7781")
    assert (lot["corrected"], lot["left"]) == (-98, 2)
    listed = api.get("/material-lots/PK7781/changes")["items"]
    assert [line["id"] for line in listed] == [counted["id"], off["id"], more["id"]]


@pytest.mark.parametrize(
    ("body", "status", "slug"),
    [
        ({"written_off": 101, "reason": "wet"}, 409, "insufficient-stock"),
        ({"written_off": 1, "counted": 1, "reason": "wet"}, 422, "invalid"),
        ({"reason": "wet"}, 422, "invalid"),
        ({"counted": 1}, 422, "invalid"),
        ({"counted": kg("0.5"), "reason": "half a bag"}, 422, "invalid"),
        ({"counted": -1, "reason": "less"}, 422, "invalid"),
    ],
)
def test_a_change_that_cannot_be_is_refused(
    api: Api, body: dict[str, Any], status: int, slug: str
) -> None:
    api.refuse("/material-lots/PK7781/changes", body, status, slug)

    assert (left(api), api.get("/material-lots/PK7781/changes")["items"]) == (100, [])


def test_a_lot_says_who_supplied_it_by_card_or_by_word(api: Api) -> None:
    known = take_in(api, "RL-4", FILM, 10, supplier="finca el roble", reference="INV-4")
    word = take_in(api, "RL-5", FILM, 10, supplier="Corner Films")
    issued = api.post("/material-lots", {"material": FILM, "quantity": 10})

    assert (known["supplier"], known["reference"]) == ("Finca El Roble", "INV-4")
    assert word["supplier"] == "Corner Films"
    assert issued["code"].startswith("M-")
    api.refuse("/material-lots", {"material": FILM, "quantity": 1, "supplier": 99}, 422,
               "unknown-reference")  # fmt: skip
    api.refuse("/material-lots", {"material": "NONE", "quantity": 1}, 422, "unknown-reference")
    api.refuse("/material-lots", {"material": BAGS, "quantity": kg("1.5")}, 422, "invalid")
    taken = {"code": "pk7781", "material": BAGS, "quantity": 1}
    api.refuse("/material-lots", taken, 409, "code-taken")
    assert len(api.get(f"/material-lots?material={FILM}")["items"]) == 4


def test_a_buyer_does_not_keep_materials(api_as: Callable[..., Api]) -> None:
    body = {"material": FILM, "quantity": 1}

    api_as("buyer").refuse("/material-lots", body, 403, "forbidden")
    assert api_as("warehouse").post("/material-lots", body)["left"] == 1


def test_as_many_packs_at_once_are_accepted_as_the_lot_has_bags_for(
    api: Api, service: FastAPI, engine: Engine
) -> None:
    with writing(engine) as session:
        token = add_token(session, "ida", [Role.ADMIN])

    with served(service) as address, Wire(address, token) as wire:
        answers = at_once([partial(wire.post, "/packs", run(30, {"lot": "PK7781"}))] * 5)

    refused = [answer for answer in answers if answer.status_code != 201]
    assert len(refused) == 2
    for answer in refused:
        problem(answer, 409, "insufficient-stock")
    assert left(api) == 10


SLIP = {"reason": "it never came"}


def test_a_lot_that_never_came_is_taken_back_and_no_pack_uses_it(api: Api) -> None:
    api.post("/material-lots/PK7781/changes", {"counted": 90, "reason": "recount"})

    said = api.post("/material-lots/PK7781/void", SLIP)

    assert (said["of"], said["open_holds"]) == ("PK7781", [])
    shown = api.get("/material-lots/PK7781")
    assert (shown["voided"], shown["void_reason"], shown["left"]) == (True, SLIP["reason"], 0)
    there = api.get("/material-lots?on_hand=true")["items"]
    assert [lot["code"] for lot in there] == ["RL-3"]
    for path, asked in (
        ("/packs", run(1, {"lot": "PK7781"})),
        ("/material-lots/PK7781/changes", {"counted": 1, "reason": "found"}),
        ("/material-lots/PK7781/holds", {"reason": "smells"}),
        ("/material-lots/PK7781/changes/1/void", SLIP),
    ):
        assert api.refuse(path, asked, 409, "voided")["material_lot"] == "PK7781"
    api.refuse("/material-lots/PK7781/void", SLIP, 409, "already-done")
    api.refuse("/material-lots/PK0/void", SLIP, 404, "not-found")


def test_a_lot_in_the_bags_of_a_pack_that_stands_is_not_taken_back(api: Api) -> None:
    api.post("/packs", run(10, {"lot": "PK7781"}, code="P-1"))

    refused = api.refuse("/material-lots/PK7781/void", SLIP, 409, "has-dependants")

    assert refused["dependants"] == ["P-1"]
    api.post("/units/P-1/void", SLIP)
    api.post("/material-lots/PK7781/void", SLIP)


def test_a_held_lot_is_taken_back_by_quality_alone(api: Api, api_as: Callable[..., Api]) -> None:
    api.post("/material-lots/PK7781/holds", {"reason": "the supplier recalls it"})

    api_as("warehouse").refuse("/material-lots/PK7781/void", SLIP, 403, "forbidden")

    api_as("quality").post("/material-lots/PK7781/void", SLIP)


def test_a_lot_is_taken_in_anew_in_the_place_of_a_mistaken_one(api: Api) -> None:
    api.post("/material-lots/PK7781/holds", {"reason": "the supplier recalls it"})
    again = {"corrects": "PK7781", "correction_reason": "1,000 came"}
    body = {"code": "PK7781-A", "material": BAGS, "quantity": 1000, "reference": "PK7781"}

    made = api.post("/material-lots", body | again)

    assert (made["left"], made["held"]) == (1000, True)
    assert made["received_at"] == "2026-03-01T08:00:00Z"
    old = api.get("/material-lots/PK7781")
    assert (old["voided"], old["void_reason"], old["replaced_by"]) == (
        True, "1,000 came", "PK7781-A",
    )  # fmt: skip
    api.refuse("/material-lots", body | again | {"code": "X-2"}, 409, "voided")
    api.refuse("/packs", run(1, {"lot": "PK7781-A"}), 409, "on-hold")
    entries = api.get("/entries?limit=500")["items"]
    assert entries[-1]["kind"] == "packing material received"
    assert entries[-1]["reverses"] is not None


def test_a_count_or_write_off_is_taken_back_unless_what_it_added_is_used(api: Api) -> None:
    lost = {"written_off": 30, "reason": "soaked"}
    number = api.post("/material-lots/PK7781/changes", lost)["id"]

    api.post(f"/material-lots/PK7781/changes/{number}/void", SLIP)

    assert left(api) == 100
    more = api.post("/material-lots/PK7781/changes", {"counted": 120, "reason": "found"})["id"]
    api.post("/packs", run(110, {"lot": "PK7781"}, code="P-1"))
    refused = api.refuse(
        f"/material-lots/PK7781/changes/{more}/void", SLIP, 409, "insufficient-stock"
    )
    assert (refused["left"], left(api)) == (-10, 10)
    lines = api.get("/material-lots/PK7781/changes")["items"]
    assert [(line["id"], line["voided"]) for line in lines] == [(number, True), (more, False)]
    api.refuse(f"/material-lots/RL-3/changes/{more}/void", SLIP, 404, "not-found")
