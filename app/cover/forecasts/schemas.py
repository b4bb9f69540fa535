"""What the API answers about demand to come."""

from datetime import date
from typing import Literal

from pydantic import Field

from app.ledger.schemas import Told
from app.shared.mass import KgOut
from app.shared.numbers import NumberOut
from app.standards.forecasting import DemandClass, Method

By = Literal["lot", "origin", "component", "product", "site"]
"""What is added up: green as cover adds it up, or of a product the bags that were sent."""


class MethodError(Told):
    method: Method
    error_g: KgOut = Field(alias="error_kg")
    """Root mean square of the errors one week ahead, from every week of the second half."""


class ForecastRow(Told):
    key: str
    """Code of a lot, ISO 3166-1 code of an origin, name of a component, a site, SKU."""
    name: str | None
    weeks: int
    """How many weeks were looked at: from the first with any use."""
    used_g: KgOut = Field(alias="used_kg")
    """In all of them."""
    demand_class: DemandClass
    adi: NumberOut | None
    """Weeks by those with use, to three decimals."""
    cv2: NumberOut | None
    """How much the weeks with use differ: their variance by their squared mean."""
    method: Method
    weekly_g: KgOut = Field(alias="weekly_kg")
    """What is expected of every week."""
    errors: list[MethodError]
    """What each method would have erred by; none where there were too few weeks to choose."""
    expected_g: KgOut = Field(alias="expected_kg")
    """In all weeks ahead together."""
    low_g: KgOut | None = Field(alias="low_kg")
    high_g: KgOut | None = Field(alias="high_kg")
    """Between both nine of ten times."""
    available_g: KgOut = Field(alias="available_kg")
    """On hand at the end of the day, and not on hold now."""
    days_50: NumberOut | None
    """So many days that lasts at least, with a chance of 50 %; null beyond a year."""
    days_90: NumberOut | None
    """The same with a chance of 90 %."""
    note: str | None
    """Why there is no range."""


class ForecastsOut(Told):
    by: By
    as_of: date
    weeks_ahead: int
    items: list[ForecastRow]
    """What was used within the time that is looked at, in the order of the keys."""
    next: str | None
    apart_g: KgOut = Field(alias="apart_used_kg")
    """What was used in that time and belongs to no key."""
    caution: str
