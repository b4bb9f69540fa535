"""Proving the journal: a part of its chain, or the whole book against it."""

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.checks import examine
from app.ledger.journal.reading import entries, head
from app.ledger.journal.schemas import CheckOut, ProofOut
from app.ledger.rules import FIRST_SHA256, Chain
from app.ledger.tables import Entry
from app.shared.problems import Refused
from app.shared.times import now

MOST_NAMED = 100


def proof(session: Session, first: int, limit: int) -> ProofOut:
    """Verify a part of the chain, and that it goes on from the line before that part."""
    ends = head(session)
    if first > max(ends.entry, 1):
        said = f"the journal ends at entry {ends.entry}"
        raise Refused("invalid", said, errors=[{"parameter": "from", "detail": said}])
    last = min(first + limit - 1, ends.entry)
    chain = Chain(_hash_before(session, first), first)
    differs: list[str] = []
    try:
        for entry in entries(session, first, last):
            differs.extend(chain.follow(entry))
    except (ValueError, TypeError) as error:
        differs.append(f"the journal holds something that cannot be read: {error}")
    if not differs and chain.expected_id != last + 1:
        differs.append(f"entry {chain.expected_id} is missing")
    return ProofOut(
        entries=ends.entry,
        head_sha256=ends.sha256,
        head_recorded_at=ends.recorded_at,
        verified_from=first,
        verified_to=last,
        sound=not differs,
        differences=differs[:MOST_NAMED],
        differences_count=len(differs),
        next_from=last + 1 if last < ends.entry else None,
        proved_at=now(),
    )


def _hash_before(session: Session, first: int) -> str:
    """Read what the first line of the part has to carry."""
    before = select(col(Entry.sha256)).where(col(Entry.id) == first - 1)
    return FIRST_SHA256 if first == 1 else session.scalar(before) or ""


def check(session: Session) -> CheckOut:
    """Recompute the whole book from its journal, as `jutebook check` does."""
    found = examine(session)
    return CheckOut(
        entries=found.entries,
        units=found.units,
        sound=not found.differs,
        differences=found.differs[:MOST_NAMED],
        differences_count=len(found.differs),
        checked_at=now(),
    )
