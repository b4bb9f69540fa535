"""What is on record about where a lot grew."""

from datetime import date

from sqlalchemy import BigInteger, CheckConstraint, Column, Index, String, Text
from sqlmodel import Field, SQLModel

from app.green.evidence.rules import FirmRole


class PlotFile(SQLModel, table=True):
    """A file of the plots behind a lot. A newer one supersedes it, and both stay."""

    __tablename__ = "plot_file"

    id: int | None = Field(default=None, primary_key=True)
    lot_id: int = Field(foreign_key="green_lot.unit_id")
    entry_id: int = Field(foreign_key="entry.id", index=True)
    content: str = Field(sa_column=Column(Text, nullable=False))
    """The file as it was given, to the byte."""
    sha256: str = Field(max_length=64)
    """Of the file; the journal has it too, so no other file can take its place unseen."""
    size_bytes: int
    points: int
    outlines: int
    area_m2: int = Field(sa_type=BigInteger)
    countries: str = Field(max_length=1000)
    """The countries its plots name, with commas; blank where none does."""

    __table_args__ = (Index("ix_plot_file_lot_id", "lot_id", "id"),)


class DueDiligence(SQLModel, table=True):
    """Something said about a lot. What is said later counts; what was not said stays as it was."""

    __tablename__ = "due_diligence"

    id: int | None = Field(default=None, primary_key=True)
    lot_id: int = Field(foreign_key="green_lot.unit_id")
    entry_id: int = Field(foreign_key="entry.id", index=True)
    hs_code: str | None = Field(default=None, max_length=6)
    produced_from: date | None = None
    produced_to: date | None = None
    not_available: str | None = Field(default=None, max_length=2000)
    """Why there is no evidence. What was on record before no longer counts."""

    __table_args__ = (
        CheckConstraint(
            "(produced_from IS NULL) = (produced_to IS NULL)", name="ck_due_diligence_whole_period"
        ),
        Index("ix_due_diligence_lot_id", "lot_id", "id"),
    )


class Statement(SQLModel, table=True):
    """A due-diligence statement named for a lot. One may stand on many lots, a lot on many."""

    __tablename__ = "due_diligence_statement"

    id: int | None = Field(default=None, primary_key=True)
    due_diligence_id: int = Field(foreign_key="due_diligence.id", index=True)
    reference: str = Field(max_length=14, index=True)
    verification: str | None = Field(default=None, max_length=35)
    own_reference: str | None = Field(default=None, max_length=50)
    simplified: bool = False
    """A simplified declaration, which has no verification number."""
    withdrawn: bool = False
    """Named by mistake: from here on it does not count for the lot."""


class DeliveryRole(SQLModel, table=True):
    """What the roastery is for one delivery; the latest word counts."""

    __tablename__ = "delivery_role"

    id: int | None = Field(default=None, primary_key=True)
    delivery_id: int = Field(foreign_key="delivery.id")
    entry_id: int = Field(foreign_key="entry.id", index=True)
    role: FirmRole = Field(sa_column=Column(String(10), nullable=False))
    from_operator: bool | None = None
    """Of a trader: whether the supplier was the operator; null where nobody knows."""

    __table_args__ = (Index("ix_delivery_role_delivery_id", "delivery_id", "id"),)
