"""Prints what the service takes beside what its databases can do, both measured in one run.

python -m tests.bench recall --flows 1000000     a recall, act by act
python -m tests.bench traces --flows 100000 10000000
python -m tests.bench requests --flows 100000    reads and draws at 1, 16 and 64 connections
python -m tests.bench instructions --number 100    of requests; needs valgrind
python -m tests.bench imports --sacks 100000
python -m tests.bench pages --days 120           every page on the demo
python -m tests.bench start                      from the command to the first answer

SQLite in a temporary folder, or a PostgreSQL server of its own with `--postgresql`. Cover has a
command of its own, `python -m tests.bench.cover`.
"""

import argparse
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.bench import imports, instructions, pages, recall, requests, start, traces
from tests.bench.machine import machine
from tests.postgres import PostgresServer

BARE = "bare walk by the driver"

Databases = Callable[[str], str]
"""Makes a database by a name and gives its URL."""


@contextmanager
def database(*, postgresql: bool, durable: bool = False) -> Iterator[str]:
    """Make a database for a while, and take it away; `durable` as in earnest."""
    with databases(postgresql=postgresql, durable=durable) as made:
        yield made("bench")


@contextmanager
def databases(
    *, postgresql: bool, durable: bool = True, folder: Path | None = None
) -> Iterator[Databases]:
    """Make databases for a while and take them away; those in a folder of one's own stay.

    It says on what machine, and which they are: no figure is worth anything without.
    """
    sys.stdout.write(f"{machine()}\n")
    if postgresql:
        with PostgresServer(durable=durable) as server:
            sys.stdout.write(f"PostgreSQL {server.version}\n\n")

            def made(name: str) -> str:
                server.create_database(name)
                return server.url(name)

            yield made
        return
    sys.stdout.write("SQLite\n\n")
    with TemporaryDirectory(prefix="jutebook-bench-") as temporary:
        yield lambda name: f"sqlite:///{folder or temporary}/{name}.db"


def _say(*cells: object) -> None:
    sys.stdout.write("| " + " | ".join(map(str, cells)) + " |\n")
    sys.stdout.flush()


def _head(*names: str) -> None:
    """Begin a table: the first column is words, the others are figures."""
    _say(*names)
    _say("---", *["--:"] * (len(names) - 1))


def _recall(made: Databases, asked: argparse.Namespace) -> None:
    _head("what", "seconds", "of them at work", "times the bare walk", "found")
    bare = None
    for flows in asked.flows:
        for name, seconds, worked, found in recall.measure(
            made(f"recall{flows}"), flows, check=asked.check
        ):
            bare = seconds if name == BARE else bare
            times = f"{seconds / bare:.1f}" if bare else ""
            _say(name, f"{seconds:.3f}", f"{worked:.3f}", times, found)


def _traces(made: Databases, asked: argparse.Namespace) -> None:
    _head(
        "what",
        "flows in the book",
        "units",
        "ms",
        "by the driver",
        "of it its walk",
        "times",
        "times the smallest book",
        "MiB",
    )
    for each in traces.measure(lambda flows: made(f"traces{flows}"), asked.flows):
        ms = (each.ms, each.bare_ms, each.walk_ms)
        times = f"{each.ms / each.bare_ms:.1f}"
        _say(
            each.name, each.flows, each.units, *(f"{some:.1f}" for some in ms), times,
            f"{each.times_smallest:.2f}", f"{each.peak_mib:.0f}",
        )  # fmt: skip


def _requests(made: Databases, asked: argparse.Namespace) -> None:
    _head(
        "what", "connections", "a second", "ms, half of them", "ms, 99 of 100", "refused",
        "ms at work", "MiB", "part of the baseline",
    )  # fmt: skip
    for flows in asked.flows:
        for each in requests.measure(made(f"requests{flows}"), flows, asked.number):
            _say(
                each.name, each.connections, f"{each.a_second:.0f}", f"{each.p50_ms:.1f}",
                f"{each.p99_ms:.1f}", each.refused, f"{each.at_work_ms:.1f}",
                f"{each.peak_mib:.0f}",
                "" if each.ratio is None else f"{each.ratio:.2f} of {each.beside}",
            )  # fmt: skip


def _instructions(made: Databases, asked: argparse.Namespace) -> None:
    _head("what", "million instructions", "interpreter, %", "database library, %", "times")
    for flows in asked.flows:
        for each in instructions.measure(made(f"instructions{flows}"), flows, asked.number):
            _say(
                each.name, f"{each.millions:.2f}", f"{each.interpreter_pct:.0f}",
                f"{each.database_pct:.0f}", f"{each.times:.1f}" if each.times else "",
            )  # fmt: skip


def _imports(made: Databases, asked: argparse.Namespace) -> None:
    _head("what", "rows", "seconds", "of them at work", "most memory, MiB", "times")
    ours, bare = imports.measure(made, asked.sacks)
    for each in (bare, ours):
        _say(
            each.name, each.rows, f"{each.seconds:.1f}", f"{each.at_work_s:.1f}",
            f"{each.peak_mib:.0f}",
            f"{each.seconds / bare.seconds:.1f}" if each is ours else "",
        )  # fmt: skip


def _pages(made: Databases, asked: argparse.Namespace) -> None:
    pages.print_pages(made("pages"), asked.days)


def _start(made: Databases, _: argparse.Namespace) -> None:
    _head("what", "seconds", "times")
    for each in start.measure(made("start")):
        _say(each.name, f"{each.seconds:.2f}", f"{each.times:.1f}")


WHAT = {
    "recall": _recall, "traces": _traces, "requests": _requests,
    "instructions": _instructions, "imports": _imports, "pages": _pages, "start": _start,
}  # fmt: skip


def main(arguments: list[str]) -> None:
    """Measure, and print a line for each figure as it comes."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("what", choices=WHAT)
    parser.add_argument("--flows", type=int, nargs="+", default=[100_000])
    parser.add_argument("--sacks", type=int, default=100_000)
    parser.add_argument("--number", type=int, default=3000, help="requests of each kind")
    parser.add_argument("--days", type=int, default=120, help="of the demo, for pages")
    parser.add_argument("--postgresql", action="store_true")
    parser.add_argument("--check", action="store_true", help="let the book check itself as well")
    parser.add_argument(
        "--folder", type=Path, help="keep SQLite's books there, and take those that are there"
    )
    asked = parser.parse_args(arguments)
    with databases(postgresql=asked.postgresql, folder=asked.folder) as made:
        WHAT[asked.what](made, asked)


if __name__ == "__main__":
    main(sys.argv[1:])
