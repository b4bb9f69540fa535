"""What the API reads and answers about cover."""

from datetime import date
from typing import Literal

from pydantic import Field

from app.ledger.schemas import Told
from app.shared.mass import KgOut
from app.shared.numbers import NumberOut

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
    windows: list[WindowOut]
    """Short and long, side by side."""
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
    """The day at whose end stock is looked at; days are those of UTC."""
    window_days: int
    counted_days: int
    open_days: bool
    items: list[CoverRow]
    """What runs out first at the top; what was not used at the end."""
    apart: ApartOut
