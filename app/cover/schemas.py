"""What the API reads and answers about cover."""

from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from app.cover.foretelling import Basis
from app.cover.rules import LeadBasis, OrderUnit
from app.ledger.schemas import Asked, Name, Told
from app.production.schemas import Gap
from app.shared.codes import Code
from app.shared.mass import KgOut
from app.shared.numbers import NumberOut
from app.standards.forecasting import DemandClass, Method

By = Literal["lot", "origin", "component", "product", "site"]
"""What use and stock are added up by."""


class WindowOut(Told):
    """What was used in one window, and how long the stock lasts by it."""

    window_days: int
    counted_days: int
    """How many of them the use is divided by: all, or the open ones."""
    used_g: KgOut = Field(alias="used_kg")
    daily_use_kg: NumberOut
    """To six decimals."""
    days_of_cover: NumberOut | None
    runs_out_on: date | None


class ForecastOut(Told):
    """What is expected by the use of past weeks, and how long the stock lasts by that alone."""

    method: Method
    demand_class: DemandClass
    weeks: int
    """How many were looked at, from the first with any use."""
    weekly_g: KgOut = Field(alias="weekly_kg")
    days_50: NumberOut | None
    """So many calendar days that lasts at least, with a chance of 50 %; null beyond a year."""
    runs_out_50_on: date | None
    days_90: NumberOut | None
    """The same with a chance of 90 %."""
    runs_out_90_on: date | None


class CoverRow(Told):
    key: str
    """Code of a lot, ISO 3166-1 code of an origin, name of a component, a site, SKU."""
    name: str | None
    on_hand_g: KgOut = Field(alias="on_hand_kg")
    held_g: KgOut = Field(alias="held_kg")
    available_g: KgOut = Field(alias="available_kg")
    """On hand and not on hold. What is reserved is in it: it will be drawn as use."""
    reserved_g: KgOut | None = Field(alias="reserved_kg")
    """For planned batches; null by site, since lots are promised and not places."""
    on_order_g: KgOut = Field(alias="on_order_kg")
    """Of contracts, what has not come yet."""
    used_g: KgOut = Field(alias="used_kg")
    """Green drawn into roasts in the window."""
    sampled_g: KgOut = Field(alias="sampled_kg")
    written_off_g: KgOut = Field(alias="written_off_kg")
    """Everything else that was adjusted in the window; gains count against losses."""
    daily_use_kg: NumberOut
    """To six decimals."""
    days_of_cover: NumberOut | None
    """What is available divided by the daily use, to six decimals; null without use."""
    days_of_cover_exact: str | None
    """The same as a fraction."""
    runs_out_on: date | None
    """The day by whose end nothing is left; null beyond a hundred years too."""
    net_days_of_cover: NumberOut | None
    """Available and on order less reserved, divided by the daily use."""
    days_if_released: NumberOut | None
    """With what is on hold."""
    runs_out_if_released_on: date | None
    note: str | None
    """Why there is no number."""
    component: str | None
    """Of a product, the component that ends first: all figures are of it, and its use is what the
    product's own bags took."""
    windows: list[WindowOut]
    """Short and long, side by side."""
    forecast: ForecastOut | None
    """As a range: what is available against use as it comes, week by week."""
    no_forecast: str | None
    """Why there is none."""
    shared_lots: list[str]
    """Of a component, its lots that other components draw on too: they count for each."""


class ApartOut(Told):
    """What could not be put to any key."""

    on_hand_g: KgOut = Field(alias="on_hand_kg")
    used_g: KgOut = Field(alias="used_kg")
    on_order_g: KgOut = Field(alias="on_order_kg")


class CoverOut(Told):
    by: By
    as_of: date
    """The day at whose end stock is looked at."""
    window_days: int
    counted_days: int
    open_days: bool
    items: list[CoverRow]
    """What runs out first at the top; what was not used at the end."""
    apart: ApartOut
    gaps: list[Gap]
    """Products of which nobody knows the green, and why."""


ItemBy = Literal["component", "origin", "product", "site"]
"""What is ordered for; a lot is bought once."""


class ForwardRow(Told):
    key: str
    name: str | None
    component: str | None
    """Of a product, the component that ends first: all figures are of it."""
    on_hand_g: KgOut = Field(alias="on_hand_kg")
    held_g: KgOut = Field(alias="held_kg")
    available_g: KgOut = Field(alias="available_kg")
    planned_g: KgOut = Field(alias="planned_kg")
    """Green that the plan takes in its days."""
    after_plan: Basis
    """What goes on after the plan: the forecast where there is one, else the average."""
    daily_use_kg: NumberOut
    """What is taken a day after the plan, by that."""
    average_use_kg: NumberOut
    """What was taken a day in the long window."""
    days_of_cover: NumberOut | None
    runs_out_on: date | None
    days_if_released: NumberOut | None
    runs_out_if_released_on: date | None
    note: str | None
    forecast: ForecastOut | None
    """What is available against the forecast alone, from tomorrow on, beside the plan."""
    no_forecast: str | None


class ForwardOut(Told):
    by: By
    as_of: date
    plan_days: int
    window_days: int
    items: list[ForwardRow]
    short_g: KgOut = Field(alias="short_kg")
    """Green of the plan that no lot of its slot has."""
    gaps: list[Gap]


class LeadTimeOut(Told):
    days: NumberOut
    sd_days: NumberOut
    basis: LeadBasis
    """`card`: as the planning card says; `measured`: of its past deliveries; `agreed`: as its
    contracts say; `setting`."""
    deliveries: int
    """From how many first deliveries of contracts it was measured."""


class SuggestedOrder(Told):
    key: str
    name: str | None
    component: str | None
    """Of a product, the component that ends first: all figures are of it."""
    method: Literal["reorder_point", "harvest"]
    service_pct: NumberOut
    z: NumberOut
    use_basis: Basis
    """What the daily use is: of the forecast where there is one, else the average."""
    daily_use_kg: NumberOut
    daily_sd_kg: NumberOut
    lead_time: LeadTimeOut
    safety_stock_g: KgOut = Field(alias="safety_stock_kg")
    reorder_point_g: KgOut = Field(alias="reorder_point_kg")
    available_g: KgOut = Field(alias="available_kg")
    held_g: KgOut = Field(alias="held_kg")
    on_order_g: KgOut = Field(alias="on_order_kg")
    position_g: KgOut = Field(alias="position_kg")
    """Available and on order."""
    due: bool
    """Whether the reorder point is reached."""
    order_by: date | None
    """The day on which it is; null without use."""
    order_by_if_released: date | None
    runs_out_on: date | None
    """Without any delivery, at the daily use."""
    order_up_to_g: KgOut = Field(alias="order_up_to_kg")
    exact_g: KgOut = Field(alias="exact_kg")
    """What brings the position from the reorder point, or from where it is, to that."""
    suggested_g: KgOut = Field(alias="suggested_kg")
    unit: OrderUnit
    unit_g: KgOut = Field(alias="unit_kg")
    units: int
    why: str


class OrdersOut(Told):
    by: ItemBy
    as_of: date
    window_days: int
    service: str
    """What a service level means, and what it does not."""
    items: list[SuggestedOrder]
    """What is due first at the top."""
    gaps: list[Gap]


class ComingOut(Told):
    contract: str
    supplier: str
    open_g: KgOut = Field(alias="open_kg")
    on: date | None
    """Expected; null where nobody knows, or where the day is past: then it is in no projection."""
    earliest_on: date | None
    latest_on: date | None
    """With the spread of the lead time, at the level of service."""


class ProjectedDay(Told):
    on: date
    planned_g: KgOut = Field(alias="planned_kg")
    arriving_g: KgOut = Field(alias="arriving_kg")
    expected_g: KgOut = Field(alias="expected_kg")
    """At the end of the day."""
    low_g: KgOut = Field(alias="low_kg")
    high_g: KgOut = Field(alias="high_kg")
    """Nine of ten times between both."""
    low_50_g: KgOut = Field(alias="low_50_kg")
    high_50_g: KgOut = Field(alias="high_50_kg")
    """Every second time between both."""
    short_g: KgOut = Field(alias="short_kg")
    """Wanted and not there."""


class ProjectionOut(Told):
    by: By
    key: str
    component: str | None
    """Of a product, the component that ends first: all figures are of it."""
    as_of: date
    plan_days: int
    after_plan: Basis
    """By what use goes on after the plan, and whose chance the bands show."""
    no_forecast: str | None
    service: str
    reorder_point_g: KgOut | None = Field(alias="reorder_point_kg")
    """Null by lot, as all of the next: a lot is bought once."""
    safety_stock_g: KgOut | None = Field(alias="safety_stock_kg")
    order_by: date | None
    runs_out_on: date | None
    """The first day on which something is short, arrivals counted."""
    arrivals: list[ComingOut]
    days: list[ProjectedDay]


class Joining(Asked):
    """A customer who takes so many bags of a product a week."""

    product: Name
    bags_a_week: Annotated[int, Field(ge=1, le=1_000_000, strict=True)]


class WhatIfIn(Asked):
    by: By = "component"
    joins: list[Joining] = Field(default_factory=list, max_length=100)
    fails: list[Code] = Field(default_factory=list, max_length=100)
    """Lots that turn out unusable."""
    window_days: Annotated[int, Field(ge=1, le=1098, strict=True)] | None = None


class IfOut(Told):
    component: str | None
    """Of a product, the component that ends first: all figures are of it."""
    available_g: KgOut = Field(alias="available_kg")
    daily_use_kg: NumberOut
    days_of_cover: NumberOut | None
    runs_out_on: date | None


class WhatIfRow(Told):
    key: str
    name: str | None
    before: IfOut
    after: IfOut


class WhatIfOut(Told):
    by: By
    as_of: date
    window_days: int
    items: list[WhatIfRow]
    """Those alone for which it changes something."""
    gaps: list[Gap]
