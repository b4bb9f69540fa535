"""How long it takes from the command to the first answer, beside a service that does nothing.

The bare one is the same libraries with one path: what is to be had at best with them.
"""

import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from statistics import median
from typing import Final, NamedTuple

import httpx

from tests.bench.machine import timed
from tests.bench.opened import opened
from tests.cli.processes import PROGRAM, started

TIMES: Final = 7
"""How often each starts; they take turns, the first round does not count, the median does."""
_BARE: Final = """
import socket
import uvicorn
from fastapi import FastAPI
from sqlmodel import SQLModel, create_engine

service, engine = FastAPI(), create_engine("sqlite://")

@service.get("/healthz")
def alive() -> dict[str, str]:
    return {}

door = socket.create_server(("127.0.0.1", 0))
print(f"http://127.0.0.1:{door.getsockname()[1]}", flush=True)
uvicorn.Server(uvicorn.Config(service, log_config=None)).run([door])
"""


class Line(NamedTuple):
    """One command."""

    name: str
    seconds: float
    times: float
    """As long as the bare service: the middle of what it was in each round."""


def measure(url: str) -> Iterator[Line]:
    """Start each in turns, on a book that is there."""
    with opened(url):
        pass
    acts: Mapping[str, Callable[[], None]] = {
        "a bare service, to its first answer": _bare,
        "`jutebook serve`, to its first answer": lambda: _serve(url),
        "`jutebook --help`": _help,
    }
    rounds = [[timed(act)[0].seconds for act in acts.values()] for _ in range(TIMES + 1)][1:]
    yield from _lines(list(acts), rounds)


def _lines(names: Sequence[str], rounds: Sequence[Sequence[float]]) -> Iterator[Line]:
    for number, name in enumerate(names):
        yield Line(
            name,
            median(each[number] for each in rounds),
            median(each[number] / each[0] for each in rounds),
        )


def _serve(url: str) -> None:
    with started(JUTEBOOK_DATABASE_URL=url) as (_, address):
        _ask(address)


def _help() -> None:
    subprocess.run([PROGRAM, "--help"], check=True, capture_output=True)  # noqa: S603 - our own words


def _bare() -> None:
    with subprocess.Popen(  # noqa: S603 - our own words
        [sys.executable, "-c", _BARE], stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        _ask(process.stdout.readline().strip())
        process.kill()


def _ask(address: str) -> None:
    httpx.get(f"{address}/healthz", trust_env=False, timeout=60).raise_for_status()
