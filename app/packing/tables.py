"""Products, and what is known of blends and packs beside their mass."""

from datetime import date
from enum import StrEnum

from sqlalchemy import BigInteger, Column, String, Text
from sqlmodel import Field, SQLModel

from app.ledger.cards import Card


class DateChoice(StrEnum):
    """How much of the best-before date is written on the bags of a product."""

    AUTO = "auto"
    """As little as the shelf life allows."""
    DAY = "day"
    MONTH = "month"
    YEAR = "year"


class Product(Card, table=True):
    """What is sold: a bag of a nominal quantity."""

    sku: str = Field(max_length=32, unique=True)
    name: str = Field(max_length=200)
    nominal_g: int = Field(sa_type=BigInteger)
    """The quantity on the label of one bag."""
    gtin: str | None = Field(default=None, max_length=14)
    shelf_life_days: int | None = None
    shelf_life_months: int | None = None
    """Either this or days."""
    date_form: DateChoice = Field(
        default=DateChoice.AUTO,
        sa_column=Column(String(5), nullable=False, server_default=DateChoice.AUTO.value),
    )
    recipe: str | None = Field(default=None, max_length=200)
    """The recipe of what is in the bag, by name, as recipes name what they are made of."""
    style: str | None = Field(default=None, max_length=200)
    """The style of what is in the bag, where it is no blend."""


class Blend(SQLModel, table=True):
    """Roasts, or blends of them, mixed."""

    unit_id: int = Field(primary_key=True, foreign_key="unit.id")
    recipe: str | None = Field(default=None, max_length=200)
    recipe_id: int | None = Field(default=None, foreign_key="recipe.id")
    recipe_version: int | None = None
    """The version it was held against; None where its recipe is a word alone."""
    components: str | None = Field(default=None, sa_column=Column(Text))
    """The component each unit stands for, by the unit's code, as JSON."""
    off_recipe_reason: str | None = Field(default=None, sa_column=Column(Text))
    """Why it may be off its recipe."""


class Pack(SQLModel, table=True):
    """One continuous packing of one product: bags made alike, under one lot mark."""

    unit_id: int = Field(primary_key=True, foreign_key="unit.id")
    product_id: int = Field(foreign_key="product.id", index=True)
    bags: int
    nominal_g: int = Field(sa_type=BigInteger)
    """The product's nominal quantity on that day."""
    lot_mark: str = Field(max_length=40, index=True)
    best_before: date | None = None
    date_form: str | None = Field(default=None, max_length=5)
    """How much of it is written on the bags; None for packs of before this was kept."""
    film_roll: str | None = Field(default=None, max_length=100)
    warnings: str | None = Field(default=None, sa_column=Column(Text))
    """What was pointed out when it was packed, as JSON."""
