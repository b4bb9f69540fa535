"""What the API reads and answers about customers, dispatches and returns."""

from collections.abc import Callable
from typing import Annotated, Any, ClassVar

from pydantic import AfterValidator, Field, StringConstraints, WrapValidator

from app.ledger.cards import CardOut
from app.ledger.corrections.schemas import Correcting
from app.ledger.schemas import Asked, Change, Name, Party, Told, Why, refuse_twins
from app.packing.schemas import Bags
from app.sending.cases.naming import CaseNamed
from app.sending.crates.schemas import Crates, CratesSent
from app.sending.tables import CustomerKind
from app.shared.codes import Code, NewCode
from app.shared.mass import KgOut
from app.shared.times import MomentIn, MomentOut

Contact = Annotated[str, Field(max_length=500)]
Address = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=1000)]
"""A postal address as it stands on an envelope, its lines apart."""


class CustomerIn(Asked):
    name: Name
    contact: Contact | None = None
    address: Address | None = None
    kind: CustomerKind = CustomerKind.BUSINESS


class CustomerChange(Change):
    never_null: ClassVar[frozenset[str]] = frozenset({"name"})

    name: Name | None = None
    contact: Contact | None = None
    address: Address | None = None


class CustomerOut(CardOut):
    name: str
    contact: str | None
    address: str | None
    kind: CustomerKind


class BagsIn(Asked):
    pack: Code
    bags: Bags


def _no_pack_twice(lines: list[BagsIn]) -> list[BagsIn]:
    refuse_twins(line.pack for line in lines)
    return lines


Lines = Annotated[list[BagsIn], Field(min_length=1, max_length=500), AfterValidator(_no_pack_twice)]


def _by_what_it_names(said: object, _: Callable[[object], Any]) -> BagsIn | CaseNamed:
    """Read a line as what it names, so that a flaw of it is told of that alone."""
    if isinstance(said, BagsIn | CaseNamed):
        return said
    named: type[BagsIn | CaseNamed] = (
        CaseNamed if isinstance(said, dict) and "case" in said else BagsIn
    )
    return named.model_validate(said)


SentLine = Annotated[BagsIn | CaseNamed, WrapValidator(_by_what_it_names)]
"""Bags of a pack, or a case with all that is in it."""


def no_line_twice(lines: list[BagsIn | CaseNamed]) -> list[BagsIn | CaseNamed]:
    """Refuse a pack or a case that stands in two lines."""
    refuse_twins(line.case if isinstance(line, CaseNamed) else line.pack for line in lines)
    return lines


SentLines = Annotated[
    list[SentLine], Field(min_length=1, max_length=500), AfterValidator(no_line_twice)
]


class DispatchIn(Correcting):
    code: NewCode | None = None
    customer: Party
    order: Code | None = None
    """The order it is for."""
    reference: Annotated[str, Field(max_length=200)] | None = None
    dispatched_at: MomentIn | None = None
    lines: SentLines
    pick: Annotated[int, Field(ge=1, le=2**31 - 1, strict=True)] | None = None
    """The pick that it ends: the bags kept for it may go."""
    crates: Crates = Field(default_factory=list)


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
    """By pack, with the bags that left in cases."""
    cases: list[str]
    """Those that were named; a pallet stands for what is on it."""
    crates: list[CratesSent]
    pick: int | None
    returns: list[str]
    warnings: list[str]
    """Where more was sent than the order wanted; it went all the same."""


class ReturnIn(Correcting):
    code: NewCode | None = None
    dispatch: Code
    returned_at: MomentIn | None = None
    lines: Lines
    crates: Crates = Field(default_factory=list)
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
    crates: list[CratesSent]


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
