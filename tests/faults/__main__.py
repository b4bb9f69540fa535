"""Faults at length: `python -m tests.faults kill --rounds 200`, `… contention --attempts 100000`.

SQLite in a temporary folder, or a PostgreSQL server of its own with `--postgresql`.
"""

import argparse
import sys

from app.schema import migrate
from app.shared.db import open_engine
from tests.bench.__main__ import database
from tests.faults.contention import scramble
from tests.faults.killing import Tally, kill_again_and_again


def _kill(url: str, rounds: int) -> list[str]:
    tally = Tally()
    for tally in kill_again_and_again(url, rounds):
        sys.stderr.write(f"\rround {tally.rounds} of {rounds}, flaws {len(tally.flaws)} ")
    sys.stdout.write(
        f"\n{tally.rounds} rounds of 16 clients; {len(tally.acknowledged)} writes acknowledged; "
        f"{len(tally.in_doubt)} in doubt when the server was killed, "
        f"{tally.found_booked} of them had been booked.\n"
    )
    return tally.flaws


def _contend(url: str, attempts: int) -> list[str]:
    found = scramble(url, attempts)
    booked = sorted(found.of_client.values())
    sys.stdout.write(
        f"{found.statuses.total()} attempts of 16 clients at two servers: "
        f"{dict(sorted(found.statuses.items()))}; a client got through {booked[0]} to {booked[-1]} "
        "times.\n"
    )
    return found.flaws


def main(arguments: list[str]) -> int:
    """Play a fault and tell what came of it; ends with 1 where anything was lost or wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    parser.add_argument("what", choices=["kill", "contention"])
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--attempts", type=int, default=2_000)
    parser.add_argument("--postgresql", action="store_true")
    asked = parser.parse_args(arguments)
    with database(postgresql=asked.postgresql, durable=True) as url:
        engine = open_engine(url)
        migrate(engine)
        engine.dispose()
        flaws = _kill(url, asked.rounds) if asked.what == "kill" else _contend(url, asked.attempts)
    for flaw in flaws[:20]:
        sys.stdout.write(f"FLAW: {flaw}\n")
    sys.stdout.write("Nothing was lost, nothing was wrong.\n" if not flaws else "")
    return 1 if flaws else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
