"""What the API reads and answers about reusable crates."""

from typing import Annotated, ClassVar, Literal

from pydantic import AfterValidator, Field, StrictBool

from app.ledger.cards import CardOut
from app.ledger.schemas import Asked, Change, Name, Party, Told, Why
from app.sending.crates.tables import CrateAct
from app.shared.mass import KgIn, KgOut
from app.shared.names import fold_name
from app.shared.times import MomentIn, MomentOut

CrateCount = Annotated[int, Field(ge=1, le=100_000, strict=True)]


class CratesIn(Asked):
    """So many crates of a kind."""

    kind: Party
    count: CrateCount


def _no_kind_twice(crates: list[CratesIn]) -> list[CratesIn]:
    kinds = [fold_name(str(each.kind)) for each in crates]
    if len(set(kinds)) < len(kinds):
        raise ValueError("each kind of crate is named once")
    return crates


Crates = Annotated[list[CratesIn], Field(max_length=50), AfterValidator(_no_kind_twice)]
"""Crates that go with a dispatch or come with a return."""


class CratesSent(Told):
    kind: str
    count: int


class CrateKindIn(Asked):
    name: Name
    tare_g: KgIn | None = Field(default=None, alias="tare_kg")
    deposit: StrictBool = False


class CrateKindChange(Change):
    never_null: ClassVar[frozenset[str]] = frozenset({"name", "deposit"})

    name: Name | None = None
    tare_g: KgIn | None = Field(default=None, alias="tare_kg")
    deposit: StrictBool | None = None


class CrateKindOut(CardOut):
    name: str
    tare_g: KgOut | None = Field(alias="tare_kg")
    """What an empty one weighs."""
    deposit: bool
    """Whether a deposit is taken on it."""


class CrateMovementIn(Asked):
    customer: Party
    act: Literal[CrateAct.OUT, CrateAct.BACK]
    crates: Annotated[
        list[CratesIn], Field(min_length=1, max_length=50), AfterValidator(_no_kind_twice)
    ]
    moved_at: MomentIn | None = None
    note: Annotated[str, Field(max_length=2000)] | None = None


class CrateCountIn(Asked):
    kind: Party
    customer: Party | None = None
    """Whose crates were counted; left out for those in the house."""
    counted: Annotated[int, Field(ge=0, le=100_000, strict=True)]
    counted_at: MomentIn | None = None
    reason: Why


class Standing(Told):
    """How many crates of a kind are somewhere."""

    kind: str
    count: int


class CrateMovementOut(Told):
    customer: str
    act: CrateAct
    crates: list[CratesSent]
    at_customer: list[Standing]
    """How many the customer has of each kind now."""
    in_house: list[Standing]
    moved_at: MomentOut
    entry: int


class CrateCountOut(Told):
    kind: str
    customer: str | None
    book: int
    """How many the book had."""
    counted: int
    change: int
    reason: str
    counted_at: MomentOut
    entry: int


class CrateBalance(Told):
    """Where the crates of a kind are."""

    id: int
    kind: str
    in_house: int
    at_customers: list["AtCustomer"]
    count: int
    """All of them."""


class AtCustomer(Told):
    customer: str
    count: int


class CrateMovementLine(Told):
    id: int
    kind: str
    act: CrateAct
    customer: str | None
    house: int
    """Change of how many are in the house."""
    away: int
    """Change of how many are at the customer."""
    unit: str | None
    """The dispatch or return they went with."""
    voided: bool
    """Whether it was voided, or what it went with: then the movement never was."""
    reason: str | None
    moved_at: MomentOut
    moved_by: str
    entry: int
