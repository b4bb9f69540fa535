"""A rejection and people who pack, at the same moment."""

import threading

import httpx

from tests.api import Api, kg, problem
from tests.makers import roast
from tests.serving import Wire, at_once

BAG = {"product": "HOUSE-250", "from": [{"unit": "R-1", "kg": kg("0.25")}], "bags": 1}


def test_once_a_rejection_is_answered_nothing_more_is_packed(
    api: Api, wire: Wire, sack: str
) -> None:
    roast(api, {sack: 10}, kg("8.5"), code="R-1")
    under_way = threading.Semaphore(0)
    rejected = threading.Event()

    def pack_on() -> list[tuple[bool, httpx.Response]]:
        answers = []
        while True:
            late = rejected.is_set()
            answers.append((late, wire.post("/packs", BAG)))
            under_way.release()
            if late:
                return answers

    def reject() -> list[tuple[bool, httpx.Response]]:
        for _ in range(5):
            under_way.acquire()
        answer = wire.post("/roasts/R-1/cuppings", {"verdict": "reject"})
        rejected.set()
        return [(False, answer)]

    *packed, [(_, verdict)] = at_once([pack_on, pack_on, pack_on, reject])

    assert verdict.status_code == 201
    for late, answer in (each for answers in packed for each in answers):
        if late or answer.status_code != 201:
            problem(answer, 409, "not-released")
    kinds = [entry["kind"] for entry in wire.get("/entries?limit=500")["items"]]
    assert "pack" in kinds[: kinds.index("cupping")]
    assert "pack" not in kinds[kinds.index("cupping") :]
