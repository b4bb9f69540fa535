"""What the API reads and answers about consignees: what they were told, and what they report."""

from typing import Annotated

from pydantic import Field

from app.ledger.schemas import Asked, Note, Party, Told
from app.recall.rules import Step
from app.recall.tables import How
from app.shared.numbers import NumberOut
from app.shared.times import MomentIn, MomentOut

BagCount = Annotated[int, Field(ge=0, le=1_000_000, strict=True)]


class NoticeIn(Asked):
    customer: Party
    how: How
    sent_at: MomentIn | None = None
    note: Note | None = None


class AcknowledgementIn(Asked):
    customer: Party
    acknowledged_at: MomentIn | None = None
    note: Note | None = None


class ReportIn(Asked):
    customer: Party
    held_bags: BagCount = 0
    returned_bags: BagCount = 0
    """What they say they sent back; what counts as returned is what the book took back."""
    destroyed_bags: BagCount = 0
    sold_bags: BagCount = 0
    reported_at: MomentIn | None = None
    note: Note | None = None


class NoticeOut(Told):
    id: int
    recall: str
    state: Step
    customer: str
    how: How
    note: str | None
    sent_at: MomentOut
    sent_by: str
    says: list[str]
    """What the notice has to say."""
    caution: str


class AcknowledgementOut(Told):
    id: int
    recall: str
    customer: str
    note: str | None
    acknowledged_at: MomentOut
    taken_by: str
    caution: str


class ReportOut(Told):
    id: int
    recall: str
    customer: str
    sent_bags: int
    returned_bags: int
    """By the book."""
    returned_as_reported_bags: int
    held_bags: int
    destroyed_bags: int
    sold_bags: int
    unaccounted_bags: int
    note: str | None
    reported_at: MomentOut
    taken_by: str
    caution: str


class WorkedOff(Told):
    """Where the bags of one consignee are."""

    customer: str
    contact: str | None
    possible_contact: bool
    notices: int
    first_notice_at: MomentOut | None
    last_notice_how: How | None
    acknowledged_at: MomentOut | None
    sent_bags: int
    returned_bags: int
    held_bags: int
    destroyed_bags: int
    sold_bags: int
    unaccounted_bags: int
    """Below zero where more is reported than was sent: ask again."""
    returned_as_reported_bags: int | None
    reported_at: MomentOut | None
    recovered_pct: NumberOut | None


class BagsOut(Told):
    """Bags that close: made = in the house + in the market + destroyed here + adjusted."""

    made_bags: int
    in_house_bags: int
    sent_bags: int
    returned_bags: int
    """By the book; they are in the house again."""
    in_market_bags: int
    destroyed_here_bags: int
    adjusted_bags: int
    """Samples, spills and counts; below zero where more was found."""


class Effectiveness(Told):
    consignees: int
    with_contact: int
    notified: int
    acknowledged: int
    reported: int
    coverage_pct: NumberOut | None
    """Notified, of all consignees."""
    acknowledged_pct: NumberOut | None
    """Of the notified ones."""
    recovered_bags: int
    """In the house or destroyed, here or as reported, and held as reported."""
    recovery_pct: NumberOut | None
    """Of all that were made."""
    returned_pct: NumberOut | None
    """Of all that were sent."""
    unaccounted_bags: int
    unaccounted_pct: NumberOut | None
    """Of all that were sent."""


class ReconciliationOut(Told):
    code: str
    state: Step
    at_entry: int
    bags: BagsOut
    effectiveness: Effectiveness
    consignees: list[WorkedOff]
    closes: bool
    """Whether both accounts add up to the bag."""
    caution: str
