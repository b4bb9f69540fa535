"""What the API reads about documents of EPCIS."""

from typing import Annotated

from pydantic import Field

from app.ledger.schemas import Asked
from app.shared.codes import Code
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
