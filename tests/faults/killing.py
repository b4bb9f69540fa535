"""A server that is killed again and again while clients write; then every write is accounted for.

What was acknowledged is there, what was not is there whole or not at all, and a retry with its key
books once and is answered the same. Every other server is killed at any moment of its life, every
other while answers are on their way: all clients stop listening, and as soon as a few answers lie
there unread, it is gone. So there are writes of each kind that were booked and nobody knows it.
"""

import random
import select as sockets
import socket
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from decimal import Decimal
from http.client import HTTPConnection, HTTPException
from itertools import count
from typing import Any, Final, NamedTuple, Self
from urllib.parse import urlsplit

from sqlalchemy import select
from sqlmodel import col

from app.ledger.checks import check_book
from app.ledger.tables import Entry
from app.main import create_app, open_book
from app.settings import Settings
from app.shared.answers import to_json
from app.shared.db import open_engine, reading, writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api
from tests.makers import PASSING, furnish, receive, sack_codes
from tests.serving import PATIENCE_S, ServerProcess, ServiceProcess

_SACKS: Final = 8
_SACK_KG: Final = 20_000
"""More than all rounds draw: a big bag, so that no write is refused."""


Serve = Callable[[Settings], ServerProcess]
"""Starts a server that can be killed."""
_BOOKED: Final = b"HTTP/1.1 2"
"""How every answer begins that acknowledges a write."""


class Written(NamedTuple):
    """A write that a client sent."""

    path: str
    body: Any
    key: str


@dataclass
class Tally:
    """What became of all writes."""

    rounds: int = 0
    acknowledged: dict[str, tuple[Written, bytes]] = field(default_factory=dict)
    """By key: the write, and what was answered."""
    in_doubt: list[Written] = field(default_factory=list)
    """Sent, and the server was gone before its answer was read."""
    unread: list[str] = field(default_factory=list)
    """By key, of those in doubt: acknowledged when the server was gone, and nobody had read it."""
    found_booked: set[str] = field(default_factory=set)
    """By key, of those in doubt: had been booked all the same, as it turned out."""
    flaws: list[str] = field(default_factory=list)


class House:
    """A roastery with a few big sacks, on a database of its own."""

    def __init__(self, url: str, sack_kg: int = _SACK_KG, busy_timeout_s: int = 30) -> None:
        self.settings = Settings(
            database_url=url, hold_on_arrival=False, token_requests_a_minute=10_000_000,
            busy_timeout_s=busy_timeout_s, _env_file=None,
        )  # fmt: skip
        self._service = create_app(self.settings)
        with writing(self._service.state.engine) as session:
            self.token = add_token(session, "Quill", [Role.ADMIN])
        self._service.state.engine.dispose()
        with self.api() as api:
            furnish(api)
            self.sacks = sack_codes(receive(api, *[sack_kg] * _SACKS, lot="GL-1"))

    @contextmanager
    def api(self) -> Iterator[Api]:
        """Let somebody in, at a service that has just opened the book and leaves it afterwards."""
        open_book(self._service, self.settings)
        api = Api(self._service, self.token)
        try:
            yield api
        finally:
            api.close()
            self._service.state.engine.dispose()


def acts(house: House, who: str, seed: float) -> Iterator[Written]:
    """Draw, sample, move, measure and note, without end; each with a key of its own."""
    chance = random.Random(seed)  # noqa: S311 - no secret
    for number in count(1):
        sack = chance.choice(house.sacks)
        key = f"{who}-{number}"
        yield chance.choice([
            Written("/roasts", {
                "machine": "DRUM-75", "end_kg": Decimal("0.85"),
                "draws": [{"sack": sack, "kg": Decimal(1)}],
            } | PASSING, key),
            Written("/adjustments", {"unit": sack, "kg": -1, "reason": "sample"}, key),
            Written("/moves", {"sacks": [sack], "to": chance.choice(["A-01", "B-02"])}, key),
            Written("/readings", {"subject": "GL-1", "kind": "moisture", "value": 11}, key),
            Written("/suppliers", {"name": f"Coop {key}"}, key),
        ])  # fmt: skip


class Line:
    """A connection whose answers can be seen to have come without being read."""

    def __init__(self, address: str, token: str) -> None:
        self._connection = HTTPConnection(urlsplit(address).netloc, timeout=PATIENCE_S)
        self._headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}

    def send(self, write: Written) -> None:
        headers = self._headers | {"Idempotency-Key": write.key}
        self._connection.request("POST", f"/api/v1{write.path}", to_json(write.body), headers)

    def wait_for_answer(self) -> bool:
        """Wait until something comes, and tell without taking it whether it says "booked"."""
        sockets.select([self._connection.sock], [], [], PATIENCE_S)
        return self._connection.sock.recv(len(_BOOKED), socket.MSG_PEEK) == _BOOKED

    def read(self) -> tuple[int, bytes]:
        answer = self._connection.getresponse()
        return answer.status, answer.read()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._connection.close()


class Life:
    """One life of a server: who listens to it, and what comes of what they wrote."""

    def __init__(self, house: House, tally: Tally, serve: Serve) -> None:
        self._token = house.token
        self._tally = tally
        self._answers, self._deaf = threading.Event(), threading.Event()
        self._unread = threading.Semaphore(0)
        self._server = serve(house.settings)

    def write(self, acts: Iterator[Written]) -> None:
        """Write until the server does not answer any more, or nobody listens to it."""
        with Line(self._server.address, self._token) as line:
            for write in acts:
                try:
                    line.send(write)
                    booked = line.wait_for_answer()
                    if self._deaf.is_set():
                        self._leave_unread(write, booked=booked)
                        return
                    self._hear(write, *line.read())
                except (OSError, HTTPException):
                    self._tally.in_doubt.append(write)
                    return

    def _hear(self, write: Written, status: int, said: bytes) -> None:
        self._answers.set()
        if status in {200, 201}:
            self._tally.acknowledged[write.key] = (write, said)
        elif status not in {409, 503}:
            self._tally.flaws.append(f"{write} was answered {status}: {said!r}")

    def _leave_unread(self, write: Written, *, booked: bool) -> None:
        self._tally.in_doubt.append(write)
        if booked:
            self._tally.unread.append(write.key)
            self._unread.release()

    def end(self, after_s: float, unread: int) -> None:
        """Kill the server a while after its first answer, when so many answers lie there unread."""
        self._answers.wait(PATIENCE_S)
        time.sleep(after_s)
        if unread:
            self._deaf.set()
        for _ in range(unread):
            if not self._unread.acquire(timeout=PATIENCE_S):
                break  # too many were refused: fewer have to do
        self._server.kill()


def _nothing() -> None:
    pass


def kill_again_and_again(
    url: str,
    rounds: int,
    clients: int = 16,
    life_s: float = 4,
    seed: int = 1,
    *,
    serve: Serve = ServiceProcess,
    before: Callable[[], None] = _nothing,
    after: Callable[[], None] = _nothing,
) -> Iterator[Tally]:
    """Kill a server so many times within seconds; hands out the tally after each time.

    `before` and `after` are what is done to its disk before each life and after each death.
    """
    house, chance, tally = House(url), random.Random(seed), Tally()  # noqa: S311 - no secret
    for number in range(rounds):
        doubted = len(tally.in_doubt)
        before()
        life = Life(house, tally, serve)
        with ThreadPoolExecutor(clients) as pool:
            writers = [
                pool.submit(life.write, acts(house, f"r{number}-c{each}", chance.random()))
                for each in range(clients)
            ]
            unread = chance.randint(1, clients // 2) if number % 2 else 0
            life.end(chance.uniform(0, life_s), unread)
            for each in writers:
                each.result()
        after()
        tally.rounds += 1
        _send_again(house, tally, tally.in_doubt[doubted:], chance)
        yield tally
    tally.flaws += examine(house, tally)


def _send_again(house: House, tally: Tally, doubted: list[Written], chance: random.Random) -> None:
    """Retry what nobody knows of, and some of what was acknowledged."""
    known = chance.sample(list(tally.acknowledged.values()), min(16, len(tally.acknowledged)))
    with house.api() as api:
        for write in doubted:
            answer = api.send("POST", write.path, write.body, Idempotency_Key=write.key)
            if answer.is_success:
                if "idempotency-replayed" in answer.headers:
                    tally.found_booked.add(write.key)
                tally.acknowledged[write.key] = (write, answer.content)
            elif answer.status_code != 409:
                tally.flaws.append(f"{write} sent again was answered {answer.status_code}")
        for write, said in known:
            answer = api.send("POST", write.path, write.body, Idempotency_Key=write.key)
            if "idempotency-replayed" not in answer.headers:
                tally.flaws.append(f"{write} was acknowledged and is not there: {answer.text}")
            elif answer.content != said:
                tally.flaws.append(f"{write} is answered otherwise when it is sent again")


def examine(house: House, tally: Tally) -> Iterator[str]:
    """Hold the journal against what clients know, and let the book check itself."""
    engine = open_engine(house.settings.database_url)
    with reading(engine) as session:
        said = session.scalars(select(col(Entry.idempotency_key)))
        keys = [key for key in said if key is not None]
        yield from check_book(session)
    engine.dispose()
    acknowledged = set(tally.acknowledged)
    if lost := set(tally.unread) - tally.found_booked:
        yield f"acknowledged, although nobody read it, and not there: {sorted(lost)[:5]}"
    if len(keys) != len(set(keys)):
        yield "a key was booked twice"
    if lost := acknowledged - set(keys):
        yield f"acknowledged and not there: {sorted(lost)[:5]}"
    if more := set(keys) - acknowledged:
        yield f"there, and nobody was told so after a retry: {sorted(more)[:5]}"
