"""What the API reads and answers about customers, dispatches and returns."""

from typing import Annotated, ClassVar

from pydantic import AfterValidator, Field

from app.ledger.cards import CardOut
from app.ledger.corrections.schemas import Correcting
from app.ledger.schemas import Asked, Change, Name, Party, Told, Why
from app.packing.schemas import Bags
from app.shared.codes import Code, NewCode
from app.shared.mass import KgOut
from app.shared.times import MomentIn, MomentOut

Contact = Annotated[str, Field(max_length=500)]


class CustomerIn(Asked):
    name: Name
    contact: Contact | None = None


class CustomerChange(Change):
    never_null: ClassVar[frozenset[str]] = frozenset({"name"})

    name: Name | None = None
    contact: Contact | None = None


class CustomerOut(CardOut):
    name: str
    contact: str | None


class BagsIn(Asked):
    pack: Code
    bags: Bags


def _no_pack_twice(lines: list[BagsIn]) -> list[BagsIn]:
    codes = [line.pack for line in lines]
    twins = sorted({code for code in codes if codes.count(code) > 1})
    if twins:
        raise ValueError(f"named twice: {', '.join(twins)}")
    return lines


Lines = Annotated[list[BagsIn], Field(min_length=1, max_length=500), AfterValidator(_no_pack_twice)]


class DispatchIn(Correcting):
    code: NewCode | None = None
    customer: Party
    order: Code | None = None
    """The order it is for."""
    reference: Annotated[str, Field(max_length=200)] | None = None
    dispatched_at: MomentIn | None = None
    lines: Lines


class BagsOut(Told):
    pack: str
    product: str
    bags: int
    grams: KgOut = Field(alias="kg")
    returned_bags: int = 0


class DispatchLineOut(Told):
    code: str
    customer: str
    order: str | None
    """The order it was for."""
    reference: str | None
    dispatched_at: MomentOut
    grams: KgOut = Field(alias="kg")
    left_g: KgOut = Field(alias="left_kg")
    """What has not come back."""
    voided: bool


class DispatchOut(DispatchLineOut):
    lines: list[BagsOut]
    returns: list[str]
    warnings: list[str]
    """Where more was sent than the order wanted; it went all the same."""


class ReturnIn(Correcting):
    code: NewCode | None = None
    dispatch: Code
    returned_at: MomentIn | None = None
    lines: Lines
    reason: Why


class ReturnedBags(Told):
    code: str
    pack: str
    product: str
    bags: int
    grams: KgOut = Field(alias="kg")


class ReturnOut(Told):
    code: str
    """The code of the first line's bags; each line has its own."""
    dispatch: str
    customer: str
    reason: str
    returned_at: MomentOut
    grams: KgOut = Field(alias="kg")
    held: bool
    hold: int
    lines: list[ReturnedBags]


class ReturnLineOut(Told):
    code: str
    dispatch: str
    customer: str
    pack: str
    product: str
    bags: int
    bags_left: int
    grams: KgOut = Field(alias="kg")
    left_g: KgOut = Field(alias="left_kg")
    reason: str
    returned_at: MomentOut
    held: bool
    voided: bool
