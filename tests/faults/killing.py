"""A server that is killed again and again while clients write; then every write is accounted for.

What was acknowledged is there, what was not is there whole or not at all, and a retry with its key
books once and is answered the same.
"""

import random
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final, NamedTuple

import httpx
from sqlalchemy import select
from sqlmodel import col

from app.ledger.checks import check_book
from app.ledger.tables import Entry
from app.main import create_app
from app.settings import Settings
from app.shared.db import open_engine, reading, writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api
from tests.makers import PASSING, furnish, receive, sack_codes
from tests.serving import ServiceProcess, Wire

_SACKS: Final = 8
_SACK_KG: Final = 20_000
"""More than all rounds draw: a big bag, so that no write is refused."""
_ROUGHLY_S: Final = 1.2
"""How long a server lives at most, so that it is killed at any moment of its work."""


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
    """Sent, and the server was gone before it answered."""
    found_booked: int = 0
    """Of those in doubt: how many had been booked all the same."""
    flaws: list[str] = field(default_factory=list)


class House:
    """A roastery with a few big sacks, on a database of its own."""

    def __init__(self, url: str, sack_kg: int = _SACK_KG) -> None:
        self.settings = Settings(
            database_url=url, hold_on_arrival=False, token_requests_a_minute=10_000_000,
            _env_file=None,
        )  # fmt: skip
        service = create_app(self.settings)
        with writing(service.state.engine) as session:
            self.token = add_token(session, "Quill", [Role.ADMIN])
        api = Api(service, self.token)
        furnish(api)
        self.sacks = sack_codes(receive(api, *[sack_kg] * _SACKS, lot="GL-1"))
        api.close()
        service.state.engine.dispose()


def _acts(house: House, who: str, chance: random.Random) -> Iterator[Written]:
    """Draw, sample, move, hold and note, without end; each with a key of its own."""
    number = 0
    while True:
        number += 1
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


def _client(
    house: House, address: str, acts: Iterator[Written], tally: Tally, gone: threading.Event
) -> None:
    """Write until the server does not answer any more."""
    with Wire(address, house.token) as wire:
        while not gone.is_set():
            write = next(acts)
            try:
                answer = wire.post(write.path, write.body, write.key)
            except httpx.HTTPError:
                tally.in_doubt.append(write)
                return
            if answer.is_success:
                tally.acknowledged[write.key] = (write, answer.content)
            elif answer.status_code not in {409, 503}:
                tally.flaws.append(f"{write} was answered {answer.status_code}: {answer.text}")


def kill_again_and_again(
    url: str, rounds: int, clients: int = 16, seed: int = 1
) -> Iterator[Tally]:
    """Kill a server so many times; hands out the tally after each round."""
    house, chance, tally = House(url), random.Random(seed), Tally()  # noqa: S311 - no secret
    for number in range(rounds):
        doubted = len(tally.in_doubt)
        server = ServiceProcess(house.settings)
        gone = threading.Event()
        with ThreadPoolExecutor(clients) as pool:
            for each in range(clients):
                acts = _acts(house, f"r{number}-c{each}", random.Random(chance.random()))  # noqa: S311
                pool.submit(_client, house, server.address, acts, tally, gone)
            gone.wait(chance.uniform(0.05, _ROUGHLY_S))
            server.kill()
            gone.set()
        tally.rounds += 1
        _send_again(house, tally, tally.in_doubt[doubted:], chance)
        yield tally
    tally.flaws += _examine(house, tally)


def _send_again(house: House, tally: Tally, doubted: list[Written], chance: random.Random) -> None:
    """Retry what nobody knows of, and some of what was acknowledged."""
    known = chance.sample(list(tally.acknowledged.values()), min(16, len(tally.acknowledged)))
    service = create_app(house.settings)
    api = Api(service, house.token)
    for write in doubted:
        answer = api.send("POST", write.path, write.body, Idempotency_Key=write.key)
        if answer.is_success:
            tally.found_booked += "idempotency-replayed" in answer.headers
            tally.acknowledged[write.key] = (write, answer.content)
        elif answer.status_code != 409:
            tally.flaws.append(f"{write} sent again was answered {answer.status_code}")
    for write, said in known:
        answer = api.send("POST", write.path, write.body, Idempotency_Key=write.key)
        if "idempotency-replayed" not in answer.headers:
            tally.flaws.append(f"{write} was acknowledged and is not there: {answer.text}")
        elif answer.content != said:
            tally.flaws.append(f"{write} is answered otherwise when it is sent again")
    api.close()
    service.state.engine.dispose()


def _examine(house: House, tally: Tally) -> Iterator[str]:
    """Hold the journal against what clients know, and let the book check itself."""
    engine = open_engine(house.settings.database_url)
    with reading(engine) as session:
        said = session.scalars(select(col(Entry.idempotency_key)))
        keys = [key for key in said if key is not None]
        yield from check_book(session)
    engine.dispose()
    acknowledged = set(tally.acknowledged)
    if len(keys) != len(set(keys)):
        yield "a key was booked twice"
    if lost := acknowledged - set(keys):
        yield f"acknowledged and not there: {sorted(lost)[:5]}"
    if more := set(keys) - acknowledged:
        yield f"there, and nobody was told so after a retry: {sorted(more)[:5]}"
