"""What the API reads and answers about packing materials."""

from decimal import Decimal
from typing import Annotated, Any, ClassVar, Self

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    StrictBool,
    WithJsonSchema,
    model_validator,
)

from app.ledger.cards import CardOut
from app.ledger.corrections.schemas import Correcting
from app.ledger.schemas import Asked, Change, Name, Note, Party, Told, Why, refuse_twins
from app.packing.materials.tables import MaterialKind, MaterialUnit
from app.shared.codes import Code, NewCode, PlaceCode
from app.shared.numbers import exact_number
from app.shared.thousandths import MilliOut
from app.shared.times import MomentIn, MomentOut

MOST = 100_000_000
"""Pieces or metres: more is a slip of the finger."""

_STEP = Decimal("0.001")


def _thousandths(value: object) -> int:
    quantity = exact_number(value)
    if not quantity.is_finite() or not 0 <= quantity <= MOST or quantity % _STEP:
        raise ValueError(f"a quantity from 0 to {MOST} with at most 3 decimals is wanted")
    return int(quantity.scaleb(3))


def _more_than_nothing(thousandths: int) -> int:
    if not thousandths:
        raise ValueError("a quantity above zero is wanted")
    return thousandths


_EXACT = BeforeValidator(_thousandths)
_SCHEMA: dict[str, Any] = {"type": "number", "maximum": MOST, "multipleOf": 0.001}

QuantityIn = Annotated[int, _EXACT, WithJsonSchema(_SCHEMA | {"minimum": 0})]
"""A field that reads pieces or metres and holds thousandths."""
SomeIn = Annotated[
    int,
    _EXACT,
    AfterValidator(_more_than_nothing),
    WithJsonSchema(_SCHEMA | {"exclusiveMinimum": 0}),
]
"""The same, and not nothing."""

Reference = Annotated[str, Field(min_length=1, max_length=200)]


class MaterialIn(Asked):
    code: PlaceCode
    name: Name
    kind: MaterialKind
    unit: MaterialUnit
    has_valve: StrictBool | None = None
    """Of a bag or film: whether a valve is in it already."""
    note: Note | None = None


class MaterialChangeIn(Change):
    never_null: ClassVar[frozenset[str]] = frozenset({"name"})

    name: Name | None = None
    has_valve: StrictBool | None = None
    note: Note | None = None


class MaterialOut(CardOut):
    code: str
    name: str
    kind: MaterialKind
    unit: MaterialUnit
    has_valve: bool | None
    note: str | None


class MaterialLotIn(Correcting):
    code: NewCode | None = None
    """The maker's lot or roll number, where it has one; the book issues a code when left out."""
    material: PlaceCode
    supplier: Party | None = None
    """A supplier's card by name or number, or a word."""
    reference: Reference | None = None
    received_at: MomentIn | None = None
    quantity_milli: SomeIn = Field(alias="quantity")
    note: Note | None = None


class MaterialLotOut(Told):
    """A lot, and where every piece or metre of it went."""

    code: str
    material: str
    kind: MaterialKind
    unit: MaterialUnit
    supplier: str | None
    reference: str | None
    received_at: MomentOut
    received: MilliOut
    used: MilliOut
    """In the bags of packs that stand."""
    spoiled: MilliOut
    corrected: MilliOut
    """By counts and write-offs: negative where something was missing."""
    left: MilliOut
    held: bool
    note: str | None
    voided: bool
    void_reason: str | None
    replaced_by: str | None
    """The lot that was taken in in its place, where one was."""


class LotChangeIn(Asked):
    """Either what was counted, or what is written off."""

    counted_milli: QuantityIn | None = Field(default=None, alias="counted")
    written_off_milli: SomeIn | None = Field(default=None, alias="written_off")
    reason: Why

    @model_validator(mode="after")
    def _one_of_them(self) -> Self:
        if (self.counted_milli is None) == (self.written_off_milli is None):
            raise ValueError("say either what was counted or what is written off")
        return self


class LotChangeOut(Told):
    id: int
    lot: str
    counted: MilliOut | None
    change: MilliOut
    reason: str
    changed_at: MomentOut
    changed_by: str
    voided: bool = False
    void_reason: str | None = None


class LotChanged(LotChangeOut):
    left: MilliOut


class LotHoldIn(Asked):
    reason: Why


class LotHoldOut(Told):
    id: int
    lot: str
    reason: str
    placed_at: MomentOut
    placed_by: str
    released_at: MomentOut | None = None
    released_by: str | None = None
    release_reason: str | None = None


class MaterialUseIn(Asked):
    """A lot of packing material that a pack used."""

    lot: Code
    used_milli: SomeIn | None = Field(default=None, alias="used")
    """Left out: of pieces one a bag; of metres what was issued less what was spoiled and
    returned."""
    issued_milli: SomeIn | None = Field(default=None, alias="issued")
    """What was fetched for the run: it was used, spoiled or returned."""
    spoiled_milli: QuantityIn | None = Field(default=None, alias="spoiled")
    returned_milli: QuantityIn | None = Field(default=None, alias="returned")


def _no_twins(uses: list[MaterialUseIn]) -> list[MaterialUseIn]:
    refuse_twins(use.lot for use in uses)
    return uses


Uses = Annotated[list[MaterialUseIn], Field(max_length=50), AfterValidator(_no_twins)]


class MaterialUseOut(Told):
    lot: str
    material: str
    kind: MaterialKind
    unit: MaterialUnit
    used: MilliOut | None
    """Null where only the lot is known."""
    issued: MilliOut | None
    spoiled: MilliOut
    returned: MilliOut | None
