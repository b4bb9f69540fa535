"""What the API reads and answers about styles."""

from typing import Annotated, ClassVar

from pydantic import AfterValidator, Field

from app.ledger.cards import CardOut
from app.ledger.schemas import Asked, Change, Codes, Name, Note, Told
from app.roasting.colours.schemas import Scale
from app.roasting.rules import ColourForm
from app.roasting.schemas import Seconds
from app.roasting.yields import WHOLE_MILLI
from app.shared.codes import PlaceCode
from app.shared.mass import KgIn, KgOut
from app.shared.shares import percent
from app.shared.thousandths import MilliOut, PercentIn, ShadeIn

SecondsOff = Annotated[int, Field(ge=0, le=86_400, strict=True)]


class SlotIn(Asked):
    share_milli: PercentIn = Field(alias="share_pct", json_schema_extra={"minimum": 0.001})
    """Of the charge."""
    lots: Codes
    """The lots it is taken from, the first as long as it lasts."""
    component: Name | None = None
    """What the slot is called; slots of several styles that are called alike are one component."""


def _whole(slots: list[SlotIn]) -> list[SlotIn]:
    if not all(slot.share_milli for slot in slots):
        raise ValueError("a slot of 0 % is none")
    whole = sum(slot.share_milli for slot in slots)
    if whole != WHOLE_MILLI:
        raise ValueError(f"the shares add up to {percent(whole, WHOLE_MILLI)} %, not 100 %")
    return slots


Slots = Annotated[list[SlotIn], Field(min_length=1, max_length=20), AfterValidator(_whole)]


class SlotOut(Told):
    share_milli: MilliOut = Field(alias="share_pct")
    lots: list[str]
    component: str | None = None


class StyleIn(Asked):
    name: Name
    loss_milli: PercentIn | None = Field(default=None, alias="loss_pct")
    """The weight loss that is aimed at, of the charge."""
    loss_tolerance_milli: PercentIn | None = Field(default=None, alias="loss_tolerance")
    """How many points the loss may be off, ends included."""
    colour_milli: ShadeIn | None = Field(default=None, alias="colour_target")
    colour_tolerance_milli: ShadeIn | None = Field(default=None, alias="colour_tolerance")
    """Ends included; the roastery's own where it is left out."""
    colour_scale: Scale | None = None
    """The scale the target is on: a colour of another one is not compared."""
    colour_form: ColourForm | None = None
    drop_milli: ShadeIn | None = Field(default=None, alias="drop_c")
    """The temperature to drop at."""
    drop_tolerance_milli: ShadeIn | None = Field(default=None, alias="drop_tolerance_c")
    total_s: Seconds | None = None
    """The time from charge to drop."""
    total_tolerance_s: SecondsOff | None = None
    machine: PlaceCode | None = None
    """The drum it is made for."""
    batch_g: KgIn | None = Field(default=None, alias="batch_kg")
    """The usual charge."""
    green: Slots | None = None
    """Which lots a charge is made of; several slots are a blend before roasting."""
    note: Note | None = None


class StyleChange(Change):
    never_null: ClassVar[frozenset[str]] = frozenset({"name"})

    name: Name | None = None
    loss_milli: PercentIn | None = Field(default=None, alias="loss_pct")
    loss_tolerance_milli: PercentIn | None = Field(default=None, alias="loss_tolerance")
    colour_milli: ShadeIn | None = Field(default=None, alias="colour_target")
    colour_tolerance_milli: ShadeIn | None = Field(default=None, alias="colour_tolerance")
    colour_scale: Scale | None = None
    colour_form: ColourForm | None = None
    drop_milli: ShadeIn | None = Field(default=None, alias="drop_c")
    drop_tolerance_milli: ShadeIn | None = Field(default=None, alias="drop_tolerance_c")
    total_s: Seconds | None = None
    total_tolerance_s: SecondsOff | None = None
    machine: PlaceCode | None = None
    batch_g: KgIn | None = Field(default=None, alias="batch_kg")
    green: Slots | None = None
    note: Note | None = None


class StyleOut(CardOut):
    name: str
    loss_milli: MilliOut | None = Field(alias="loss_pct")
    loss_tolerance_milli: MilliOut | None = Field(alias="loss_tolerance")
    colour_milli: MilliOut | None = Field(alias="colour_target")
    colour_tolerance_milli: MilliOut | None = Field(alias="colour_tolerance")
    colour_scale: str | None
    colour_form: ColourForm | None
    drop_milli: MilliOut | None = Field(alias="drop_c")
    drop_tolerance_milli: MilliOut | None = Field(alias="drop_tolerance_c")
    total_s: int | None
    total_tolerance_s: int | None
    machine: str | None
    batch_g: KgOut | None = Field(alias="batch_kg")
    green: list[SlotOut] | None
    note: str | None
