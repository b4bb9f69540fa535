"""What the API reads and answers about documents of EPCIS."""

from typing import Annotated, Any, Literal

from pydantic import Field

from app.ledger.schemas import Asked, Told
from app.shared.codes import Code
from app.shared.numbers import NumberOut
from app.shared.times import MomentIn
from app.tracing.schemas import Direction


class TellIn(Asked):
    """What a document is to tell of."""

    code: Code | None = None
    """A unit with its trace, or"""
    direction: Direction | None = None
    """Of the trace: forward unless it says backward."""
    recall: Code | None = None
    """a recall case by its frozen scope, or"""
    scope: Annotated[int, Field(ge=1, le=2**31 - 1)] | None = None
    """The number of that scope."""
    since: MomentIn | None = Field(default=None, alias="from")
    """everything that happened from this time on"""
    until: MomentIn | None = Field(default=None, alias="to")
    """and before this one."""

    def flaw(self) -> tuple[str, str] | None:
        """Name the parameter that makes it more or less than one thing, and say why."""
        period = self.since is not None or self.until is not None
        if sum((self.code is not None, self.recall is not None, period)) != 1:
            return "code", "name either a code, or a recall and its scope, or from and to"
        if (self.recall is None) != (self.scope is None):
            return "scope", "recall and scope go together"
        if self.direction is not None and self.code is None:
            return "direction", "a direction goes with a code"
        if period and (self.since is None or self.until is None or self.since >= self.until):
            return "from", "from and to go together, and from is the earlier one"
        return None


class Finding(Told):
    """Something to look at before a proposed delivery is booked."""

    pointer: str
    """Where it stands in the document (RFC 6901)."""
    finding: str
    """`unknown_supplier`, `unknown_origin_country`, `code_taken`, `no_mass`, `only_shipped`,
    `not_by_sack` or `rounded`; others may come."""
    detail: str


class Missing(Told):
    """What a proposed delivery lacks to be booked."""

    pointer: str
    """Where in the body of the delivery."""
    detail: str


class ProposedDelivery(Told):
    events: list[str]
    """The events that say so, by their places in the document."""
    ready: bool
    """Whether it can be booked as it is, at `POST /deliveries`."""
    missing: list[Missing]
    delivery: dict[str, Any]
    """The body of a delivery, as far as the document says it."""


class SaidQuantity(Told):
    """So much of a lot, as the document says it."""

    name: str
    lot: str | None
    kg: NumberOut | None
    pieces: NumberOut | None


class SaidMade(Told):
    """Something that was made of something."""

    pointer: str
    happened_at: str
    """As the document says it."""
    inputs: list[SaidQuantity]
    outputs: list[SaidQuantity]


class UnknownOrigin(Told):
    """Something that the document takes from and nowhere opens."""

    pointer: str
    name: str
    lot: str | None


class ReadEvent(Told):
    """How an event was read."""

    pointer: str
    type: str
    step: str | None
    read_as: Literal["delivery", "master_data", "made", "declaration", "declared_wrong", "not_used"]


class ProposalsOut(Told):
    """What a document means for this book. Nothing is booked."""

    deliveries: list[ProposedDelivery]
    made: list[SaidMade]
    unknown_origin: list[UnknownOrigin]
    findings: list[Finding]
    events: list[ReadEvent]
    caution: str
