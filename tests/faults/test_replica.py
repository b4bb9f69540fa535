"""A hot standby that reads along: own writes are read back, and it takes over without a loss.

Streaming replication, `synchronous_standby_names` and promotion as in the PostgreSQL manual, "High
Availability, Load Balancing, and Replication".
"""

import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from time import monotonic

import httpx
import pytest
from sqlalchemy import func, select
from sqlmodel import col

from app.ledger.checks import check_book
from app.ledger.tables import BookCheck, Entry
from app.main import create_app
from app.shared.db import open_engine, reading, writing
from app.shared.sign_in import revoke_tokens
from app.shared.times import now
from tests.api import Api, problem
from tests.faults.pair import Pair
from tests.figures import figures
from tests.makers import furnish, receive, sack_codes
from tests.serving import ServiceProcess, Wire

_RECEIVING = "jutebook_replica_receiving[]"
_LAG_S = "jutebook_replica_lag_seconds[]"
_BEHIND = "jutebook_replica_entries_behind[]"


@pytest.fixture
def pair() -> Iterator[Pair]:
    with ExitStack() as stack:
        yield Pair(stack)


def test_what_is_booked_is_read_back_from_the_replica_and_without_it_from_the_database(
    pair: Pair,
) -> None:
    service = create_app(pair.settings)
    api = Api(service, pair.token)
    furnish(api)

    lot = receive(api, 60, 61, lot="GL-1")
    sacks = sack_codes(lot)
    at_once = [api.get(f"/sacks/{code}")["on_hand_kg"] for code in sacks]
    followed = figures(api)
    pair.standby.pause()
    api.post("/holds", {"units": ["GL-1"], "reason": "smells musty"})
    held = api.get(f"/sacks/{sacks[0]}")["held"]
    behind = figures(api)["jutebook_replica_entries_behind[]"]
    pair.standby.resume()
    pair.standby.stop()
    without = api.get(f"/sacks/{sacks[0]}")["held"]
    gone = figures(api)["jutebook_replica_up[]"]
    pair.standby.start()
    back = api.get(f"/sacks/{sacks[0]}")["held"]

    assert at_once == [60, 61]
    assert followed["jutebook_replica_up[]"] == 1
    assert held is True
    assert behind == 1
    assert without is True
    assert gone == 0
    assert back is True
    api.close()


def test_of_a_token_that_was_revoked_an_older_replica_is_not_asked(pair: Pair) -> None:
    service = create_app(pair.settings)
    api = Api(service, pair.token)
    furnish(api)

    pair.standby.pause()
    with writing(service.state.engine) as session:
        assert revoke_tokens(session, "Quill") == 1
    # Every connection of the service is cut, while the database itself is there.
    with pair.primary.as_superuser() as server:
        server.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            "WHERE datname = 'book' AND pid <> pg_backend_pid()"
        )
    refused = api.send("GET", "/suppliers")
    pair.standby.resume()

    problem(refused, 401, "unauthorized")
    api.close()


def test_questions_are_answered_while_the_database_is_gone_and_writes_wait_for_it(
    pair: Pair,
) -> None:
    service = create_app(pair.settings)
    api = Api(service, pair.token)
    furnish(api)
    receive(api, 60, lot="GL-1")
    api.get("/lots/GL-1")

    pair.primary.crash()
    traced = api.get("/trace/GL-1?direction=forward")
    refused = api.send("POST", "/suppliers", {"name": "Nobody"}, Idempotency_Key="k-1")
    unready = api.send("GET", "/readyz")
    pair.primary.start()
    again = api.send("POST", "/suppliers", {"name": "Nobody"}, Idempotency_Key="k-1")

    assert traced["of"]["code"] == "GL-1"
    assert problem(refused, 503, "busy")
    assert refused.headers["retry-after"]
    assert problem(unready, 503, "busy")
    assert again.status_code == 201
    api.close()


def test_how_the_replica_follows_is_told_also_while_the_database_is_gone(pair: Pair) -> None:
    service = create_app(pair.settings)
    api = Api(service, pair.token)
    furnish(api)
    with writing(service.state.engine) as session:
        session.add(BookCheck(checked_at=now(), entries=3, sha256="0" * 64, differences=0))

    follows = _told(api, lambda told: told.get(_RECEIVING) == 1 and told.get(_LAG_S) == 0)
    pair.standby.pause()
    receive(api, 60, lot="GL-1")
    # What was booked is on its way there for a moment.
    late = _told(api, lambda told: told[_LAG_S] > 0)
    pair.standby.resume()
    again = _told(api, lambda told: told[_LAG_S] == 0 and told[_BEHIND] == 0)
    pair.primary.crash()
    alone = _told(api, lambda told: told[_RECEIVING] == 0)
    pair.standby.stop()
    nobody = figures(api)
    pair.standby.start()
    pair.standby.promote()
    promoted = figures(api)

    assert follows["jutebook_database_up[]"] == follows["jutebook_replica_up[]"] == 1
    assert late[_BEHIND] == 1
    assert again["jutebook_replica_entries[]"] == again["jutebook_entries[]"]
    # How many entries there are without it is known to nobody.
    assert alone["jutebook_database_up[]"] == 0
    assert alone["jutebook_replica_up[]"] == 1
    assert alone["jutebook_replica_entries[]"] == again["jutebook_entries[]"]
    assert not {"jutebook_entries[]", _BEHIND} & alone.keys()
    assert alone[_LAG_S] > 0
    assert alone["jutebook_check_entries[]"] == 3
    assert any(name.startswith("jutebook_requests_total") for name in alone)
    assert nobody["jutebook_database_up[]"] == nobody["jutebook_replica_up[]"] == 0
    assert _LAG_S not in nobody
    # Nobody's replica any more, whatever the service was told.
    assert promoted["jutebook_replica_up[]"] == 1
    assert promoted[_RECEIVING] == 0
    assert _LAG_S not in promoted
    api.close()


def _told(api: Api, wanted: Callable[[dict[str, float]], bool]) -> dict[str, float]:
    """Ask for the metrics until they are so."""
    gives_up = monotonic() + 60
    while True:
        told = figures(api)
        if wanted(told):
            return told
        assert monotonic() < gives_up, told


def test_a_promoted_standby_has_every_write_that_was_acknowledged() -> None:
    with ExitStack() as stack:
        pair = Pair(stack, synchronous=True)
        acknowledged: list[str] = []
        with ServiceProcess(pair.settings.model_copy(update={"read_database_url": None})) as first:
            writers = [
                threading.Thread(target=_enter, args=(first.address, pair.token, n, acknowledged))
                for n in range(4)
            ]
            for each in writers:
                each.start()
            while len(acknowledged) < 40:
                assert any(each.is_alive() for each in writers)
            pair.primary.crash()
            pair.standby.promote()
            for each in writers:
                each.join()
        # What the first server promised is kept by the second alone.
        moved = pair.settings.model_copy(
            update={"database_url": pair.standby.url("book"), "read_database_url": None}
        )
        api = Api(create_app(moved), pair.token)
        there = {each["name"] for each in _all(api, "/suppliers")}
        replayed = api.send(
            "POST", "/suppliers", {"name": acknowledged[0]}, Idempotency_Key=acknowledged[0]
        )
        api.close()
        engine = open_engine(pair.standby.url("book"))
        with reading(engine) as session:
            differs = list(check_book(session))
            entries = session.scalar(select(func.count(col(Entry.id))))
        engine.dispose()

    assert set(acknowledged) <= there
    assert replayed.status_code == 201, replayed.text
    assert replayed.headers["idempotency-replayed"] == "true"
    assert differs == []
    assert entries == len(there)


def _enter(address: str, token: str, writer: int, acknowledged: list[str]) -> None:
    with Wire(address, token) as wire:
        for number in range(10_000):
            name = f"supplier-{writer}-{number}"
            try:
                answer = wire.post("/suppliers", {"name": name}, key=name)
            except httpx.HTTPError:
                return
            if answer.status_code != 201:
                return
            acknowledged.append(name)


def _all(api: Api, path: str) -> Iterator[dict[str, object]]:
    cursor = ""
    while True:
        page = api.get(f"{path}?limit=500{cursor}")
        yield from page["items"]
        if not page.get("next_cursor"):
            return
        cursor = f"&cursor={page['next_cursor']}"
