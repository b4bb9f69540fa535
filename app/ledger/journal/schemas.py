"""What the API answers about proofs of the journal."""

from app.ledger.schemas import Told
from app.shared.times import MomentOut


class ProofOut(Told):
    entries: int
    """How many lines the journal has: the number of its last one."""
    head_sha256: str
    """The hash of the last line, which stands for all before it. Note it outside the book."""
    head_recorded_at: MomentOut | None
    verified_from: int
    verified_to: int
    sound: bool
    differences: list[str]
    """The first hundred."""
    differences_count: int
    next_from: int | None
    """Where to go on; null when the last line was verified."""
    proved_at: MomentOut


class CheckOut(Told):
    entries: int
    units: int
    sound: bool
    differences: list[str]
    """The first hundred."""
    differences_count: int
    checked_at: MomentOut
