"""Any input at all, at length: `python -m tests.attacks --cases 20000`.

SQLite in a temporary folder, or a PostgreSQL server of its own with `--postgresql`.
"""

import argparse
import sys

from tests.attacks.anything import throw_anything
from tests.bench.__main__ import database
from tests.makers import make_book

_OPERATIONS = 300
"""About so many there are."""


def main(arguments: list[str]) -> int:
    """Throw it, and tell what was found; ends with 1 where an answer was not as described."""
    parser = argparse.ArgumentParser(prog="python -m tests.attacks", description=__doc__)
    parser.add_argument("--cases", type=int, default=3_000)
    parser.add_argument("--postgresql", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    with database(postgresql=asked.postgresql) as url:
        make_book(url)
        examples = max(1, asked.cases // _OPERATIONS)
        found = throw_anything(url, examples=examples, phases="fuzzing", seed=asked.seed)
    sys.stdout.write(found.said)
    for differs in found.differs:
        sys.stdout.write(f"FLAW: {differs}\n")
    return 1 if found.ended_with or found.differs else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
