"""What the API reads and answers about products, blends and packs."""

from datetime import date
from typing import Annotated, ClassVar, Self

from pydantic import AfterValidator, Field, model_validator

from app.ledger.cards import CardOut
from app.ledger.corrections.schemas import Correcting
from app.ledger.schemas import Asked, Change, Name, Told, Why
from app.ledger.tables import UnitKind
from app.packing.materials.schemas import MaterialUseOut, Uses
from app.packing.tables import DateChoice
from app.shared.codes import Code, NewCode, PlaceCode
from app.shared.mass import KgIn, KgOut
from app.shared.numbers import NumberOut
from app.shared.times import Day, MomentIn, MomentOut
from app.standards.best_before import DateForm
from app.standards.gs1.keys import gtin_14
from app.standards.gs1.rules import RuleBroken


def _gtin(digits: str) -> str:
    try:
        gtin_14(digits)
    except RuleBroken:
        said = f"{digits} is no GTIN: 8, 12, 13 or 14 digits with a fitting check digit"
        raise ValueError(said) from None
    return digits


Gtin = Annotated[str, AfterValidator(_gtin)]
NominalGrams = Annotated[int, Field(ge=1, le=30_000, strict=True)]
ShelfLife = Annotated[int, Field(ge=1, le=3650, strict=True)]
ShelfLifeMonths = Annotated[int, Field(ge=1, le=120, strict=True)]
Bags = Annotated[int, Field(ge=1, le=1_000_000, strict=True)]


class ProductIn(Asked):
    sku: PlaceCode
    name: Name
    nominal_g: NominalGrams
    gtin: Gtin | None = None
    shelf_life_days: ShelfLife | None = None
    shelf_life_months: ShelfLifeMonths | None = None
    date_form: DateChoice = DateChoice.AUTO
    """How much of the date is on the bags: as little as the shelf life allows, or more."""
    recipe: Annotated[str, Field(max_length=200)] | None = None
    """The recipe of what is in the bag; this or `style`."""
    style: Annotated[str, Field(max_length=200)] | None = None
    """The style of the roasts that are in the bag."""


class ProductChange(Change):
    never_null: ClassVar[frozenset[str]] = frozenset({"name", "date_form"})

    name: Name | None = None
    gtin: Gtin | None = None
    shelf_life_days: ShelfLife | None = None
    shelf_life_months: ShelfLifeMonths | None = None
    date_form: DateChoice | None = None
    recipe: Annotated[str, Field(max_length=200)] | None = None
    """The recipe of what is in the bag; this or `style`."""
    style: Annotated[str, Field(max_length=200)] | None = None
    """The style of the roasts that are in the bag."""


class ProductOut(CardOut):
    sku: str
    name: str
    nominal_g: int
    gtin: str | None
    shelf_life_days: int | None
    shelf_life_months: int | None
    date_form: DateChoice
    recipe: str | None
    style: str | None


class PartIn(Asked):
    unit: Code | None = None
    place: PlaceCode | None = None
    """Instead of a unit: a silo, hopper or tray, to draw some of everything that is in it."""
    grams: KgIn = Field(alias="kg")

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if (self.unit is None) == (self.place is None):
            raise ValueError("name either a unit or a place")
        return self


Parts = Annotated[list[PartIn], Field(min_length=1, max_length=200)]


class BlendPartIn(PartIn):
    component: Annotated[str, Field(max_length=200)] | None = None
    """Which component of the recipe it is, or `rework`; by its own style or recipe when left
    out."""


class BlendIn(Correcting):
    code: NewCode | None = None
    recipe: Annotated[str, Field(max_length=200)] | None = None
    machine: PlaceCode | None = None
    blended_at: MomentIn | None = None
    parts: Annotated[list[BlendPartIn], Field(min_length=1, max_length=200)]
    to: PlaceCode | None = None
    """Where the coffee is tipped."""
    off_recipe_reason: Why | None = None
    """Why the shares may be off the recipe; only a quality role may say so."""


class SharedPart(Told):
    """A part of a blend with its share of the whole."""

    unit: str
    kind: UnitKind
    grams: KgOut = Field(alias="kg")
    share_pct: NumberOut


class BlendPart(SharedPart):
    component: str | None
    """Which component of the recipe it stands for; null where the recipe is a word alone."""


class BlendLine(Told):
    code: str
    recipe: str | None
    recipe_version: int | None
    """The version it was held against; null where `recipe` is a word alone."""
    off_recipe_reason: str | None
    machine: str | None
    blended_at: MomentOut
    grams: KgOut = Field(alias="kg")
    left_g: KgOut = Field(alias="left_kg")
    held: bool
    voided: bool


class BlendOut(BlendLine):
    location: str | None
    parts: list[BlendPart]


class PackIn(Correcting):
    code: NewCode | None = None
    product: PlaceCode
    machine: PlaceCode | None = None
    packed_at: MomentIn | None = None
    parts: Parts = Field(alias="from")
    bags: Bags
    best_before: Day | None = None
    film_roll: Annotated[str, Field(max_length=100)] | None = None
    """Where it is the code of a lot of packing material, that lot is an input."""
    materials: Uses = Field(default_factory=list)
    """The lots of packing material that went into the bags."""


class PackLine(Told):
    code: str
    product: str
    lot_mark: str
    machine: str | None
    packed_at: MomentOut
    bags: int
    bags_left: int
    packed_g: KgOut = Field(alias="packed_kg")
    left_g: KgOut = Field(alias="left_kg")
    best_before: date | None
    film_roll: str | None
    held: bool
    voided: bool


class PackOut(PackLine):
    parts: list[SharedPart] = Field(alias="from")
    loss_g: KgOut = Field(alias="loss_kg")
    """What went in and is in no bag."""
    claims: list[str]
    """Those that the records let it carry: every lot behind it does."""
    date_form: DateForm | None
    """How much of `best_before` is written on the bag, so that it can be worded in any language."""
    date_mark: str | None
    """The words for the bag; a date of quality, and of nothing else."""
    mark_covers_until: date | None
    """The last day of the month or year where the words say "end"."""
    lot_mark_needed: bool
    """Whether the bag must carry the lot mark: a date with its day could serve instead."""
    materials: list[MaterialUseOut]
    gaps: list[str]
    """What is missing from the record, so that a trace ends there."""
    warnings: list[str]
    """What was pointed out when it was packed."""
