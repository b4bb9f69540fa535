"""Orders of customers: what is open, what went out, and what ends them."""

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from sqlalchemy import Engine, text

from app.shared.db import reading
from tests.api import Api, problem
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes
from tests.serving import Wire, at_once

ORDER: dict[str, Any] = {
    "code": "SO-310", "customer": "Café Nord", "reference": "by mail", "due_on": "2026-11-27",
    "lines": [{"product": "HOUSE-250", "bags": 40}, {"product": "HOUSE-2000", "bags": 2}],
    "note": "ring Ida first",
}  # fmt: skip


@pytest.fixture(autouse=True)
def packs(api: Api) -> None:
    """Fifty bags of 250 g and five of 2 kg on the shelf."""
    furnish(api)
    made = roast(api, {sack_codes(receive(api, 60))[0]: 30}, 25)
    pack(api, {made["code"]: 13}, 50, code="PACK-S")
    pack(api, {made["code"]: 11}, 5, "HOUSE-2000", code="PACK-L")


def bags(order: dict[str, Any]) -> dict[str, tuple[int, int]]:
    """Say of each product how many bags were sent and how many are open."""
    return {line["product"]: (line["sent_bags"], line["open_bags"]) for line in order["lines"]}


def test_an_order_says_what_is_wanted_and_by_when(api: Api) -> None:
    made = api.post("/orders", ORDER)

    assert (made["customer"], made["due_on"], made["state"]) == ("Café Nord", "2026-11-27", "open")
    assert bags(made) == {"HOUSE-250": (0, 40), "HOUSE-2000": (0, 2)}
    assert made["dispatches"] == []
    assert api.get("/orders/so-310") == made
    assert api.get("/orders")["items"] == [
        {name: value for name, value in made.items() if name != "dispatches"}
    ]
    assert api.post("/orders", ORDER | {"code": None})["code"].startswith("O-000002-")


def test_the_journal_keeps_no_note_of_an_order(api: Api, engine: Engine) -> None:
    etag = api.send("POST", "/orders", ORDER).headers["etag"]
    api.send("PATCH", "/orders/SO-310", {"note": "Ida has moved"}, If_Match=etag)

    with reading(engine) as session:
        facts = session.scalars(text("SELECT facts FROM entry WHERE kind LIKE 'order%'")).all()
    assert len(facts) == 2
    assert not any("Ida" in fact for fact in facts)
    assert '"fields":["note"]' in facts[1]


def test_a_dispatch_for_an_order_leaves_open_what_is_still_to_go(api: Api) -> None:
    api.post("/orders", ORDER)

    sent = dispatch(api, {"PACK-S": 30, "PACK-L": 1}, order="so-310")
    partly = api.get("/orders/SO-310")
    dispatch(api, {"PACK-S": 10, "PACK-L": 1}, order="SO-310")
    whole = api.get("/orders/SO-310")

    assert (sent["order"], sent["warnings"]) == ("SO-310", [])
    assert api.get(f"/dispatches/{sent['code']}") == sent
    assert (partly["state"], partly["dispatches"]) == ("open", [sent["code"]])
    assert bags(partly) == {"HOUSE-250": (30, 10), "HOUSE-2000": (1, 1)}
    assert (whole["state"], bags(whole)["HOUSE-250"]) == ("sent", (40, 0))
    assert len(whole["dispatches"]) == 2


def test_more_than_was_ordered_goes_out_with_a_warning(api: Api) -> None:
    api.post("/orders", ORDER | {"lines": [{"product": "HOUSE-250", "bags": 40}]})
    dispatch(api, {"PACK-S": 39}, order="SO-310")

    sent = dispatch(api, {"PACK-S": 2, "PACK-L": 1}, order="SO-310")

    assert sent["warnings"] == [
        "order SO-310 wants 40 bags of HOUSE-250; 41 are sent with these",
        "order SO-310 wants no HOUSE-2000; 1 bags of it are sent",
    ]
    assert api.get(f"/dispatches/{sent['code']}")["warnings"] == sent["warnings"]
    assert bags(api.get("/orders/SO-310")) == {"HOUSE-250": (41, 0)}


def test_a_voided_dispatch_gives_its_bags_back_to_the_order_and_a_return_does_not(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    api.post("/orders", ORDER | {"lines": [{"product": "HOUSE-250", "bags": 40}]})
    mistaken = dispatch(api, {"PACK-S": 40}, order="SO-310")
    api.post(f"/units/{mistaken['code']}/void", {"reason": "wrong lorry"})
    voided = api.get("/orders/SO-310")

    right = dispatch(api, {"PACK-S": 40}, order="SO-310")
    api.post(
        "/returns",
        {"dispatch": right["code"], "reason": "torn", "lines": [{"pack": "PACK-S", "bags": 5}]},
    )

    assert (voided["state"], voided["dispatches"]) == ("open", [])
    assert bags(voided) == {"HOUSE-250": (0, 40)}
    assert api.get("/orders/SO-310")["state"] == "sent"
    book_is_sound()


def test_bags_that_came_back_fill_an_order_as_others_do(api: Api) -> None:
    first = dispatch(api, {"PACK-S": 10})
    lines = [{"pack": "PACK-S", "bags": 5}]
    back = api.post("/returns", {"dispatch": first["code"], "reason": "late", "lines": lines})
    api.post(f"/holds/{back['hold']}/release", {"reason": "tight and clean"})
    api.post("/orders", ORDER)

    dispatch(api, {back["code"]: 5}, order="SO-310")

    assert bags(api.get("/orders/SO-310"))["HOUSE-250"] == (5, 35)


def test_a_dispatch_for_another_customers_order_is_refused(api: Api) -> None:
    api.post("/customers", {"name": "Other"})
    api.post("/orders", ORDER)
    body = {"customer": "Other", "lines": [{"pack": "PACK-S", "bags": 1}]}

    refused = api.refuse("/dispatches", body | {"order": "SO-310"}, 422, "invalid")
    unknown = api.refuse("/dispatches", body | {"order": "SO-999"}, 422, "unknown-reference")

    assert refused["errors"][0]["pointer"] == unknown["errors"][0]["pointer"] == "#/order"
    assert "is of Café Nord" in refused["detail"]
    assert api.get("/dispatches")["items"] == []


def test_a_cancelled_order_has_its_reason_and_takes_no_dispatch(api: Api) -> None:
    api.post("/orders", ORDER)
    dispatch(api, {"PACK-S": 30}, order="SO-310")

    ended = api.post("/orders/SO-310/cancel", {"reason": "the café closes"})
    body = {"customer": "Café Nord", "order": "SO-310", "lines": [{"pack": "PACK-S", "bags": 1}]}
    refused = api.refuse("/dispatches", body, 409, "order-state")

    assert (ended["state"], ended["cancelled_reason"]) == ("cancelled", "the café closes")
    assert bags(ended) == {"HOUSE-250": (30, 0), "HOUSE-2000": (0, 0)}
    assert (refused["order"], refused["state"]) == ("SO-310", "cancelled")
    api.refuse("/orders/SO-310/cancel", {"reason": "again"}, 409, "order-state")
    assert len(api.get("/dispatches")["items"]) == 1


def test_what_was_sent_before_an_order_was_cancelled_can_be_corrected(api: Api) -> None:
    api.post("/orders", ORDER)
    dispatch(api, {"PACK-S": 30}, order="SO-310", code="D-1")
    api.post("/orders/SO-310/cancel", {"reason": "the café closes"})
    right = {"corrects": "D-1", "correction_reason": "miscounted"}

    made = dispatch(api, {"PACK-S": 29}, order="SO-310", **right)

    assert made["order"] == "SO-310"
    assert bags(api.get("/orders/SO-310"))["HOUSE-250"] == (29, 0)


def test_a_change_is_made_on_the_order_whatever_went_out_meanwhile(api: Api) -> None:
    etag = api.send("POST", "/orders", ORDER).headers["etag"]
    dispatch(api, {"PACK-S": 30}, order="SO-310")

    lines = [{"product": "HOUSE-250", "bags": 30}]
    changed = api.send(
        "PATCH", "/orders/SO-310", {"lines": lines, "due_on": "2026-11-28"}, If_Match=etag
    )
    late = api.send("PATCH", "/orders/SO-310", {"due_on": "2026-11-29"}, If_Match=etag)

    assert changed.status_code == 200, changed.text
    assert (changed.json()["due_on"], changed.json()["state"]) == ("2026-11-28", "sent")
    assert api.get("/orders/SO-310") == changed.json()
    problem(late, 412, "precondition-failed")
    tag = changed.headers["etag"]
    assert api.send("GET", "/orders/SO-310", If_None_Match=tag).status_code == 304
    problem(api.send("PATCH", "/orders/SO-310", {"note": "x"}, If_Match=tag), 409, "order-state")


@pytest.mark.parametrize(
    ("lines", "pointer"),
    [
        ([{"product": "HOUSE-250", "bags": 29}], "#/lines/0/bags"),
        ([{"product": "HOUSE-2000", "bags": 2}], "#/lines"),
        ([{"product": "NONE", "bags": 2}, {"product": "HOUSE-250", "bags": 40}],
         "#/lines/0/product"),
        ([], "#/lines"),
    ],
)  # fmt: skip
def test_an_order_cannot_want_less_than_went_out(
    api: Api, lines: list[dict[str, Any]], pointer: str
) -> None:
    api.post("/orders", ORDER)
    dispatch(api, {"PACK-S": 30}, order="SO-310")
    before = api.send("GET", "/orders/SO-310")

    answer = api.send("PATCH", "/orders/SO-310", {"lines": lines}, If_Match=before.headers["etag"])

    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == pointer
    assert api.get("/orders/SO-310") == before.json()


@pytest.mark.parametrize(
    ("change", "slug", "pointer"),
    [
        ({"customer": "Nobody"}, "unknown-reference", "#/customer"),
        ({"due_on": "27.11.2026"}, "invalid", "#/due_on"),
        ({"lines": [{"product": "HOUSE-250", "bags": 0}]}, "invalid", "#/lines/0/bags"),
        ({"lines": [{"product": "X-1", "bags": 1}]}, "unknown-reference", "#/lines/0/product"),
        ({"lines": [{"product": "house-250", "bags": 1}] * 2}, "invalid", "#/lines"),
        ({"code": "O-000001-A"}, "invalid", "#/code"),
    ],
)
def test_an_order_that_makes_no_sense_is_refused(
    api: Api, change: dict[str, Any], slug: str, pointer: str
) -> None:
    refused = api.refuse("/orders", ORDER | change, 422, slug)

    assert refused["errors"][0]["pointer"] == pointer
    assert api.get("/orders")["items"] == []


def test_orders_are_found_by_state_customer_and_day(api: Api) -> None:
    api.post("/customers", {"name": "Other"})
    for code, customer, due_on in (
        ("A-1", "Café Nord", "2026-11-26"), ("A-2", "Other", "2026-11-27"),
        ("A-3", "Café Nord", "2026-11-28"),
    ):  # fmt: skip
        lines = [{"product": "HOUSE-250", "bags": 5}]
        api.post("/orders", {"code": code, "customer": customer, "due_on": due_on, "lines": lines})
    dispatch(api, {"PACK-S": 5}, order="A-1")
    api.post("/orders/A-2/cancel", {"reason": "twice"})

    def found(query: str) -> list[str]:
        return [each["code"] for each in api.get(f"/orders?{query}")["items"]]

    assert (found("state=open"), found("state=sent"), found("state=cancelled")) == (
        ["A-3"], ["A-1"], ["A-2"],
    )  # fmt: skip
    assert found("customer=caf%C3%A9%20nord") == ["A-1", "A-3"]
    assert found("due_from=2026-11-27&due_to=2026-11-28") == ["A-2", "A-3"]
    problem(api.send("GET", "/orders?state=late"), 422, "invalid")


def test_an_order_is_kept_by_the_office_and_not_by_the_roaster(
    api_as: Callable[..., Api],
) -> None:
    api_as("buyer").post("/orders", ORDER)
    api_as("warehouse").post("/orders", ORDER | {"code": "SO-311"})

    api_as("roaster").refuse("/orders", ORDER | {"code": "SO-312"}, 403, "forbidden")


def test_an_order_is_cancelled_or_sent_when_both_happen_at_once(api: Api, wire: Wire) -> None:
    for n in range(4):
        api.post("/orders", {"code": f"RACE-{n}"} | {k: v for k, v in ORDER.items() if k != "code"})
        sending = {
            "customer": "Café Nord", "order": f"RACE-{n}", "lines": [{"pack": "PACK-S", "bags": 1}],
        }  # fmt: skip

        sent, ended = at_once([
            partial(wire.post, "/dispatches", sending),
            partial(wire.post, f"/orders/RACE-{n}/cancel", {"reason": "closed"}),
        ])  # fmt: skip

        assert ended.status_code == 201
        line = api.get(f"/orders/RACE-{n}")["lines"][1]
        assert line["sent_bags"] == (1 if sent.status_code == 201 else 0)
        assert sent.status_code == 201 or problem(sent, 409, "order-state")
