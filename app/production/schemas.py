"""What the API reads and answers about what is to be produced."""

from datetime import date

from pydantic import Field

from app.ledger.schemas import Asked, Told
from app.roasting.batches.schemas import BatchOut, GreenOut
from app.roasting.yields import Basis
from app.shared.mass import KgOut
from app.shared.numbers import NumberOut
from app.shared.times import Day


class OrderNeed(Told):
    order: str
    customer: str
    product: str
    due_on: date
    late: bool
    """Due before the period, and still open."""
    bags: int


class StandingNeed(Told):
    standing_order: str
    product: str
    on: date
    bags: int


class ProductNeed(Told):
    product: str
    recipe: str | None
    style: str | None
    ordered_bags: int
    """By orders, the late ones included."""
    late_bags: int
    standing_bags: int
    """By standing orders, on dates that were not called off yet."""
    packed_bags: int
    """On hand, not held, not past their date at the beginning."""
    to_pack_bags: int
    roasted_g: KgOut = Field(alias="roasted_kg")
    """What the bags that are to be packed hold."""


class ComponentNeed(Told):
    name: str
    grams: KgOut = Field(alias="kg")


class RecipeNeed(Told):
    recipe: str
    needed_g: KgOut = Field(alias="needed_kg")
    on_hand_g: KgOut = Field(alias="on_hand_kg")
    """Of its blends that are there, what this period uses."""
    to_blend_g: KgOut = Field(alias="to_blend_kg")
    components: list[ComponentNeed]
    """Of what is to be blended."""


class StyleNeed(Told):
    style: str
    needed_g: KgOut = Field(alias="needed_kg")
    """Roasted."""
    on_hand_g: KgOut = Field(alias="on_hand_kg")
    """Of its roasts that may be packed and are not held, what this period uses."""
    planned_g: KgOut = Field(alias="planned_kg")
    """What planned batches still to come will give."""
    to_roast_g: KgOut = Field(alias="to_roast_kg")
    loss_pct: NumberOut
    loss_basis: Basis
    loss_roasts: int
    """From how many roasts the loss was measured."""
    green_needed_g: KgOut = Field(alias="green_needed_kg")
    """To the gram, if charges could be parted."""
    machine: str | None
    charge_g: KgOut | None = Field(alias="charge_kg")
    batches_exact: NumberOut | None
    batches: int | None
    green_g: KgOut = Field(alias="green_kg")
    """Of whole charges."""
    roasted_g: KgOut = Field(alias="roasted_kg")
    """What they give."""
    green: list[GreenOut]
    """Out of which lots, after what is held and reserved."""
    by_age: bool
    """Whether the lots are the oldest there are, since the style names none."""
    short_g: KgOut = Field(alias="short_kg")
    """Green that no lot has for it."""


class MachineNeed(Told):
    machine: str | None
    batches: int
    green_g: KgOut = Field(alias="green_kg")


class Gap(Told):
    of: str
    why: str


class NeedsOut(Told):
    first: date = Field(alias="from")
    last: date = Field(alias="to")
    products: list[ProductNeed]
    recipes: list[RecipeNeed]
    styles: list[StyleNeed]
    machines: list[MachineNeed]
    orders: list[OrderNeed]
    standing_orders: list[StandingNeed]
    gaps: list[Gap]
    """What could not be worked out, and why."""


class PlanIn(Asked):
    on: Day
    """The day on which it is to be roasted."""
    first: Day | None = Field(default=None, alias="from")
    """The first day whose needs are planned for; the day itself when it is left out."""
    last: Day | None = Field(default=None, alias="to")
    """The last one; the day itself when it is left out."""


class NotPlanned(Told):
    style: str
    batches: int | None
    why: str


class PlanOut(Told):
    on: date
    batches: list[BatchOut]
    not_planned: list[NotPlanned]
    gaps: list[Gap]
