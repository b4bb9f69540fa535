"""What the API reads and answers about use by day and about age by month."""

from datetime import date
from typing import Literal

from pydantic import Field

from app.ledger.schemas import Told
from app.shared.mass import KgOut
from app.shared.numbers import NumberOut

UseBy = Literal["lot", "origin", "component", "site"]
CountedFrom = Literal["harvest", "arrival"]


class UsedDay(Told):
    on: date
    used_g: KgOut = Field(alias="used_kg")
    """Green drawn into roasts."""
    open: bool
    """Whether the roastery is open on such a day."""


class AverageOut(Told):
    """The average over one window."""

    window_days: int
    first_on: date
    counted_days: int
    used_g: KgOut = Field(alias="used_kg")
    daily_use_kg: NumberOut
    """To six decimals."""


class UseOut(Told):
    by: UseBy
    key: str
    name: str | None
    as_of: date
    open_days: bool
    """Whether closed days are left out of the averages."""
    windows: list[AverageOut]
    days: list[UsedDay]
    """Every day of the longest window, oldest first."""


class AgeMonth(Told):
    counted_from: CountedFrom
    months: int | None
    """Whole months since then; null where nobody said when the harvest ended."""
    lots: int
    on_hand_g: KgOut = Field(alias="on_hand_kg")
    held_g: KgOut = Field(alias="held_kg")
    """Of it, lots that are on hold as a whole."""


class AgeMonthsOut(Told):
    as_of: date
    amber_months: int
    red_months: int
    """From so many months on a crop is pointed out."""
    items: list[AgeMonth]
    """All green on hand twice: by the end of its harvest, and by its arrival."""
