"""Many clients at the same few sacks: never below zero, no deadlock, nobody starves."""

import random
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from sqlalchemy import func, select
from sqlmodel import col

from app.ledger.checks import check_book
from app.ledger.tables import Unit
from app.shared.db import open_engine, reading
from tests.faults.killing import House
from tests.makers import PASSING
from tests.serving import ServiceProcess, Wire


@dataclass
class Scramble:
    """What became of all attempts."""

    statuses: Counter[int] = field(default_factory=Counter)
    of_client: Counter[int] = field(default_factory=Counter)
    """How many attempts of each client were booked."""
    longest_s: float = 0
    """How long the slowest answer took."""
    flaws: list[str] = field(default_factory=list)


def _attempts(sacks: list[str], chance: random.Random) -> tuple[str, Any]:
    sack = chance.choice(sacks)
    return chance.choice([
        ("/roasts", {
            "machine": "DRUM-75", "end_kg": Decimal("5.1"),
            "draws": [{"sack": sack, "kg": Decimal(6)}],
        } | PASSING),
        ("/adjustments", {"unit": sack, "kg": Decimal("-0.5"), "reason": "sample"}),
        ("/moves", {"sacks": [sack], "to": chance.choice(["A-01", "B-02"])}),
        ("/holds", {"units": [sack], "reason": "to be looked at"}),
    ])  # fmt: skip


def scramble(url: str, attempts: int, clients: int = 16, servers: int = 2) -> Scramble:
    """Let so many clients at several servers of one book try, in all so many times."""
    # The coffee runs out about half way: first everybody draws, then everybody wants the last.
    house, found, lock = House(url, sack_kg=max(60, attempts // 20)), Scramble(), threading.Lock()
    each = attempts // clients

    def client(number: int, address: str) -> None:
        chance = random.Random(number)  # noqa: S311 - no secret
        with Wire(address, house.token) as wire:
            for _ in range(each):
                path, body = _attempts(house.sacks, chance)
                asked = time.monotonic()
                answer = wire.post(path, body)
                with lock:
                    found.longest_s = max(found.longest_s, time.monotonic() - asked)
                    _count(found, number, path, answer)
                if path == "/holds" and answer.is_success:
                    path = f"/holds/{answer.json()['id']}/release"
                    released = wire.post(path, {"reason": "nothing"})
                    with lock:
                        _look_at(found, path, released)

    there = [ServiceProcess(house.settings) for _ in range(servers)]
    try:
        with ThreadPoolExecutor(clients) as pool:
            done = [pool.submit(client, n, there[n % servers].address) for n in range(clients)]
            for one in done:
                one.result()
    finally:
        for server in there:
            server.kill()
    _examine(house, found)
    return found


def _count(found: Scramble, number: int, path: str, answer: Any) -> None:
    found.statuses[answer.status_code] += 1
    found.of_client[number] += answer.is_success
    _look_at(found, path, answer)


def _look_at(found: Scramble, path: str, answer: Any) -> None:
    if answer.status_code not in {200, 201, 409}:
        found.flaws.append(f"{path} was answered {answer.status_code}: {answer.text[:200]}")


def _examine(house: House, found: Scramble) -> None:
    engine = open_engine(house.settings.database_url)
    with reading(engine) as session:
        below = session.scalar(select(func.min(col(Unit.left_g)))) or 0
        found.flaws += check_book(session)
    engine.dispose()
    if below < 0:
        found.flaws.append(f"a unit has {below} g left")
    if min(found.of_client.values(), default=0) == 0:
        found.flaws.append("a client never got through")
