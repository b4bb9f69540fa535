"""Cases and pallets: what is in them at what time, and that no bag is in two of them."""

from collections import Counter
from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from fastapi import FastAPI

from app.settings import Settings
from app.standards.handling import HEAVY, PALLET
from tests.api import Api, kg, problem
from tests.makers import dispatch, pack
from tests.serving import Wire, at_once


def case(api: Api, code: str | None, contents: dict[str, int], **more: Any) -> dict[str, Any]:
    """Put bags into a case."""
    lines = [{"pack": pack, "bags": bags} for pack, bags in contents.items()]
    made: dict[str, Any] = api.post("/cases", {"code": code, "contents": lines} | more)
    return made


def send(api: Api, *lines: dict[str, Any], **more: Any) -> dict[str, Any]:
    made: dict[str, Any] = api.post(
        "/dispatches", {"customer": "Café Nord", "lines": list(lines)} | more
    )
    return made


def test_a_shipped_case_of_twelve_with_four_come_back_leaves_91_on_hand_and_8_in_the_market(
    api: Api, bags: str
) -> None:
    # The figures of a worked example of ours after the quantity checks of private food-safety
    # audit standards: 99 bags, a case of 12 shipped, 4 returned.
    case(api, "CASE-1", {bags: 12})

    sent = send(api, {"case": "CASE-1"})
    back = api.post("/returns", {
        "dispatch": sent["code"], "lines": [{"pack": bags, "bags": 4}], "reason": "crushed",
    })  # fmt: skip

    in_pack = api.get(f"/packs/{bags}")["bags_left"]
    [returned] = api.get("/returns")["items"]
    assert in_pack + returned["bags_left"] == 91
    [customer] = api.get(f"/trace/{bags}")["customers"]
    assert (customer["bags"], customer["returned_bags"]) == (12, 4)
    assert api.get(f"/dispatches/{sent['code']}")["left_kg"] == 2
    assert sent["lines"] == [
        {"pack": bags, "product": "HOUSE-250", "bags": 12, "kg": 3, "returned_bags": 0}
    ]
    assert sent["cases"] == ["CASE-1"]
    assert back["held"] is True


def test_a_dispatch_that_corrects_another_takes_its_case_crates_pick_and_order_over(
    api: Api, bags: str
) -> None:
    case(api, "CASE-1", {bags: 12})
    api.post("/crate-kinds", {"name": "Blue", "tare_g": 900})
    api.post("/crates/counts", {"kind": "Blue", "counted": 1, "reason": "bought"})
    line = {"product": "HOUSE-250", "bags": 20}
    api.post("/orders", {
        "code": "SO-1", "customer": "Café Nord", "due_on": "2026-03-30", "lines": [line],
    })  # fmt: skip
    said = {"order": "SO-1", "crates": [{"kind": "Blue", "count": 1}]}
    send(api, {"case": "CASE-1"}, {"pack": bags, "bags": 8}, code="D-1", **said)
    slip = {"corrects": "D-1", "correction_reason": "seven loose ones"}

    again = send(api, {"case": "CASE-1"}, {"pack": bags, "bags": 7}, code="D-2", **said, **slip)

    assert (again["cases"], again["crates"]) == (["CASE-1"], [{"kind": "Blue", "count": 1}])
    assert again["warnings"] == []
    assert [each["open_bags"] for each in api.get("/orders/SO-1")["lines"]] == [1]
    assert api.get(f"/packs/{bags}")["bags_left"] == 80
    assert api.get("/units/D-1")["replaced_by"] == "D-2"
    # The case is out with the new dispatch: nobody can send its bags loose, nor it again.
    loose = {"customer": "Café Nord", "lines": [{"pack": bags, "bags": 99}]}
    once_more = slip | {"corrects": "D-2"}
    api.refuse("/dispatches", loose | once_more, 409, "not-free")
    twice = {"customer": "Café Nord", "lines": [{"case": "CASE-1"}]}
    api.refuse("/dispatches", twice, 409, "case-state")


def test_a_dispatch_that_corrects_another_is_for_the_same_order_of_the_same_customer(
    api: Api, bags: str
) -> None:
    line = {"product": "HOUSE-250", "bags": 20}
    order = {"code": "SO-1", "customer": "Café Nord", "due_on": "2026-03-30", "lines": [line]}
    api.post("/orders", order)
    send(api, {"pack": bags, "bags": 20}, code="D-1", order="SO-1")

    again = send(
        api, {"pack": bags, "bags": 19}, corrects="D-1", correction_reason="one bag stayed here"
    )

    assert again["order"] == "SO-1"
    assert [each["open_bags"] for each in api.get("/orders/SO-1")["lines"]] == [1]
    api.post("/customers", {"name": "Dockside"})
    wrong = {"corrects": again["code"], "correction_reason": "it went to somebody else"}
    elsewhere = send(api, {"pack": bags, "bags": 19}, customer="Dockside", **wrong)
    assert elsewhere["order"] is None
    assert [each["open_bags"] for each in api.get("/orders/SO-1")["lines"]] == [20]


def test_a_case_is_put_onto_a_pallet_that_stands_there(api: Api, bags: str) -> None:
    case(api, "CASE-1", {bags: 6})
    case(api, "CASE-2", {bags: 6})
    api.post("/cases", {"code": "PAL-1", "kind": "pallet", "contents": [{"case": "CASE-1"}]})

    api.post("/cases/PAL-1/contents", {"contents": [{"case": "CASE-2"}]})

    assert api.get("/cases/PAL-1")["bags"] == 12
    case(api, "CASE-3", {bags: 6})
    case(api, "CASE-4", {bags: 6})
    api.refuse("/cases/CASE-3/contents", {"contents": [{"case": "CASE-4"}]}, 422, "invalid")


def test_a_pack_is_not_voided_while_its_bags_stand_in_a_case_or_are_kept(
    api: Api, bags: str
) -> None:
    case(api, "CASE-1", {bags: 12})
    said = problem(api.send("POST", f"/units/{bags}/void", {"reason": "slip"}), 409, "not-free")
    assert (said["unit"], said["asked_bags"]) == (bags, 12)
    api.post("/cases/CASE-1/take-apart", {})
    want = {"lines": [{"product": "HOUSE-250", "bags": 3}]}
    number = api.post("/picks", want)["id"]
    api.refuse(f"/units/{bags}/void", {"reason": "slip"}, 409, "not-free")
    api.post(f"/picks/{number}/cancel", {"reason": "not today"})

    assert api.post(f"/units/{bags}/void", {"reason": "slip"})["voided"] == [bags]


def test_what_is_in_a_case_is_answered_for_any_time(api: Api, bags: str) -> None:
    day = "2026-03-{:02}T08:00:00Z".format
    case(api, "CASE-1", {bags: 12}, packed_at=day(10))
    api.post("/cases/CASE-1/contents", {
        "contents": [{"pack": bags, "bags": 6}], "packed_at": day(12),
    })  # fmt: skip
    api.post("/cases/case-1/take-apart", {
        "contents": [{"pack": bags, "bags": 10}], "taken_out_at": day(14), "reason": "too heavy",
    })  # fmt: skip
    api.post("/cases/CASE-1/take-apart", {"taken_out_at": day(16)})

    seen = {at: api.get(f"/cases/CASE-1?at={day(at)}") for at in (10, 11, 12, 13, 14, 15, 16, 17)}

    assert {at: each["bags"] for at, each in seen.items()} == {
        10: 12, 11: 12, 12: 18, 13: 18, 14: 8, 15: 8, 16: 0, 17: 0,
    }  # fmt: skip
    assert seen[13]["contents"] == [{
        "pack": bags, "product": "HOUSE-250", "lot_mark": f"L {bags}", "best_before": "2099-03-31",
        "bags": 18, "kg": kg("4.5"),
    }]  # fmt: skip
    assert [seen[at]["state"] for at in (15, 17)] == ["here", "apart"]
    problem(api.send("GET", f"/cases/CASE-1?at={day(9)}"), 404, "not-found")
    [listed] = api.get(f"/cases?pack={bags}")["items"]
    assert (listed["code"], listed["bags"]) == ("CASE-1", 0)


def test_no_more_bags_stand_in_cases_than_the_pack_has(api: Api, bags: str) -> None:
    case(api, "CASE-1", {bags: 60})
    body = {"contents": [{"pack": bags, "bags": 40}]}

    refused = api.refuse("/cases", body, 409, "not-free")
    added = api.refuse("/cases/CASE-1/contents", body, 409, "not-free")
    last = case(api, None, {bags: 39})

    assert (refused["left_bags"], refused["free_bags"], refused["asked_bags"]) == (99, 39, 40)
    assert added["free_bags"] == 39
    assert last["code"].startswith("C-")
    assert len(api.get("/cases")["items"]) == 2


def test_cases_built_at_once_share_the_bags_that_are_there(api: Api, bags: str, wire: Wire) -> None:
    body = {"contents": [{"pack": bags, "bags": 30}]}

    answers = at_once([partial(wire.post, "/cases", body)] * 6)

    assert Counter(answer.status_code for answer in answers) == {201: 3, 409: 3}
    assert sum(each["bags"] for each in api.get("/cases")["items"]) == 90


def test_loose_bags_are_sent_without_opening_a_case_and_no_more_of_them(
    api: Api, bags: str
) -> None:
    case(api, "CASE-1", {bags: 90})
    ten = {"customer": "Café Nord", "lines": [{"pack": bags, "bags": 10}]}

    refused = api.refuse("/dispatches", ten, 409, "not-free")
    dispatch(api, {bags: 9})
    api.post("/cases/CASE-1/take-apart", {"contents": [{"pack": bags, "bags": 10}]})
    api.post("/dispatches", ten)

    assert (refused["free_bags"], refused["left_bags"]) == (9, 99)
    assert send(api, {"case": "CASE-1"})["kg"] == 20
    assert api.get(f"/packs/{bags}")["bags_left"] == 0


def test_a_pallet_leaves_with_the_cases_on_it_and_loose_bags_beside_it(
    api: Api, roasts: list[str], bags: str
) -> None:
    other = pack(api, {roasts[1]: 40}, bags=20, sku="HOUSE-2000")["code"]
    case(api, "CASE-1", {bags: 12, other: 2})
    case(api, "CASE-2", {bags: 24})
    on = [{"case": "CASE-1"}, {"case": "CASE-2"}, {"pack": other, "bags": 10}]
    pallet = api.post("/cases", {"code": "PAL-1", "kind": "pallet", "contents": on})
    inner = api.get("/cases/CASE-1")
    [alone] = api.refuse("/cases", {"contents": [{"case": "CASE-1"}]}, 422, "invalid")["errors"]
    standing = api.refuse(
        "/dispatches", {"customer": "Café Nord", "lines": [{"case": "CASE-1"}]}, 409, "case-state"
    )

    sent = send(api, {"case": "PAL-1"}, {"pack": bags, "bags": 1})

    assert (pallet["bags"], pallet["kg"], pallet["caution"]) == (48, 33, PALLET)
    assert [(each["code"], each["bags"], each["kg"]) for each in pallet["cases"]] == [
        ("CASE-1", 14, 7), ("CASE-2", 24, 6),
    ]  # fmt: skip
    assert (inner["pallet"], inner["state"]) == ("PAL-1", "here")
    assert alone["pointer"] == "#/contents"
    assert "PAL-1" in standing["detail"]
    assert {line["pack"]: line["bags"] for line in sent["lines"]} == {bags: 37, other: 12}
    assert sent["cases"] == ["PAL-1"]
    for code in ("PAL-1", "CASE-1", "CASE-2"):
        shown = api.get(f"/cases/{code}")
        assert (shown["state"], shown["dispatch"]) == ("sent", sent["code"])


def test_a_case_that_is_not_here_by_itself_is_not_changed_or_sent_again(
    api: Api, bags: str
) -> None:
    case(api, "CASE-1", {bags: 12})
    sent = send(api, {"case": "CASE-1"})
    case(api, "CASE-2", {bags: 12})
    api.post("/cases/CASE-2/take-apart", {})
    more = {"contents": [{"pack": bags, "bags": 1}]}

    for code in ("CASE-1", "CASE-2"):
        api.refuse(f"/cases/{code}/contents", more, 409, "case-state")
        api.refuse(f"/cases/{code}/take-apart", {}, 409, "case-state")
        body = {"customer": "Café Nord", "lines": [{"case": code}]}
        refused = api.refuse("/dispatches", body, 409, "case-state")
        assert refused["case"] == code
    api.post(f"/units/{sent['code']}/void", {"reason": "wrong address"})
    assert api.get("/cases/CASE-1")["state"] == "here"
    assert send(api, {"case": "CASE-1"})["lines"][0]["bags"] == 12


def test_a_case_is_changed_in_the_order_of_time(api: Api, bags: str) -> None:
    case(api, "CASE-1", {bags: 12}, packed_at="2026-03-10T08:00:00Z")
    early = "2026-03-10T07:59:59Z"
    line = {"pack": bags, "bags": 1}

    for path, body, pointer in (
        ("/cases/CASE-1/contents", {"contents": [line], "packed_at": early}, "#/packed_at"),
        ("/cases/CASE-1/take-apart", {"taken_out_at": early}, "#/taken_out_at"),
        (
            "/dispatches",
            {"customer": "Café Nord", "lines": [{"case": "CASE-1"}], "dispatched_at": early},
            "#/dispatched_at",
        ),
    ):
        [error] = api.refuse(path, body, 422, "invalid")["errors"]
        assert error["pointer"] == pointer
    assert api.get("/cases/CASE-1")["bags"] == 12


def test_bags_go_into_no_case_before_they_were_there(api: Api, bags: str) -> None:
    body = {"contents": [{"pack": bags, "bags": 1}], "packed_at": "2026-03-05T07:59:59Z"}

    [error] = api.refuse("/cases", body, 422, "invalid")["errors"]
    case(api, None, {bags: 1}, packed_at="2026-03-05T08:00:00Z")

    assert error["pointer"] == "#/packed_at"
    assert len(api.get("/cases")["items"]) == 1


def test_no_more_is_taken_out_than_is_in_it(api: Api, roasts: list[str], bags: str) -> None:
    other = pack(api, {roasts[1]: 4}, bags=2, sku="HOUSE-2000")["code"]
    case(api, "CASE-1", {bags: 12})
    case(api, "CASE-2", {bags: 12})

    def refuse(line: dict[str, Any], slug: str) -> Any:
        return api.refuse("/cases/CASE-1/take-apart", {"contents": [line]}, 409, slug)

    short = refuse({"pack": bags, "bags": 13}, "insufficient-stock")
    assert (short["left_bags"], short["asked_bags"]) == (12, 13)
    assert refuse({"pack": other, "bags": 1}, "insufficient-stock")["left_bags"] == 0
    assert refuse({"case": "CASE-2"}, "wrong-kind")["case"] == "CASE-2"
    assert api.get("/cases/CASE-1")["bags"] == 12


def test_held_or_voided_bags_go_into_no_case_and_a_held_pack_in_a_case_does_not_leave(
    api: Api, bags: str
) -> None:
    case(api, "CASE-1", {bags: 12})
    hold = api.post("/holds", {"units": [bags], "reason": "complaint"})
    more = {"contents": [{"pack": bags, "bags": 1}]}
    whole = {"customer": "Café Nord", "lines": [{"case": "CASE-1"}]}

    api.refuse("/cases", more, 409, "on-hold")
    api.refuse("/dispatches", whole, 409, "on-hold")

    assert api.get("/cases/CASE-1")["state"] == "here"
    api.post(f"/holds/{hold['id']}/release", {"reason": "cupped clean"})
    api.post("/dispatches", whole)


def test_a_line_is_bags_of_a_pack_or_a_case_and_what_is_wrong_is_named(api: Api) -> None:
    def pointers(line: object) -> list[str]:
        body = {"customer": "Café Nord", "lines": [line]}
        errors = api.refuse("/dispatches", body, 422, "invalid")["errors"]
        return [error["pointer"] for error in errors]

    assert pointers({"case": "CASE-1", "bags": 1}) == ["#/lines/0/bags"]
    assert pointers({"pack": "PK-99"}) == ["#/lines/0/bags"]
    assert pointers({"bags": 2}) == ["#/lines/0/pack"]
    assert pointers({"pack": "PK-99", "bags": 0}) == ["#/lines/0/bags"]
    assert pointers({"case": "!"}) == ["#/lines/0/case"]
    assert pointers("CASE-1") == ["#/lines/0"]


def test_codes_of_cases_are_issued_with_the_prefix_of_the_firm(
    api: Api, service: FastAPI, settings: Settings, bags: str
) -> None:
    service.state.settings = settings.model_copy(update={"gs1_company_prefix": "9521234"})
    case(api, "095212340000000020", {bags: 1})  # what the second would get

    codes = [case(api, None, {bags: 1})["code"] for _ in range(2)]

    assert codes == ["095212340000000037", "095212340000000044"]
    for scanned in (codes[0], f"00{codes[0]}", f"(00){codes[0]}", f"]C100{codes[0]}"):
        assert api.get(f"/cases/{scanned}")["code"] == codes[0]


def test_a_code_is_given_once_and_a_misread_one_is_told_from_an_unknown_one(
    api: Api, bags: str
) -> None:
    line = {"pack": bags, "bags": 1}
    case(api, "CASE-1", {bags: 1})

    api.refuse("/cases", {"code": "case-1", "contents": [line]}, 409, "code-taken")
    api.refuse("/cases", {"code": bags, "contents": [line]}, 409, "code-taken")
    body = {"code": "123456789012345670", "contents": [line]}
    [error] = api.refuse("/cases", body, 422, "invalid")["errors"]

    assert error["pointer"] == "#/code"
    assert "check digit would be 5" in error["detail"]
    problem(api.send("GET", "/cases/123456789012345670"), 404, "misread-code")
    problem(api.send("GET", "/cases/123456789012345675"), 404, "unknown-code")
    assert len(api.get("/cases")["items"]) == 1


@pytest.mark.parametrize(("bags_in", "caution"), [
    # "Manual handling in the food and drink industry" of Great Britain's Health and Safety
    # Executive asks to bring loads down to 25 kg, and assesses them even then.
    (12, None),
    (13, HEAVY),
])  # fmt: skip
def test_a_heavy_case_carries_a_caution(
    api: Api, roasts: list[str], bags_in: int, caution: str | None
) -> None:
    big = pack(api, {roasts[0]: 50}, bags=25, sku="HOUSE-2000")["code"]
    small = pack(api, {roasts[1]: 1}, bags=4)["code"]

    made = case(api, None, {big: bags_in, small: 4})

    assert made["kg"] == 2 * bags_in + 1
    assert made["caution"] == caution


@pytest.mark.parametrize(("role", "status"), [("roaster", 422), ("warehouse", 422), ("buyer", 403)])
def test_who_packs_bags_packs_cases(api_as: Callable[..., Api], role: str, status: int) -> None:
    assert api_as(role).send("POST", "/cases", {}).status_code == status
