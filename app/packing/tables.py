"""Products, and what is known of blends and packs beside their mass."""

from datetime import date

from sqlalchemy import BigInteger
from sqlmodel import Field, SQLModel

from app.ledger.cards import Card


class Product(Card, table=True):
    """What is sold: a bag of a nominal quantity."""

    sku: str = Field(max_length=32, unique=True)
    name: str = Field(max_length=200)
    nominal_g: int = Field(sa_type=BigInteger)
    """The quantity on the label of one bag."""
    gtin: str | None = Field(default=None, max_length=14)
    shelf_life_days: int | None = None


class Blend(SQLModel, table=True):
    """Roasts, or blends of them, mixed."""

    unit_id: int = Field(primary_key=True, foreign_key="unit.id")
    recipe: str | None = Field(default=None, max_length=200)


class Pack(SQLModel, table=True):
    """One continuous packing of one product: bags made alike, under one lot mark."""

    unit_id: int = Field(primary_key=True, foreign_key="unit.id")
    product_id: int = Field(foreign_key="product.id", index=True)
    bags: int
    nominal_g: int = Field(sa_type=BigInteger)
    """The product's nominal quantity on that day."""
    lot_mark: str = Field(max_length=40, index=True)
    best_before: date | None = None
    film_roll: str | None = Field(default=None, max_length=100)
