"""What the API reads and answers about machines and roasts."""

from typing import Annotated, ClassVar, Self

from pydantic import Field, StrictBool, model_validator

from app.green.readings.values import Moisture, Value, number
from app.ledger.cards import CardOut
from app.ledger.corrections.schemas import Correcting
from app.ledger.schemas import Asked, Change, Note, Told
from app.places.schemas import Hours, Runs
from app.quality.rules import Disposition
from app.roasting.colours.schemas import ColourOut, ColourReadingIn
from app.roasting.organic import OrganicOut
from app.roasting.tables import MachineKind
from app.shared.codes import Code, NewCode, PlaceCode
from app.shared.mass import KgIn, KgOut
from app.shared.numbers import NumberOut
from app.shared.thousandths import MilliOut
from app.shared.times import MomentIn, MomentOut

Celsius = Annotated[Value, Field(ge=0, le=1000), number(minimum=0, maximum=1000)]
RoastedMoisture = Annotated[Value, Field(ge=0, lt=100), number(minimum=0, exclusiveMaximum=100)]
Seconds = Annotated[int, Field(ge=1, le=86_400, strict=True)]


class MachineIn(Asked):
    code: PlaceCode
    kind: MachineKind
    capacity_g: KgIn | None = Field(default=None, alias="capacity_kg")
    carry_over_runs: Runs = 1
    """How many runs after one can hold a rest of it."""
    carry_over_hours: Hours | None = None
    """For how long they can; without a limit in time when left out."""


class MachineChange(Change):
    never_null: ClassVar[frozenset[str]] = frozenset({"carry_over_runs"})

    capacity_g: KgIn | None = Field(default=None, alias="capacity_kg")
    carry_over_runs: Runs | None = None
    carry_over_hours: Hours | None = None


class MachineOut(CardOut):
    code: str
    kind: MachineKind
    capacity_g: KgOut | None = Field(alias="capacity_kg")
    carry_over_runs: int
    carry_over_hours: int | None


class CleanDownIn(Asked):
    cleaned_at: MomentIn | None = None
    note: Note | None = None


class CleanDownOut(Told):
    id: int
    machine: str
    cleaned_at: MomentOut
    note: str | None
    cleaned_by: str
    voided: bool = False
    void_reason: str | None = None


class DrawIn(Asked):
    sack: Code
    grams: KgIn = Field(alias="kg")
    emptied: StrictBool = False


class RoastIn(Correcting):
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
    colour_tolerance: Annotated[Value, Field(ge=0), number(minimum=0)] | None = None
    profile_hit: StrictBool | None = None
    to: PlaceCode | None = None
    """Where the coffee is tipped."""
    loss_range_pct: tuple[Moisture, Moisture] | None = None
    end_confirmed: StrictBool = False
    """It was weighed again and is so: a loss that seems impossible is judged all the same."""
    colour_reading: ColourReadingIn | None = None
    """The colour with how it was read, in place of the bare `colour`."""
    roasted_moisture_pct: RoastedMoisture | None = None
    """The moisture of the roasted coffee, where it was measured."""
    drop_c: Celsius | None = None
    """How hot it was when it was dropped."""
    total_s: Seconds | None = None
    """The time from charge to drop."""

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
    location: str | None
    drop_c: NumberOut | None
    total_s: int | None
    colours: list[ColourOut]
    """Every colour that was read of it; what its gate found stays whatever is read later."""
    organic: OrganicOut
    at_most_milli: MilliOut | None = Field(alias="at_most_pct")
    """Of `blend_in`: how much of a blend it may be."""
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
    organic: OrganicOut
    at_most_milli: MilliOut | None = Field(alias="at_most_pct")
    """Of `blend_in`: how much of a blend it may be."""
    left_g: KgOut = Field(alias="left_kg")
    held: bool
    voided: bool
