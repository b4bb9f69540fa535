"""What the API reads and answers about products, blends and packs."""

from datetime import date
from typing import Annotated, ClassVar

from pydantic import AfterValidator, Field

from app.ledger.cards import CardOut
from app.ledger.schemas import Asked, Change, Name, Told, Why
from app.ledger.tables import UnitKind
from app.shared.codes import Code, NewCode, PlaceCode
from app.shared.mass import KgIn, KgOut
from app.shared.numbers import NumberOut
from app.shared.times import MomentIn, MomentOut
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
Bags = Annotated[int, Field(ge=1, le=1_000_000, strict=True)]


class ProductIn(Asked):
    sku: PlaceCode
    name: Name
    nominal_g: NominalGrams
    gtin: Gtin | None = None
    shelf_life_days: ShelfLife | None = None


class ProductChange(Change):
    never_null: ClassVar[frozenset[str]] = frozenset({"name"})

    name: Name | None = None
    gtin: Gtin | None = None
    shelf_life_days: ShelfLife | None = None


class ProductOut(CardOut):
    sku: str
    name: str
    nominal_g: int
    gtin: str | None
    shelf_life_days: int | None


class PartIn(Asked):
    unit: Code
    grams: KgIn = Field(alias="kg")


Parts = Annotated[list[PartIn], Field(min_length=1, max_length=200)]


class BlendPartIn(PartIn):
    component: Annotated[str, Field(max_length=200)] | None = None
    """Which component of the recipe it is, or `rework`; by its own style or recipe when left
    out."""


class BlendIn(Asked):
    code: NewCode | None = None
    recipe: Annotated[str, Field(max_length=200)] | None = None
    machine: PlaceCode | None = None
    blended_at: MomentIn | None = None
    parts: Annotated[list[BlendPartIn], Field(min_length=1, max_length=200)]
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
    parts: list[BlendPart]


class PackIn(Asked):
    code: NewCode | None = None
    product: PlaceCode
    machine: PlaceCode | None = None
    packed_at: MomentIn | None = None
    parts: Parts = Field(alias="from")
    bags: Bags
    best_before: date | None = None
    film_roll: Annotated[str, Field(max_length=100)] | None = None


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
