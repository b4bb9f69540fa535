"""Faults at length, each by its name: `python -m tests.faults kill --rounds 200`.

SQLite in a temporary folder, or a PostgreSQL server of its own with `--postgresql`. Some need more
than a Python: to mount a small disk, a C compiler, or Debian's packages; they say so.
"""

import argparse
import sys
from collections.abc import Callable, Iterator

from tests.bench.__main__ import database
from tests.bench.machine import machine
from tests.faults import disks, patroni
from tests.faults.contention import scramble
from tests.faults.forgetful import crash_again_and_again
from tests.faults.killing import Tally, kill_again_and_again
from tests.makers import make_book

_ON_DISKS: dict[tuple[str, bool], Callable[[], Iterator[disks.Trouble]]] = {
    ("full-disk", False): disks.full_sqlite,
    ("full-disk", True): disks.full_postgresql,
    ("read-only", False): disks.read_only_sqlite,
    ("slow-disk", False): disks.slow_sqlite,
    ("slow-disk", True): disks.slow_postgresql,
}


def _kill(url: str, rounds: int) -> list[str]:
    tally = Tally()
    for tally in kill_again_and_again(url, rounds):
        sys.stderr.write(f"\rround {tally.rounds} of {rounds}, flaws {len(tally.flaws)} ")
    found, doubted = len(tally.found_booked), len(tally.in_doubt)
    sys.stdout.write(
        f"\n{tally.rounds} rounds of 16 clients; {len(tally.acknowledged)} writes acknowledged; "
        f"{doubted} in doubt when the server was killed, {len(tally.unread)} of them with an "
        f"answer that nobody had read; sent again, {found} were found booked and {doubted - found} "
        "were not.\n"
    )
    return tally.flaws


def _contend(url: str, attempts: int) -> list[str]:
    found = scramble(url, attempts)
    booked = sorted(found.of_client.values())
    sys.stdout.write(
        f"{found.statuses.total()} attempts of 16 clients at two servers: "
        f"{dict(sorted(found.statuses.items()))}; a client got through {booked[0]} to {booked[-1]} "
        f"times; the slowest answer took {found.longest_s:.1f} s.\n"
    )
    return found.flaws


def _lose_leaders(rounds: int) -> list[str]:
    found = patroni.Watched()
    for found in patroni.lose_leaders(rounds):
        sys.stderr.write(f"\r{len(found.gaps_s)} of {rounds} leaders died ")
    sys.stdout.write(
        f"\n{' > '.join(found.leaders)}: {len(found.tally.acknowledged)} writes acknowledged; "
        f"nothing was booked for {min(found.gaps_s):.0f} to {max(found.gaps_s):.0f} s each time; "
        f"answers {dict(sorted(found.statuses.items()))}, those to what was sent again included; "
        f"{found.replayed} of what was answered 503 had been booked.\n"
    )
    return found.tally.flaws


def _crash(rounds: int) -> list[str]:
    flaws = []
    for found in crash_again_and_again(rounds):
        tally = found.tally
        sys.stdout.write(
            f"{found.what}: {tally.rounds} crashes under 16 clients; {len(tally.acknowledged)} "
            f"writes acknowledged before or when they were sent again, {len(tally.in_doubt)} in "
            f"doubt, {len(tally.flaws)} flaws.\n"
        )
        flaws += found.flaws
    return flaws


def _play(what: str, asked: argparse.Namespace) -> list[str]:
    if play := _ON_DISKS.get((what, asked.postgresql)):
        sys.stdout.write(f"{machine()}\n")
        flaws = []
        for trouble in play():
            sys.stdout.write(f"{trouble}\n")
            flaws += trouble.tally.flaws
        return flaws
    if what == "patroni":
        sys.stdout.write(f"{machine()}\n")
        return _lose_leaders(asked.rounds)
    if what == "crash":
        sys.stdout.write(f"{machine()}\n")
        return _crash(asked.rounds)
    with database(postgresql=asked.postgresql, durable=True) as url:
        make_book(url)
        return _kill(url, asked.rounds) if what == "kill" else _contend(url, asked.attempts)


def main(arguments: list[str]) -> int:
    """Play a fault and tell what came of it; ends with 1 where anything was lost or wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    plays = ["kill", "crash", "contention", "full-disk", "read-only", "slow-disk", "patroni"]
    parser.add_argument("what", choices=plays)
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--attempts", type=int, default=2_000)
    parser.add_argument("--postgresql", action="store_true")
    asked = parser.parse_args(arguments)
    if asked.what == "read-only" and asked.postgresql:
        parser.error("read-only is played with a file of SQLite")
    try:
        flaws = _play(asked.what, asked)
    except disks.UnavailableError as error:
        sys.exit(f"This machine cannot play it: {error}")
    for flaw in flaws[:20]:
        sys.stdout.write(f"FLAW: {flaw}\n")
    sys.stdout.write("Nothing was lost, nothing was wrong.\n" if not flaws else "")
    return 1 if flaws else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
