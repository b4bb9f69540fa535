"""Reusable crates: in the house, at customers, and never more back than out."""

from collections import Counter
from collections.abc import Callable
from functools import partial
from typing import Any

import pytest

from tests.api import Api, problem
from tests.makers import dispatch
from tests.serving import Wire, at_once


@pytest.fixture
def crates(api: Api, bags: str) -> str:  # noqa: ARG001 - there is something to send in them
    """Fifty green crates in the house."""
    api.post("/crate-kinds", {"name": "Green 60", "tare_kg": 2, "deposit": True})
    api.post("/crates/counts", {"kind": "green 60", "counted": 50, "reason": "bought"})
    return "Green 60"


def move(act: str, count: int, kind: str = "Green 60") -> dict[str, Any]:
    return {"customer": "Café Nord", "act": act, "crates": [{"kind": kind, "count": count}]}


def there(api: Api) -> tuple[int, dict[str, int]]:
    """Read how many are in the house and at whom."""
    [kind] = api.get("/crates")["items"]
    return kind["in_house"], {each["customer"]: each["count"] for each in kind["at_customers"]}


def test_crates_go_out_with_a_dispatch_and_come_back_with_a_return_or_alone(
    api: Api, crates: str, bags: str
) -> None:
    sent = dispatch(api, {bags: 24}, crates=[{"kind": crates, "count": 3}])
    assert there(api) == (47, {"Café Nord": 3})
    back = api.post("/returns", {
        "dispatch": sent["code"], "lines": [{"pack": bags, "bags": 2}], "reason": "crushed",
        "crates": [{"kind": 1, "count": 1}],
    })  # fmt: skip

    moved = api.post("/crates/movements", move("back", 2))

    assert sent["crates"] == [{"kind": crates, "count": 3}]
    assert back["crates"] == [{"kind": crates, "count": 1}]
    assert moved["at_customer"] == [{"kind": crates, "count": 0}]
    assert moved["in_house"] == [{"kind": crates, "count": 50}]
    assert there(api) == (50, {})
    assert api.get(f"/dispatches/{sent['code']}")["crates"] == sent["crates"]
    listed = api.get("/crates/movements?customer=caf%C3%A9%20nord")["items"]
    assert [(each["act"], each["house"], each["away"], each["unit"]) for each in listed] == [
        ("out", -3, 3, sent["code"]), ("back", 1, -1, back["code"]), ("back", 2, -2, None),
    ]  # fmt: skip


def test_no_more_come_back_than_are_out_and_no_more_go_out_than_are_there(
    api: Api, crates: str, bags: str
) -> None:
    api.post("/crates/movements", move("out", 5))

    back = api.refuse("/crates/movements", move("back", 6), 409, "crates-short")
    out = api.refuse("/crates/movements", move("out", 46), 409, "crates-short")
    body = {"customer": "Café Nord", "lines": [{"pack": bags, "bags": 1}]}
    with_it = api.refuse(
        "/dispatches", body | {"crates": [{"kind": crates, "count": 46}]}, 409, "crates-short"
    )

    assert (back["asked"], back["there"], back["customer"]) == (6, 5, "Café Nord")
    assert (out["there"], with_it["there"]) == (45, 45)
    assert there(api) == (45, {"Café Nord": 5})
    assert api.get("/dispatches")["items"] == []
    api.post("/crates/movements", move("back", 5))
    api.post("/crates/movements", move("out", 50))


@pytest.mark.usefixtures("crates")
def test_crates_that_come_back_at_once_are_no_more_than_went_out(api: Api, wire: Wire) -> None:
    api.post("/crates/movements", move("out", 7))

    answers = at_once([partial(wire.post, "/crates/movements", move("back", 2))] * 6)

    assert Counter(answer.status_code for answer in answers) == {201: 3, 409: 3}
    assert there(api) == (49, {"Café Nord": 1})


def test_what_went_with_a_voided_dispatch_never_went(api: Api, crates: str, bags: str) -> None:
    sent = dispatch(api, {bags: 1}, crates=[{"kind": crates, "count": 3}])["code"]

    api.post(f"/units/{sent}/void", {"reason": "wrong customer"})

    assert there(api) == (50, {})
    assert [each["voided"] for each in api.get("/crates/movements")["items"]] == [False, True]


def test_a_count_brings_the_book_to_what_is_there_with_its_reason(api: Api, crates: str) -> None:
    api.post("/crates/movements", move("out", 10))
    nord = {"kind": crates, "customer": "Café Nord", "counted": 8, "reason": "two were crushed"}

    lost = api.post("/crates/counts", nord)
    same = api.refuse("/crates/counts", nord, 422, "invalid")
    found = api.post("/crates/counts", {"kind": crates, "counted": 41, "reason": "behind a rack"})

    assert (lost["book"], lost["change"], found["change"]) == (10, -2, 1)
    assert same["errors"][0]["pointer"] == "#/counted"
    assert there(api) == (41, {"Café Nord": 8})


@pytest.mark.usefixtures("crates")
def test_a_movement_that_is_not_right_names_its_field(api: Api) -> None:
    def twice(first: object, second: object) -> list[dict[str, object]]:
        return [{"kind": first, "count": 30}, {"kind": second, "count": 30}]

    for body, pointer in (
        (move("lost", 1), "#/act"),
        (move("out", 0), "#/crates/0/count"),
        (move("out", 1, "Blue"), "#/crates/0/kind"),
        (move("out", 1) | {"customer": "Nobody"}, "#/customer"),
        (move("out", 1) | {"crates": twice("Green 60", "GREEN 60")}, "#/crates"),
        (move("out", 1) | {"crates": twice("Green 60", 1)}, "#/crates"),
    ):
        answer = api.send("POST", "/crates/movements", body)
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["pointer"] == pointer
    assert there(api) == (50, {})


@pytest.mark.usefixtures("crates")
def test_a_kind_of_crate_is_a_card(api: Api) -> None:
    changed = api.send("PATCH", "/crate-kinds/1", {"tare_kg": 2.1}, If_Match='"1"')

    assert changed.json()["tare_kg"] == 2.1
    problem(api.send("POST", "/crate-kinds", {"name": "GREEN 60"}), 409, "name-taken")


@pytest.mark.parametrize(("role", "status"), [("warehouse", 422), ("roaster", 403)])
def test_who_sends_moves_crates(api_as: Callable[..., Api], role: str, status: int) -> None:
    assert api_as(role).send("POST", "/crates/movements", {}).status_code == status


SLIP = {"reason": "booked twice"}


def test_crates_that_never_travelled_are_back_where_they_were(api: Api, crates: str) -> None:
    api.post("/crates/movements", move("out", 5))
    [*_, out] = api.get("/crates/movements")["items"]

    said = api.post(f"/crates/movements/{out['id']}/void", SLIP)

    assert (said["of"], there(api)) == ("Café Nord", (50, {}))
    assert [each["voided"] for each in api.get("/crates/movements")["items"]] == [False, True]
    api.refuse(f"/crates/movements/{out['id']}/void", SLIP, 409, "already-done")
    api.refuse("/crates/movements/99/void", SLIP, 404, "not-found")
    assert crates


@pytest.mark.usefixtures("crates")
def test_a_movement_is_not_taken_back_once_its_crates_moved_on(api: Api) -> None:
    api.post("/crates/movements", move("out", 5))
    api.post("/crates/movements", move("back", 4))

    assert api.refuse("/crates/movements/2/void", SLIP, 409, "crates-short")["there"] == -4
    # The count that brought them in: 46 are left in the house, and 4 of 5 came back.
    assert api.refuse("/crates/movements/1/void", SLIP, 409, "crates-short")["there"] == -1
    assert there(api) == (49, {"Café Nord": 1})


@pytest.mark.usefixtures("crates")
def test_crates_that_went_with_coffee_are_taken_back_with_it(api: Api, bags: str) -> None:
    sent = dispatch(api, {bags: 24}, crates=[{"kind": "Green 60", "count": 3}])

    refused = api.refuse("/crates/movements/2/void", SLIP, 409, "not-voidable")

    assert refused["unit"] == sent["code"]
    api.post(f"/units/{sent['code']}/void", SLIP)
    assert there(api) == (50, {})
