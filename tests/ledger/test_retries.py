"""The same request again: booked once, answered the same, and a key belongs to one request.

The cases are those of the draft "The Idempotency-Key HTTP Header Field"
(draft-ietf-httpapi-idempotency-key-header-07): syntax and enforcement scenarios.
"""

from collections.abc import Callable
from typing import Any

import httpx
import pytest
from sqlalchemy import Engine, func, select
from sqlmodel import col

from app.ledger.tables import Entry
from app.shared.db import reading
from tests.api import Api, kg, problem
from tests.makers import PASSING
from tests.serving import ServiceProcess, Wire


def draw(sack: str, kilograms: str = "1") -> dict[str, Any]:
    """Ask for a roast out of one sack."""
    draws = [{"sack": sack, "kg": kg(kilograms)}]
    return {"machine": "DRUM-75", "draws": draws, "end_kg": kg("0.85")} | PASSING


def entries(engine: Engine) -> int:
    with reading(engine) as session:
        return session.scalar(select(func.count(col(Entry.id)))) or 0


def replayed(answer: httpx.Response) -> bool:
    said: str | None = answer.headers.get("idempotency-replayed")
    return said == "true"


def test_a_request_that_comes_again_is_answered_the_same_and_booked_once(
    api: Api, sack: str, engine: Engine
) -> None:
    first = api.send("POST", "/roasts", draw(sack), Idempotency_Key="scan-7")
    there = entries(engine)

    again = api.send("POST", "/roasts", draw(sack), Idempotency_Key="scan-7")

    assert not replayed(first)
    assert replayed(again)
    assert (again.status_code, again.content) == (201, first.content)
    assert entries(engine) == there
    assert api.get(f"/sacks/{sack}")["on_hand_kg"] == 9


def test_the_first_answer_outlives_the_server_and_what_happened_since(
    sack: str,
    start_process: Callable[[], ServiceProcess],
    call: Callable[[ServiceProcess], Wire],
) -> None:
    before = start_process()
    first = call(before).post("/roasts", draw(sack), key="scan-7")
    code = first.json()["code"]
    call(before).post("/adjustments", {"unit": code, "kg": kg("-0.1"), "reason": "sample"})
    before.kill()

    again = call(start_process()).post("/roasts", draw(sack), key="scan-7")

    assert replayed(again)
    assert (again.status_code, again.content) == (201, first.content)
    assert again.headers["content-type"] == first.headers["content-type"]


def test_a_card_that_is_entered_again_keeps_its_etag(api: Api) -> None:
    first = api.send("POST", "/suppliers", {"name": "Finca"}, Idempotency_Key="k")
    api.send("PATCH", "/suppliers/1", {"name": "Finca El Roble"}, If_Match='"1"')

    again = api.send("POST", "/suppliers", {"name": "Finca"}, Idempotency_Key="k")

    assert replayed(again)
    assert again.headers["etag"] == first.headers["etag"] == '"1"'
    assert again.content == first.content


@pytest.mark.parametrize("key", ["8e03978e-40d5-43e8-bc93-6894a57f9324", "a" * 255, "~!#$%&'*+"])
def test_a_key_counts_the_same_bare_and_quoted(api: Api, sack: str, key: str) -> None:
    first = api.send("POST", "/roasts", draw(sack), Idempotency_Key=f'"{key}"')
    again = api.send("POST", "/roasts", draw(sack), Idempotency_Key=key)

    assert first.status_code == 201
    assert replayed(again)


@pytest.mark.parametrize("key", ["", '""', "a" * 256, "two words", "tab\there"])
def test_a_key_that_is_none_is_refused(api: Api, sack: str, key: str) -> None:
    answer = api.send("POST", "/roasts", draw(sack), Idempotency_Key=key)

    problem(answer, 400, "bad-request")
    assert api.get(f"/sacks/{sack}")["on_hand_kg"] == 10


def test_the_same_key_with_another_body_is_refused_and_books_nothing(
    api: Api, sack: str, engine: Engine
) -> None:
    api.send("POST", "/roasts", draw(sack), Idempotency_Key="scan-7")
    there = entries(engine)

    other = api.send("POST", "/roasts", draw(sack, "2"), Idempotency_Key="scan-7")

    refusal = problem(other, 422, "idempotency-key-reused")
    assert "scan-7" in refusal["detail"]
    assert entries(engine) == there


def test_the_same_key_and_body_at_another_address_is_refused(api: Api, sack: str) -> None:
    first = api.post("/roasts", draw(sack))["code"]
    second = api.post("/roasts", draw(sack))["code"]
    api.send("POST", f"/units/{first}/void", {"reason": "slip"}, Idempotency_Key="oops")

    other = api.send("POST", f"/units/{second}/void", {"reason": "slip"}, Idempotency_Key="oops")

    problem(other, 422, "idempotency-key-reused")
    assert api.get(f"/roasts/{second}")["voided"] is False


def test_a_body_that_is_spelled_otherwise_and_says_the_same_is_the_same(
    api: Api, sack: str
) -> None:
    said = draw(sack.lower(), "1.000")

    first = api.send("POST", "/roasts", draw(sack), Idempotency_Key="scan-7")
    again = api.send("POST", "/roasts", dict(reversed(said.items())), Idempotency_Key="scan-7")

    assert replayed(again)
    assert again.content == first.content


def test_the_key_of_somebody_else_is_another_key(api_as: Callable[..., Api], sack: str) -> None:
    first = api_as("roaster").send("POST", "/roasts", draw(sack), Idempotency_Key="1")
    other = api_as("admin").send("POST", "/roasts", draw(sack), Idempotency_Key="1")

    assert (first.status_code, other.status_code) == (201, 201)
    assert not replayed(other)
    assert first.json()["code"] != other.json()["code"]


def test_a_refused_request_leaves_its_key_free(api: Api, sack: str) -> None:
    asked = draw(sack) | {"machine": "LINE-1"}
    problem(api.send("POST", "/roasts", asked, Idempotency_Key="1"), 409, "wrong-machine")
    problem(api.send("POST", "/roasts", draw(sack, "11"), Idempotency_Key="1"), 409,
            "insufficient-stock")  # fmt: skip

    mended = api.send("POST", "/roasts", draw(sack), Idempotency_Key="1")

    assert mended.status_code == 201
    assert not replayed(mended)


def test_without_a_key_the_same_body_is_booked_again(api: Api, sack: str) -> None:
    codes = {api.post("/roasts", draw(sack))["code"] for _ in range(2)}

    assert len(codes) == 2
    assert api.get(f"/sacks/{sack}")["on_hand_kg"] == 8
