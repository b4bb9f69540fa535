"""Certificates as cards, and putting them on record for lots."""

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError

from app.settings import Settings
from app.shared.db import writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api, problem
from tests.makers import furnish, receive
from tests.serving import ServiceProcess, Wire, at_once

ORGANIC: dict[str, Any] = {
    "code": "ORG-7", "scheme": "Organic farming of Zumaque", "claim": "organic",
    "number": "ZU-BIO-140/2026-007", "holder": "Cooperative of the Upper Wolima",
    "body": "ZU-BIO-140", "valid_from": "2026-01-01", "valid_until": "2026-12-31",
}  # fmt: skip
"""An invented certificate, valid on the day the lots of `receive` come: 2 March 2026."""


def put(api: Api, lot: str, code: str = "ORG-7", **more: object) -> Any:
    """Put a certificate on record for a lot."""
    return api.post(f"/lots/{lot}/certificates", {"certificate": code} | more)


def test_a_certificate_is_a_card_that_is_found_by_its_code(api: Api) -> None:
    card = api.post("/certificates", ORGANIC | {"code": "org-7", "claim": " Organic "})

    assert card == ORGANIC | {"id": 1, "version": 1, "withdrawn_on": None}
    assert api.get("/certificates/org-7") == card
    assert api.get("/certificates")["items"] == [card]
    api.refuse("/certificates", ORGANIC | {"number": "another"}, 409, "code-taken")


@pytest.mark.parametrize(
    ("said", "pointer"),
    [
        ({"claim": "organic & fair"}, "#/claim"),
        ({"claim": ""}, "#/claim"),
        ({"claim": "x" * 41}, "#/claim"),
        ({"code": "ORG 7"}, "#/code"),
        ({"scheme": " "}, "#/scheme"),
        ({"valid_from": None}, "#/valid_from"),
        ({"valid_from": 20260101}, "#/valid_from"),
        ({"valid_until": "2025-12-31"}, "#"),
        ({"withdrawn_on": "soon"}, "#/withdrawn_on"),
        ({"brand": "x"}, "#/brand"),
    ],
)
def test_a_wrong_field_of_a_certificate_is_named_and_nothing_is_stored(
    api: Api, said: dict[str, Any], pointer: str
) -> None:
    refusal = api.refuse("/certificates", ORGANIC | said, 422, "invalid")

    assert [error["pointer"] for error in refusal["errors"]] == [pointer]
    assert api.get("/certificates")["items"] == []
    assert api.get("/entries")["items"] == []


def test_a_certificate_of_one_day_and_one_without_an_end_are_taken(api: Api) -> None:
    day = ORGANIC | {"valid_until": ORGANIC["valid_from"]}
    api.post("/certificates", day)
    open_ended = api.post("/certificates", ORGANIC | {"code": "ORG-8", "valid_until": None})

    assert open_ended["valid_until"] is None


def change(api: Api, said: dict[str, Any], version: int = 1) -> Any:
    return api.send("PATCH", "/certificates/ORG-7", said, If_Match=f'"{version}"')


@pytest.mark.parametrize(
    ("said", "pointer"),
    [
        ({"valid_until": "2025-12-31"}, "#/valid_until"),
        ({"valid_from": "2027-01-01"}, "#/valid_from"),
        ({"valid_from": "2027-01-02", "valid_until": "2027-01-01"}, "#/valid_until"),
        ({"claim": "fair"}, "#/claim"),
        ({"code": "ORG-8"}, "#/code"),
        ({"valid_from": None}, "#"),
        ({}, "#"),
    ],
)
def test_a_change_that_cannot_be_is_refused_and_changes_nothing(
    api: Api, said: dict[str, Any], pointer: str
) -> None:
    before = api.post("/certificates", ORGANIC)

    refusal = problem(change(api, said), 422, "invalid")

    assert [error["pointer"] for error in refusal["errors"]] == [pointer]
    assert api.get("/certificates/ORG-7") == before


def test_a_change_names_the_version_it_was_made_on(api: Api) -> None:
    api.post("/certificates", ORGANIC)

    changed = change(api, {"valid_until": "2027-06-30", "holder": None})
    late = change(api, {"withdrawn_on": "2026-05-01"})

    assert changed.status_code == 200
    assert (changed.json()["valid_until"], changed.json()["holder"]) == ("2027-06-30", None)
    problem(late, 412, "precondition-failed")
    assert change(api, {"withdrawn_on": "2026-05-01"}, version=2).status_code == 200
    kinds = [entry["kind"] for entry in api.get("/entries")["items"]]
    assert kinds == ["certificate entered", "certificate changed", "certificate changed"]


def test_a_certificate_is_put_on_record_for_a_lot_once(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-1", certificate="ORGANIC (as printed)")
    api.post("/certificates", ORGANIC)

    made = put(api, "gl-1", "org-7", transaction="COI.ZU.2026.0000012", note="seen in original")

    assert (made["lot"], made["certificate"], made["claim"]) == ("GL-1", "ORG-7", "organic")
    assert (made["transaction"], made["note"]) == ("COI.ZU.2026.0000012", "seen in original")
    assert made["recorded_by"] == "admin"
    assert made["withdrawn_at"] is None
    again = {"certificate": "ORG-7"}
    refusal = api.refuse("/lots/GL-1/certificates", again, 409, "already-done")
    assert refusal["id"] == made["id"]
    assert api.get("/lots/GL-1/certificates")["items"] == [made]
    assert api.get("/lots/GL-1")["claims"] == ["organic"]
    book_is_sound()


def test_words_printed_on_a_sack_prove_nothing(api: Api) -> None:
    furnish(api)
    receive(api, 60, lot="GL-1", certificate="organic")

    lot = api.get("/lots/GL-1")

    assert (lot["certificate"], lot["claims"]) == ("organic", [])


def test_a_certificate_put_on_record_by_mistake_is_taken_back_with_a_reason(
    api: Api, book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-1")
    receive(api, 60, lot="GL-2")
    api.post("/certificates", ORGANIC)
    first = put(api, "GL-1")
    path = f"/certificates/{first['id']}/withdraw"

    api.refuse(f"/lots/GL-2{path}", {"reason": "another lot"}, 404, "not-found")
    api.refuse(f"/lots/GL-1{path}", {"reason": " "}, 422, "invalid")
    back = api.post(f"/lots/GL-1{path}", {"reason": "it was for GL-2"})
    api.refuse(f"/lots/GL-1{path}", {"reason": "again"}, 409, "already-done")

    assert (back["withdrawn_by"], back["withdrawn_because"]) == ("admin", "it was for GL-2")
    assert back["withdrawn_at"]
    assert api.get("/lots/GL-1")["claims"] == []
    second = put(api, "GL-1")
    assert [each["id"] for each in api.get("/lots/GL-1/certificates")["items"]] == [
        first["id"], second["id"],
    ]  # fmt: skip
    assert api.get("/lots/GL-1")["claims"] == ["organic"]
    book_is_sound()


def test_what_cannot_have_a_certificate_is_refused(api: Api) -> None:
    furnish(api)
    sack = receive(api, 60, lot="GL-1")["sacks"][0]["code"]
    receive(api, 60, lot="GL-2")
    api.post("/certificates", ORGANIC)
    api.post("/units/GL-2/void", {"reason": "booked twice"})
    before = api.get("/entries?limit=500")
    body = {"certificate": "ORG-7"}

    api.refuse(f"/lots/{sack}/certificates", body, 409, "wrong-kind")
    api.refuse("/lots/GL-2/certificates", body, 409, "voided")
    api.refuse("/lots/GL-404/certificates", body, 404, "unknown-code")
    unknown = {"certificate": "ORG-404"}
    named = api.refuse("/lots/GL-1/certificates", unknown, 422, "unknown-reference")

    assert named["errors"][0]["pointer"] == "#/certificate"
    assert api.get("/entries?limit=500") == before


def test_lots_are_found_by_the_certificate_that_stands_for_them(api: Api) -> None:
    furnish(api)
    for number in (1, 2, 3):
        receive(api, 60, lot=f"GL-{number}")
    api.post("/certificates", ORGANIC)
    put(api, "GL-1")
    taken_back = put(api, "GL-2")
    api.post(f"/lots/GL-2/certificates/{taken_back['id']}/withdraw", {"reason": "not of it"})

    found = [lot["code"] for lot in api.get("/lots?certificate=org-7")["items"]]

    assert found == ["GL-1"]
    problem(api.send("GET", "/lots?certificate=ORG-404"), 404, "not-found")


def test_two_who_put_one_certificate_on_record_at_once_make_one_record(
    api: Api, engine: Engine, settings: Settings
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-1")
    api.post("/certificates", ORGANIC)
    with writing(engine) as session:
        token = add_token(session, "ida", list(Role))

    with ServiceProcess(settings) as server, Wire(server.address, token) as wire:
        act = partial(wire.post, "/lots/GL-1/certificates", {"certificate": "ORG-7"})
        answers = at_once([act] * 4)

    assert sorted(answer.status_code for answer in answers) == [201, 409, 409, 409]
    assert len(api.get("/lots/GL-1/certificates")["items"]) == 1


@pytest.mark.parametrize("table", ["lot_certificate", "lot_certificate_withdrawal"])
@pytest.mark.parametrize("act", ["UPDATE {} SET entry_id = 1", "DELETE FROM {}"])
def test_what_was_put_on_record_can_be_neither_changed_nor_deleted(
    api: Api, engine: Engine, table: str, act: str
) -> None:
    furnish(api)
    receive(api, 60, lot="GL-1")
    api.post("/certificates", ORGANIC)
    number = put(api, "GL-1")["id"]
    api.post(f"/lots/GL-1/certificates/{number}/withdraw", {"reason": "not of it"})

    with pytest.raises(DBAPIError, match="append-only"), writing(engine) as session:
        session.execute(text(act.format(table)))
