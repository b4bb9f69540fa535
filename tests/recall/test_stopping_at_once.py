"""A stop while others draw, pack and send at the same moment: nothing slips between."""

import threading
from collections.abc import Callable
from functools import partial
from typing import Any

import httpx

from tests.api import Api, kg, problem
from tests.makers import dispatch, furnish, pack, receive, roast, sack_codes
from tests.serving import Wire, at_once

Answers = list[tuple[str, bool, httpx.Response]]


def test_once_a_stop_is_answered_nothing_it_reaches_moves_on_and_all_that_left_is_listed(
    api: Api, wire: Wire, book_is_sound: Callable[[], None]
) -> None:
    furnish(api)
    (sack,) = sack_codes(receive(api, 60, lot="LOT-A"))
    roast(api, {sack: 30}, kg("25.5"), code="RB-1")
    pack(api, {"RB-1": 10}, 40, code="PK-1")
    dispatch(api, {"PK-1": 1})
    case = {"code": "RC-1", "kind": "recall", "trigger": {"kind": "complaint", "text": "mould"}}
    api.post("/recalls", case | {"start": {"units": ["LOT-A"]}})
    draws = [{"sack": sack, "kg": kg("0.02")}]
    filled = [{"unit": "RB-1", "kg": kg("0.25")}]
    lines = [{"pack": "PK-1", "bags": 1}]
    acts: list[tuple[str, dict[str, Any]]] = [
        ("/roasts", {"machine": "DRUM-75", "end_kg": kg("0.017"), "draws": draws}),
        ("/packs", {"product": "HOUSE-250", "bags": 1, "from": filled}),
        ("/dispatches", {"customer": "Café Nord", "lines": lines}),
    ]
    under_way = threading.Semaphore(0)
    stopped = threading.Event()

    def go_on(path: str, body: dict[str, Any]) -> Answers:
        answers: Answers = []
        while True:
            late = stopped.is_set()
            answers.append((path, late, wire.post(path, body)))
            under_way.release()
            if late:
                return answers

    def stop() -> Answers:
        for _ in range(9):
            under_way.acquire()
        answer = wire.post("/recalls/RC-1/stop", {"reason": "mould"})
        stopped.set()
        return [("stop", False, answer)]

    doing: list[Callable[[], Answers]] = [partial(go_on, *act) for act in acts]
    *others, [(_, _, answer)] = at_once([*doing, stop])

    assert answer.status_code == 201, answer.text
    made = [each for answers in others for each in answers]
    for _, late, other in made:
        if late or other.status_code != 201:
            problem(other, 409, "on-hold")
    accepted = [(path, other.json()) for path, _, other in made if other.status_code == 201]
    sent = {each["code"] for path, each in accepted if path == "/dispatches"}
    (customer,) = answer.json()["left_the_house"]
    assert {each["code"] for each in customer["dispatches"]} >= sent
    assert customer["bags"] == len(sent) + 1
    for path, each in accepted:
        if path != "/dispatches":
            assert wire.get(f"/units/{each['code']}")["held"]
    kinds = [each["kind"] for each in wire.get("/entries?limit=500")["items"]]
    after = kinds[kinds.index("recall stopped") + 1 :]
    assert not {"roast", "pack", "dispatch"} & set(after)
    assert wire.get("/recalls/RC-1/changes")["same"]
    book_is_sound()


def test_two_who_stop_one_case_at_once_hold_everything_once(api: Api, wire: Wire) -> None:
    furnish(api)
    (sack,) = sack_codes(receive(api, 60, lot="LOT-A"))
    roast(api, {sack: 30}, kg("25.5"), code="RB-1")
    case = {"code": "RC-1", "kind": "recall", "trigger": {"kind": "complaint", "text": "mould"}}
    api.post("/recalls", case | {"start": {"units": ["LOT-A"]}})

    answers = at_once([partial(wire.post, "/recalls/RC-1/stop", {})] * 3)

    held = [answer.json()["held_units"] for answer in answers]
    assert sorted(held) == [0, 0, 3]
    assert len(api.get("/holds?open=true")["items"]) == 1
