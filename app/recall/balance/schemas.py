"""What the API answers about mass balances."""

from pydantic import Field

from app.ledger.schemas import Told
from app.ledger.tables import UnitKind
from app.packing.materials.tables import MaterialUnit
from app.shared.mass import KgOut
from app.shared.numbers import NumberOut
from app.shared.thousandths import MilliOut
from app.shared.times import MomentOut
from app.tracing.flow.schemas import FlowOut


class BalancedUnit(Told):
    code: str
    kind: UnitKind


class EntryGrams(Told):
    """What one entry of the journal contributes."""

    entry: int
    grams: KgOut = Field(alias="kg")


class TermOut(Told):
    term: str
    grams: KgOut = Field(alias="kg")
    share_pct: NumberOut | None
    """Of what came in."""
    entries_count: int
    entries: list[EntryGrams]
    """The first of them, as many as were asked for."""


class BalanceOfUnit(Told):
    of: BalancedUnit
    units: int
    """A lot counts with its sacks, a pack with its bags that came back."""
    came_in: TermOut
    left_g: KgOut = Field(alias="left_kg")
    terms: list[TermOut]
    """With what is left they add up to what came in; found coffee is below zero."""
    difference_g: KgOut = Field(alias="difference_kg")
    difference_pct: NumberOut | None
    caution: str


class BalanceOfPeriod(Told):
    since: MomentOut | None = Field(alias="from")
    until: MomentOut = Field(alias="to")
    opening_g: KgOut = Field(alias="opening_kg")
    came_in: list[TermOut]
    went_out: list[TermOut]
    closing_g: KgOut = Field(alias="closing_kg")
    """Opening and what came in, less what went out, where the difference is 0."""
    difference_g: KgOut = Field(alias="difference_kg")
    difference_pct: NumberOut | None
    caution: str


class FlowOfUnit(FlowOut):
    of: BalancedUnit


class FlowOfPeriod(FlowOut):
    since: MomentOut | None = Field(alias="from")
    until: MomentOut = Field(alias="to")


class EntryQuantity(Told):
    """What one entry of the journal contributes."""

    entry: int
    quantity: MilliOut


class QuantityTerm(Told):
    term: str
    quantity: MilliOut
    share_pct: NumberOut | None
    """Of what was received."""
    entries_count: int
    entries: list[EntryQuantity]
    """The first of them, as many as were asked for."""


class BalanceOfMaterialLot(Told):
    lot: str
    material: str
    unit: MaterialUnit
    """What all quantities are counted in."""
    received: QuantityTerm
    left: MilliOut
    """By the book."""
    terms: list[QuantityTerm]
    """`used`, `spoiled`, `written_off`, `count`; with what is left they add up to what came in."""
    difference: MilliOut
    """What counts missed (below zero: found) and nothing explains."""
    difference_pct: NumberOut | None
    caution: str
