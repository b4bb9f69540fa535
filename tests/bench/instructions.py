"""How many instructions a request takes in the server's process, as valgrind's callgrind counts.

A count is the same on a machine that is busy, and it says where the work is: in the interpreter,
in the database's library, or in what is compiled beside them. It knows nothing of the disk, nor of
what PostgreSQL works in its own processes.
"""

import re
import shutil
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final, NamedTuple

import uvicorn

from app.cli.serve import open_door
from app.connections import Connection
from app.settings import Settings
from tests.bench.bare import as_served, service_by_the_driver
from tests.bench.load import load
from tests.bench.requests import Book, book, draws_of, reads_of, sacks_of

_BUILD: Final[dict[str, Callable[[Settings], Any]]] = {
    "ours": as_served,
    "driver": service_by_the_driver,
}
_OBJECT: Final = re.compile(r"c?ob=\((\d+)\)(?: (.*))?")
_COST: Final = re.compile(r"[+*\-\d]\S* (\d+)")
_WARM: Final = 60
"""Until all statements are worded and the interpreter has specialised what it runs."""


class Line(NamedTuple):
    """One kind of request."""

    name: str
    millions: float
    """Of instructions, for each request."""
    interpreter_pct: float
    database_pct: float
    """What the library that speaks to the database works."""
    times: float | None = None
    """As many as the baseline's."""


def _tool(name: str) -> str:
    path = shutil.which(name)
    if path is None:
        raise SystemExit(f"{name} is not there; Debian has it in the package valgrind.")
    return path


def measure(url: str, flows: int, number: int) -> Iterator[Line]:
    """Count the instructions of `number` requests of each kind, one after another."""
    _tool("valgrind")
    filled = book(url, flows)
    none, draw = reads_of("/healthz"), draws_of(filled)
    with _counted(filled, "driver") as count:
        by_driver = _line("a draw by the driver, same service", count(draw, number))
    yield by_driver
    with _counted(filled, "ours") as count:
        for name, requests, beside in (
            ("a draw", draw, by_driver.millions),
            ("no database", none, None),
            ("a sack", sacks_of(filled), None),
            ("a list of 100 sacks", reads_of("/api/v1/sacks?limit=100", filled.token), None),
        ):
            line = _line(name, count(requests, number))
            yield line._replace(times=line.millions / beside if beside else None)


Count = Callable[[Iterator[bytes], int], Counter[str]]
"""Sends so many requests; returns the instructions of each, by the file they stand in."""


@contextmanager
def _counted(filled: Book, build: str) -> Iterator[Count]:
    """Start a server whose instructions can be counted."""
    with TemporaryDirectory(prefix="jutebook-bench-") as folder:
        out = Path(folder) / "counts"
        said = filled.settings.model_dump_json()
        server = subprocess.Popen(  # noqa: S603 - its own address and settings
            [
                _tool("valgrind"), "--quiet", "--tool=callgrind", "--instr-atstart=no",
                f"--callgrind-out-file={out}", sys.executable, "-m", __name__, build, said,
            ],
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert server.stdout
        address = server.stdout.readline().strip()

        def tell(*what: str) -> None:
            subprocess.run(  # noqa: S603 - words of our own
                [_tool("callgrind_control"), *what, str(server.pid)],
                check=True, capture_output=True,
            )  # fmt: skip

        def count(requests: Iterator[bytes], number: int) -> Counter[str]:
            load(address, requests, 1, _WARM)
            tell("--instr=on")
            tell("--zero")
            refused = load(address, requests, 1, number).refused
            assert not refused, f"{refused} requests were refused"
            before = set(Path(folder).iterdir())
            tell("--dump")
            tell("--instr=off")
            counts = Counter[str]()
            for file in set(Path(folder).iterdir()) - before:
                counts += by_file(file.read_text("utf-8", errors="replace"))
            return Counter({name: each // number for name, each in counts.items()})

        try:
            yield count
        finally:
            server.send_signal(signal.SIGINT)
            server.wait()


def by_file(written: str) -> Counter[str]:
    """Add up what callgrind wrote: the own cost of each function, by the file it stands in.

    The line after a `calls=` says what was called and is counted there already.
    """
    names: dict[str, str] = {}
    counts = Counter[str]()
    here, of_a_call = "", False
    for line in written.splitlines():
        if named := _OBJECT.match(line):
            number, name = named.groups()
            names.setdefault(number, name or number)
            here = names[number] if line.startswith("ob") else here
        elif line.startswith("calls="):
            of_a_call = True
        elif cost := _COST.match(line):
            counts[Path(here).name] += 0 if of_a_call else int(cost[1])
            of_a_call = False
    return counts


def _line(name: str, counts: Counter[str]) -> Line:
    whole = counts.total()

    def part(*words: str) -> float:
        some = sum(each for file, each in counts.items() if any(word in file for word in words))
        return some * 100 / whole

    # Where Python is one file with its library it stands in `python3`, elsewhere in `libpython3`.
    return Line(name, whole / 1e6, part("python3."), part("sqlite3", "libpq", "psycopg"))


def _serve(build: str, settings: str) -> None:
    with open_door("127.0.0.1", 0) as door:
        sys.stdout.write(f"http://127.0.0.1:{door.getsockname()[1]}\n")
        sys.stdout.flush()
        service = _BUILD[build](Settings.model_validate_json(settings))
        uvicorn.Server(uvicorn.Config(service, log_config=None, http=Connection)).run([door])


if __name__ == "__main__":
    _serve(*sys.argv[1:])
