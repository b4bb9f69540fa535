"""Any input at all, at length: `python -m tests.attacks --cases 20000`.

First every boundary, every member left out and every wrong type in turn (about 17,000 requests,
however many cases are asked for), then so many cases at random, by an administrator; and a quarter
as many by somebody of the warehouse. `--random-only` leaves the first out. SQLite in a temporary
folder, or a PostgreSQL server of its own with `--postgresql`.
"""

import argparse
import sys
from time import perf_counter

from app.shared.staff import Role
from tests.attacks.anything import Found, throw_anything
from tests.bench.__main__ import databases
from tests.makers import make_book

_OPERATIONS = 300
"""About so many there are."""


def main(arguments: list[str]) -> int:
    """Throw it, and tell what was found; ends with 1 where an answer was not as described."""
    parser = argparse.ArgumentParser(prog="python -m tests.attacks", description=__doc__)
    parser.add_argument("--cases", type=int, default=3_000)
    parser.add_argument("--random-only", action="store_true")
    parser.add_argument("--postgresql", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    examples = max(1, asked.cases // _OPERATIONS)
    runs = {
        Role.ADMIN: ("fuzzing" if asked.random_only else "coverage,fuzzing", examples),
        Role.WAREHOUSE: ("fuzzing", max(1, examples // 4)),
    }
    ended_with = 0
    with databases(postgresql=asked.postgresql, durable=False) as made:
        for role, (phases, each) in runs.items():
            url = made(role)
            make_book(url)
            began = perf_counter()
            found = throw_anything(url, examples=each, phases=phases, seed=asked.seed, role=role)
            _tell(role, found, perf_counter() - began)
            ended_with |= bool(found.ended_with or found.differs)
    return ended_with


def _tell(role: Role, found: Found, seconds: float) -> None:
    sys.stdout.write(found.said)
    for differs in found.differs:
        sys.stdout.write(f"FLAW: {differs}\n")
    never, all_of_them = found.never_done, len(found.answered)
    sys.stdout.write(
        f"\n{role}: {found.sent} requests answered in {seconds:.0f} s. "
        f"{all_of_them - len(never)} of {all_of_them} operations did what was asked at least once; "
        f"the others refused every request:\n"
    )
    for operation in never:
        statuses = sorted(found.answered[operation].items())
        said = ", ".join(f"{status} {times} times" for status, times in statuses)
        sys.stdout.write(f"  {operation}: {said}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
