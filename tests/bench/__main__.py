"""Prints how long a recall takes: `python -m tests.bench recall --flows 1000000`.

Or every page on the demo: `python -m tests.bench pages --days 120`.

SQLite in a temporary folder, or a PostgreSQL server of its own with `--postgresql`.
"""

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from tempfile import TemporaryDirectory

from tests.bench.pages import print_pages
from tests.bench.recall import machine, measure
from tests.postgres import PostgresServer

BARE = "bare walk by the driver"


@contextmanager
def database(*, postgresql: bool, durable: bool = False) -> Iterator[str]:
    """Make a database for a while, and take it away; `durable` as in earnest."""
    if postgresql:
        with PostgresServer(durable=durable) as server:
            server.create_database("bench")
            yield server.url("bench")
        return
    with TemporaryDirectory(prefix="jutebook-bench-") as folder:
        yield f"sqlite:///{folder}/book.db"


def main(arguments: list[str]) -> None:
    """Measure, and print a line for each figure as it comes."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("what", choices=["recall", "pages"])
    parser.add_argument("--flows", type=int, default=100_000)
    parser.add_argument("--days", type=int, default=120, help="of the demo, for pages")
    parser.add_argument("--postgresql", action="store_true")
    parser.add_argument("--check", action="store_true", help="let the book check itself as well")
    asked = parser.parse_args(arguments)
    if asked.what == "pages":
        with database(postgresql=asked.postgresql) as url:
            print_pages(url, asked.days)
        return
    say = sys.stdout.write
    say(f"{machine()}\n{'PostgreSQL' if asked.postgresql else 'SQLite'}, {asked.flows} flows\n\n")
    say("| what | seconds | of them at work | times the bare walk | |\n")
    say("| --- | --: | --: | --: | --- |\n")
    bare = None
    with database(postgresql=asked.postgresql) as url:
        for name, seconds, worked, found in measure(url, asked.flows, check=asked.check):
            bare = seconds if name == BARE else bare
            times = f"{seconds / bare:.1f}" if bare else ""
            say(f"| {name} | {seconds:.3f} | {worked:.3f} | {times} | {found} |\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1:])
