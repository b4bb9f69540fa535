"""Packing materials, their lots, and which pack used how much of which."""

from enum import StrEnum

from sqlalchemy import BigInteger, Column, Index, Integer, String, Text
from sqlmodel import Field, SQLModel

from app.ledger.cards import Card


class MaterialKind(StrEnum):
    """What a packing material is."""

    FILM = "film"
    BAG = "bag"
    VALVE = "valve"
    LABEL = "label"
    CASE = "case"
    OTHER = "other"


class MaterialUnit(StrEnum):
    """What a packing material is counted in."""

    PIECE = "piece"
    METRE = "metre"


class Material(Card, table=True):
    """A packing material as it is bought again and again."""

    code: str = Field(max_length=32, unique=True)
    name: str = Field(max_length=200)
    kind: MaterialKind = Field(sa_column=Column(String(10), nullable=False))
    unit: MaterialUnit = Field(sa_column=Column(String(10), nullable=False))
    has_valve: bool | None = None
    """Of a bag or film: whether a valve is in it already; None where nobody said."""
    note: str | None = Field(default=None, sa_column=Column(Text))


class MaterialLot(SQLModel, table=True):
    """What came of a material at one time, under one lot code of its maker or of ours."""

    __tablename__ = "material_lot"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    code: str = Field(max_length=32, unique=True)
    material_id: int = Field(foreign_key="material.id", index=True)
    supplier_id: int | None = Field(default=None, foreign_key="supplier.id")
    supplier_name: str | None = Field(default=None, max_length=200)
    """Who it came from, where that is a word alone."""
    reference: str | None = Field(default=None, max_length=200)
    received_milli: int = Field(sa_type=BigInteger)
    """Quantities are thousandths of the material's unit."""
    note: str | None = Field(default=None, sa_column=Column(Text))
    entry_id: int = Field(foreign_key="entry.id", index=True)


class MaterialUse(SQLModel, table=True):
    """A lot of packing material that went into the bags of a pack."""

    __tablename__ = "material_use"

    pack_id: int = Field(primary_key=True, foreign_key="pack.unit_id")
    lot_id: int = Field(primary_key=True, foreign_key="material_lot.id")
    used_milli: int | None = Field(default=None, sa_type=BigInteger)
    """None where only the lot is known: the film roll that was named."""
    issued_milli: int | None = Field(default=None, sa_type=BigInteger)
    spoiled_milli: int = Field(default=0, sa_type=BigInteger)
    returned_milli: int | None = Field(default=None, sa_type=BigInteger)

    __table_args__ = (Index("ix_material_use_lot_id", "lot_id", "pack_id"),)


class MaterialChange(SQLModel, table=True):
    """A lot of packing material was counted, or something of it was written off."""

    __tablename__ = "material_change"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    lot_id: int = Field(foreign_key="material_lot.id", index=True)
    change_milli: int = Field(sa_type=BigInteger)
    counted_milli: int | None = Field(default=None, sa_type=BigInteger)
    """What was counted; None where something was written off."""
    reason: str = Field(max_length=2000)
    entry_id: int = Field(foreign_key="entry.id", index=True)


class MaterialHold(SQLModel, table=True):
    """A lot of packing material that must go into no bag until quality says so."""

    __tablename__ = "material_hold"

    id: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    lot_id: int = Field(foreign_key="material_lot.id", index=True)
    reason: str = Field(max_length=2000)
    entry_id: int = Field(foreign_key="entry.id", index=True)


class MaterialRelease(SQLModel, table=True):
    """The end of such a hold."""

    __tablename__ = "material_release"

    hold_id: int = Field(primary_key=True, foreign_key="material_hold.id")
    reason: str = Field(max_length=2000)
    entry_id: int = Field(foreign_key="entry.id", index=True)
