"""What the API reads and answers about machines and roasts."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from app.green.readings.values import Moisture, Value
from app.ledger.cards import CardOut
from app.ledger.schemas import Asked, Change, Note, Told
from app.roasting.tables import MachineKind
from app.shared.codes import Code, NewCode, PlaceCode
from app.shared.mass import KgIn, KgOut
from app.shared.numbers import NumberOut
from app.shared.times import MomentIn, MomentOut

Disposition = Literal["passed", "set_aside", "released", "rejected"]


class MachineIn(Asked):
    code: PlaceCode
    kind: MachineKind
    capacity_g: KgIn | None = Field(default=None, alias="capacity_kg")


class MachineChange(Change):
    capacity_g: KgIn | None = Field(default=None, alias="capacity_kg")


class MachineOut(CardOut):
    code: str
    kind: MachineKind
    capacity_g: KgOut | None = Field(alias="capacity_kg")


class CleanDownIn(Asked):
    cleaned_at: MomentIn | None = None
    note: Note | None = None


class CleanDownOut(Told):
    machine: str
    cleaned_at: MomentOut
    note: str | None
    cleaned_by: str


class DrawIn(Asked):
    sack: Code
    grams: KgIn = Field(alias="kg")
    emptied: bool = False


class RoastIn(Asked):
    code: NewCode | None = None
    machine: PlaceCode
    roasted_at: MomentIn | None = None
    style: Annotated[str, Field(max_length=200)] | None = None
    batch: Annotated[int, Field(ge=1, le=2**31 - 1, strict=True)] | None = None
    """The planned batch that is roasted; its style when none is said."""
    draws: Annotated[list[DrawIn], Field(min_length=1, max_length=200)]
    end_g: KgIn = Field(alias="end_kg")
    colour: Value | None = None
    colour_target: Value | None = None
    colour_tolerance: Annotated[Value, Field(ge=0)] | None = None
    profile_hit: bool | None = None
    loss_range_pct: tuple[Moisture, Moisture] | None = None

    @model_validator(mode="after")
    def _range_runs_upward(self) -> Self:
        if self.loss_range_pct and self.loss_range_pct[0] > self.loss_range_pct[1]:
            raise ValueError("loss_range_pct runs from the lower to the higher limit")
        return self


class CheckOut(Told):
    check: str
    passed: bool
    detail: str


class Draw(Told):
    sack: str
    grams: KgOut = Field(alias="kg")


class RoastOut(Told):
    code: str
    machine: str
    style: str | None
    style_version: int | None
    """By which version of a style it was judged; null where `style` is a word alone."""
    batch: int | None
    """The planned batch it was made of."""
    roasted_at: MomentOut
    charge_g: KgOut = Field(alias="charge_kg")
    end_g: KgOut = Field(alias="end_kg")
    loss_pct: NumberOut
    disposition: Disposition
    checks: list[CheckOut]
    warnings: list[str]
    """What was unusual about the charge; it does not keep a roast from passing."""
    draws: list[Draw]
    left_g: KgOut = Field(alias="left_kg")
    held: bool
    voided: bool


class RoastLine(Told):
    code: str
    machine: str
    style: str | None
    roasted_at: MomentOut
    charge_g: KgOut = Field(alias="charge_kg")
    end_g: KgOut = Field(alias="end_kg")
    loss_pct: NumberOut
    disposition: Disposition
    left_g: KgOut = Field(alias="left_kg")
    held: bool
    voided: bool
