"""The journal as a file that anybody can verify, with nothing of this program.

A line is an entry as the very bytes that its hash covers, so that hashing a line gives what the
next one carries. The last line says how many there are and what the last one hashes to.
"""

from collections.abc import Callable, Iterator

from sqlmodel import Session

from app.ledger.journal.reading import Head, entries
from app.ledger.rules import SEALED, canonical, sealed_line

_AT_ONCE = 1000


def export(read: Callable[..., bytes], ends: Head) -> Iterator[bytes]:
    """Write the journal up to a line, a thousand lines at a time; `read` is `Clerk.read`.

    What is written stays as it is, so each part is read by itself: whoever fetches the export
    slowly keeps no transaction open.
    """
    for first in range(1, ends.entry + 1, _AT_ONCE):
        try:
            yield read(_part, first, min(first + _AT_ONCE - 1, ends.entry))
        except (ValueError, TypeError):
            # Somebody wrote into the database by hand. Without its last line no export is sound.
            yield canonical({"unreadable_after": first - 1}).encode() + b"\n"
            return
    yield canonical({"entries": ends.entry, "head_sha256": ends.sha256}).encode() + b"\n"


def _part(session: Session, first: int, last: int) -> bytes:
    lines = [
        sealed_line({name: entry[name] for name in SEALED}) + b"\n"
        for entry in entries(session, first, last)
    ]
    return b"".join(lines)
