"""Ordering labels: of what, how many, how often, and who may."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy import Engine, Executable, delete, update
from sqlalchemy.exc import DBAPIError

from app.labels.tables import LabelLine, LabelOrder
from app.ledger.tables import Entry
from app.shared.db import reading
from tests.api import Api, problem
from tests.labels.paper import fetch, order
from tests.makers import furnish, receive, roast, sack_codes


def test_a_lot_prints_every_sack_that_has_coffee(api: Api) -> None:
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, 60, lot="GL-1"))
    roast(api, {sacks[1]: 60}, 51)

    ordered = api.post("/labels", {"lot": "gl-1"})

    assert ordered["codes"] == [sacks[0], sacks[2]]
    assert ordered["labels"] == 2


def test_a_reprint_is_told_from_the_first_print(
    api_as: Callable[..., Api], api: Api, book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    first, second = sack_codes(receive(api, 60, 60))
    warehouse = api_as("warehouse")

    once = order(warehouse, first, copies=2)
    twice = order(warehouse, first, second, "B-02")
    thrice = order(warehouse, first, "B-02")

    assert once["reprints"] == []
    assert twice["reprints"] == [{"code": first, "reprint": 1}]
    assert thrice["reprints"] == [{"code": first, "reprint": 2}, {"code": "B-02", "reprint": 1}]
    assert "reprint" not in fetch(api, once).text()
    assert "print 2, reprint 1" in fetch(api, twice).text(0)
    assert "reprint" not in fetch(api, twice).text(1)
    listed = api.get("/labels")["items"]
    assert [each["reprinted"] for each in listed] == [0, 1, 2]
    assert [each["labels"] for each in listed] == [2, 3, 2]
    assert {each["printed_by"] for each in listed} == {"warehouse"}
    assert [each["id"] for each in api.get(f"/labels?unit={second}")["items"]] == [2]
    assert api.get("/labels/3") == thrice
    book_is_sound()


def test_every_print_is_a_line_of_the_journal(api: Api, engine: Engine) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60, lot="GL-1"))

    entries = [
        order(api, sack)["entry"],
        api.post("/labels", {"lot": "GL-1"})["entry"],
    ]

    with reading(engine) as session:
        said = [json.loads(session.get_one(Entry, entry).facts)["said"] for entry in entries]
        kinds = [session.get_one(Entry, entry).kind for entry in entries]
    assert kinds == ["labels printed", "labels printed"]
    assert [each["codes"] for each in said] == [[sack], [sack]]
    assert [each["reprint"] for each in said] == [False, True]
    assert [each["reprints"] for each in said] == [{}, {sack: 1}]


def test_the_same_key_orders_once(api: Api) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60))
    asked = {"codes": [sack]}

    first = api.post("/labels", asked, Idempotency_Key="labels-1")
    again = api.send("POST", "/labels", asked, Idempotency_Key="labels-1")

    assert again.headers["idempotency-replayed"] == "true"
    assert again.json()["id"] == first["id"]
    assert len(api.get("/labels")["items"]) == 1


def test_the_same_order_is_the_same_file(api: Api) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60, name="雲南 Yúnnán", origin="CN"))
    ordered = order(api, sack)

    first, second = (api.send("GET", ordered["pdf"]) for _ in range(2))

    assert first.content == second.content
    assert first.headers["content-disposition"] == 'inline; filename="labels-1.pdf"'


def test_a_voided_unit_has_no_label(api: Api) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60))
    made = roast(api, {sack: 20}, 17)
    ordered = order(api, made["code"], sack)
    api.post(f"/units/{made['code']}/void", {"reason": "booked twice"})

    refused = problem(api.send("GET", ordered["pdf"]), 409, "voided")

    assert refused["units"] == [made["code"]]
    assert made["code"] in api.refuse("/labels", {"codes": [made["code"]]}, 409, "voided")["detail"]


def test_codes_that_are_not_there_are_refused_by_name(api: Api) -> None:
    furnish(api)
    [sack] = sack_codes(receive(api, 60, lot="GL-1"))
    misread = f"{sack[:-1]}{'A' if sack[-1] != 'A' else 'B'}"

    unknown = api.refuse("/labels", {"codes": [sack, "C-99"]}, 404, "unknown-code")
    wrong = api.refuse("/labels", {"codes": [misread]}, 404, "misread-code")
    lot = api.refuse("/labels", {"codes": ["GL-1"]}, 409, "wrong-kind")
    nothing = api.refuse("/labels", {"lot": "GL-2"}, 404, "unknown-code")
    one_sack = api.refuse("/labels", {"lot": sack}, 409, "wrong-kind")

    assert "C-99" in unknown["detail"]
    assert misread in wrong["detail"]
    assert "Name it as lot" in lot["detail"]
    assert "GL-2" in nothing["detail"]
    assert sack in one_sack["detail"]
    assert api.get("/labels")["items"] == []


def test_a_code_of_a_sack_and_a_place_must_be_told_apart(api: Api) -> None:
    furnish(api)
    receive(api, 60)
    api.post(
        "/deliveries",
        {
            "supplier": "Finca El Roble",
            "received_at": "2026-03-02T08:00:00Z",
            "lots": [
                {"name": "Guji", "origin": "ET", "sacks": [{"code": "A-01", "net_kg": 30}]},
            ],
        },
    )

    api.refuse("/labels", {"codes": ["A-01"]}, 409, "ambiguous-code")

    unit = order(api, "A-01", subject_kind="unit")
    place = order(api, "A-01", subject_kind="location")
    assert "Guji" in fetch(api, unit).text()
    assert "Rack" in fetch(api, place).text()
    assert place["reprints"] == []


@pytest.mark.parametrize(("asked", "pointer"), [
    ({}, "#"),
    ({"codes": ["A-01"], "lot": "GL-1"}, "#"),
    ({"codes": ["A-01", "a-01"]}, "#"),
    ({"codes": []}, "#/codes"),
    ({"codes": ["A-01"], "size": "huge"}, "#/size"),
    ({"codes": ["A-01"], "sheet": "a3"}, "#/sheet"),
    ({"codes": ["A-01"], "start_at": 2}, "#/start_at"),
    ({"codes": ["A-01"], "sheet": "a4", "start_at": 9}, "#/start_at"),
    ({"codes": ["A-01"], "sheet": "a4", "size": "small", "start_at": 22}, "#/start_at"),
    ({"codes": ["A-01"], "sheet": "a4", "start_at": 0}, "#/start_at"),
    ({"codes": ["A-01"], "copies": 0}, "#/copies"),
    ({"codes": ["A-01"], "copies": True}, "#/copies"),
    ({"codes": ["A-01"] , "colour": "red"}, "#/colour"),
])  # fmt: skip
def test_an_order_that_cannot_be_printed_is_refused_at_its_field(
    api: Api, asked: dict[str, Any], pointer: str
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-1")

    refused = api.refuse("/labels", asked, 422, "invalid")

    assert [error["pointer"] for error in refused["errors"]] == [pointer]
    assert api.get("/labels")["items"] == []


def test_an_order_has_at_most_500_labels(api: Api) -> None:
    furnish(api)
    api.post(
        "/deliveries",
        {
            "supplier": "Finca El Roble",
            "received_at": "2026-03-02T08:00:00Z",
            "lots": [
                {"code": lot, "name": "Guji", "origin": "ET",
                 "sacks": [{"count": count, "net_kg": 30}]}
                for lot, count in (("GL-500", 500), ("GL-501", 501), ("GL-250", 250))
            ],
        },
    )  # fmt: skip

    whole = api.post("/labels", {"lot": "GL-500", "size": "small", "sheet": "a4"})
    over = api.refuse("/labels", {"lot": "GL-501"}, 422, "invalid")
    copies = api.refuse("/labels", {"lot": "GL-250", "copies": 3}, 422, "invalid")

    assert over["errors"][0]["pointer"] == "#/lot"
    assert copies["errors"][0]["pointer"] == "#/copies"
    assert "750 labels" in copies["detail"]
    assert len(fetch(api, whole)) == 24  # 500 labels, 21 to a sheet


def test_an_order_that_was_never_made_is_not_there(api: Api) -> None:
    problem(api.send("GET", "/labels/1"), 404, "not-found")
    problem(api.send("GET", "/labels/1.pdf"), 404, "not-found")
    problem(api.send("GET", "/labels/x.pdf"), 422, "invalid")


def test_buyers_do_not_print_labels(api_as: Callable[..., Api]) -> None:
    api_as("buyer").refuse("/labels", {"codes": ["A-01"]}, 403, "forbidden")


def _refusal(engine: Engine, statement: Executable) -> str:
    with pytest.raises(DBAPIError) as refused, engine.begin() as connection:
        connection.execute(statement)
    return str(refused.value.orig)


def test_a_print_order_stays_as_it_was_made(api: Api, engine: Engine) -> None:
    furnish(api)
    made = order(api, "A-01")

    refusals = [
        _refusal(engine, update(LabelOrder).values(copies=5)),
        _refusal(engine, update(LabelLine).values(reprint=5)),
        _refusal(engine, delete(LabelLine)),
        _refusal(engine, delete(LabelOrder)),
    ]

    assert all("append-only" in refusal for refusal in refusals)
    assert api.get("/labels/1") == made
