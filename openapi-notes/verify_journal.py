"""Verify an exported journal without Jutebook: `python verify_journal.py FILE [HASH ...]`.

Each line hashes (SHA-256) to what the next one carries as `previous_sha256`; the last line counts
them and names the last hash. Who can write the whole file can forge the whole chain, or leave out
its last lines. So name hashes that you noted elsewhere before: each must be among those found.
"""

import hashlib
import json
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path


def verify(lines: Iterable[bytes], noted: Iterable[str]) -> Iterator[str]:
    """Yield what is wrong with the lines of an export; nothing if it is sound."""
    number, before, pending, found = 0, "0" * 64, b"", set()
    for line in lines:
        if pending:
            number += 1
            try:
                entry = json.loads(pending)
                follows = (entry["id"], entry["previous_sha256"]) == (number, before)
            except (ValueError, TypeError, KeyError):
                follows = False
            if not follows:
                yield f"line {number} does not follow on the one before it"
            before = hashlib.sha256(pending.removesuffix(b"\n")).hexdigest()
            found.add(before)
        pending = line
    if pending != b'{"entries":%d,"head_sha256":"%s"}\n' % (number, before.encode()):
        yield f"the last line does not say that {number} entries end with {before}"
    yield from (f"no entry has the hash {each}" for each in noted if each not in found)


if __name__ == "__main__":
    with Path(sys.argv[1]).open("rb") as export:
        faults = list(verify(export, sys.argv[2:]))
    print("\n".join(faults) or "The journal is sound.")
    sys.exit(1 if faults else 0)
