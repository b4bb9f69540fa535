"""Many people at one sack at the same moment, at one server and at several."""

import threading
from collections import Counter
from collections.abc import Callable
from functools import partial
from typing import Any

import httpx
import pytest
from sqlalchemy import Engine

from app.shared.db import writing
from tests.api import Api, kg, problem
from tests.serving import ServiceProcess, Wire, at_once

Start = Callable[[], ServiceProcess]
Call = Callable[[ServiceProcess], Wire]


def draw(sack: str, kilograms: str) -> dict[str, Any]:
    """Ask for a roast out of one sack."""
    draws = [{"sack": sack, "kg": kg(kilograms)}]
    return {
        "machine": "DRUM-75", "draws": draws, "end_kg": kg(kilograms), "loss_range_pct": [0, 20],
    }  # fmt: skip


def accepted(answers: list[httpx.Response]) -> int:
    """Count the accepted ones; every other one must say that too little is left."""
    for answer in answers:
        if answer.status_code != 201:
            problem(answer, 409, "insufficient-stock")
    return sum(answer.status_code == 201 for answer in answers)


@pytest.mark.parametrize(
    ("writers", "kilograms", "fit"),
    [(2, "6", 1), (2, "10", 1), (8, "2.5", 4), (8, "3", 3), (8, "10", 1)],
)
def test_as_many_draws_at_once_are_accepted_as_the_sack_holds(
    wire: Wire, sack: str, writers: int, kilograms: str, fit: int
) -> None:
    answers = at_once([partial(wire.post, "/roasts", draw(sack, kilograms))] * writers)

    assert accepted(answers) == fit
    assert wire.get(f"/sacks/{sack}")["on_hand_kg"] == 10 - fit * kg(kilograms)
    assert len(wire.get("/roasts")["items"]) == fit


def test_server_processes_on_one_database_never_overdraw_together(
    sack: str, start_process: Start, call: Call
) -> None:
    lines = [call(start_process()) for _ in range(3)]

    answers = at_once([partial(line.post, "/roasts", draw(sack, "1.5")) for line in lines * 4])

    assert accepted(answers) == 6
    assert lines[0].get(f"/sacks/{sack}")["on_hand_kg"] == 1
    codes = {answer.json()["code"] for answer in answers if answer.status_code == 201}
    assert len(codes) == 6


def test_once_a_hold_is_answered_no_draw_is_accepted(wire: Wire, sack: str) -> None:
    under_way = threading.Semaphore(0)
    held = threading.Event()

    def draw_on() -> list[tuple[bool, httpx.Response]]:
        answers = []
        while True:
            late = held.is_set()
            answers.append((late, wire.post("/roasts", draw(sack, "0.005"))))
            under_way.release()
            if late:
                return answers

    def stop() -> list[tuple[bool, httpx.Response]]:
        for _ in range(10):
            under_way.acquire()
        answer = wire.post("/holds", {"units": [sack], "reason": "it smells of diesel"})
        held.set()
        return [(False, answer)]

    *drawn, [(_, hold)] = at_once([draw_on, draw_on, draw_on, stop])

    assert hold.status_code == 201
    for late, answer in (each for answers in drawn for each in answers):
        if late or answer.status_code != 201:
            problem(answer, 409, "on-hold")
    kinds = [entry["kind"] for entry in wire.get("/entries?limit=500")["items"]]
    assert "roast" in kinds[: kinds.index("hold")]
    assert "roast" not in kinds[kinds.index("hold") :]


def test_whoever_reads_is_answered_while_many_wait_to_write(
    wire: Wire, sack: str, engine: Engine
) -> None:
    under_way = threading.Semaphore(0)
    looked_up = threading.Event()

    def draw_on() -> int:
        under_way.release()
        status = wire.post("/roasts", draw(sack, "1")).status_code
        assert looked_up.is_set(), "a draw was booked by somebody without the pen"
        return status

    def look_up() -> int:
        with writing(engine):  # somebody else, whose disk is slow
            for _ in range(6):
                under_way.acquire()
            for _ in range(20):
                assert wire.get(f"/sacks/{sack}")["on_hand_kg"] == 10
            looked_up.set()
        return 0

    assert at_once([*[draw_on] * 6, look_up]) == [201] * 6 + [0]
    assert wire.get(f"/sacks/{sack}")["on_hand_kg"] == 4


def test_whoever_may_not_or_errs_is_told_while_many_wait_to_write(
    wire: Wire, stranger: Wire, sack: str, engine: Engine
) -> None:
    under_way = threading.Semaphore(0)

    def draw_on() -> int:
        under_way.release()
        return wire.post("/roasts", draw(sack, "1")).status_code

    def err() -> int:
        with writing(engine):  # somebody else, whose disk is slow
            for _ in range(6):
                under_way.acquire()
            for _ in range(10):
                problem(wire.post("/roasts", {}), 422, "invalid")
                problem(stranger.post("/roasts", draw(sack, "1")), 401, "unauthorized")
        return 0

    assert at_once([*[draw_on] * 6, err]) == [201] * 6 + [0]


def test_twins_with_one_key_are_booked_once(wire: Wire, sack: str) -> None:
    answers = at_once([partial(wire.post, "/roasts", draw(sack, "1"), "scan-7")] * 8)

    first = [answer for answer in answers if _is_first(answer)]
    for answer in answers:
        if answer.status_code == 201:
            assert answer.content == first[0].content
        else:
            assert problem(answer, 409, "request-in-flight")
            assert answer.headers["retry-after"]
    assert len(first) == 1
    assert wire.get(f"/sacks/{sack}")["on_hand_kg"] == 9


def _is_first(answer: httpx.Response) -> bool:
    return answer.status_code == 201 and "idempotency-replayed" not in answer.headers


def test_twins_at_two_server_processes_are_booked_once(
    sack: str, start_process: Start, call: Call
) -> None:
    lines = [call(start_process()) for _ in range(2)]

    for number in range(5):
        key = f"scan-{number}"
        answers = at_once([partial(line.post, "/roasts", draw(sack, "1"), key) for line in lines])

        assert [answer.status_code for answer in answers] == [201, 201]
        assert sum(_is_first(answer) for answer in answers) == 1
        assert answers[0].content == answers[1].content
    assert lines[0].get(f"/sacks/{sack}")["on_hand_kg"] == 5


def test_one_code_asked_for_by_many_at_once_is_given_to_one(wire: Wire, sack: str) -> None:
    body = draw(sack, "1") | {"code": "BATCH-1"}

    answers = at_once([partial(wire.post, "/roasts", body)] * 6)

    assert Counter(answer.status_code for answer in answers) == {201: 1, 409: 5}
    for answer in answers:
        if answer.status_code == 409:
            problem(answer, 409, "code-taken")
    assert wire.get(f"/sacks/{sack}")["on_hand_kg"] == 9


def test_a_card_changed_by_many_at_once_loses_nobodys_change(api: Api, wire: Wire) -> None:
    api.post("/suppliers", {"name": "Finca El Roble"})

    answers = at_once(
        [partial(wire.patch, "/suppliers/1", {"name": f"Finca {n}"}, '"1"') for n in range(6)]
    )

    assert Counter(answer.status_code for answer in answers) == {200: 1, 412: 5}
    (changed,) = (answer.json() for answer in answers if answer.status_code == 200)
    assert wire.get("/suppliers")["items"] == [changed]
