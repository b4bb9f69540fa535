"""What the API reads and answers about units as such."""

from collections import Counter
from collections.abc import Iterable
from decimal import Decimal
from functools import cache
from typing import Annotated, ClassVar, Final, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    GetJsonSchemaHandler,
    StrictInt,
    StringConstraints,
    model_validator,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticKnownError

from app.ledger.tables import Reason, UnitKind
from app.shared.codes import Code
from app.shared.mass import KgOut, SignedKgIn
from app.shared.names import legible
from app.shared.times import MomentIn, MomentOut

Why = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=2000)]
"""A reason in words."""
Note = Annotated[str, StringConstraints(max_length=2000)]
Name = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=200),
    AfterValidator(legible),
]

_SAID_BESIDE: Final = frozenset({"title", "description", "default", "examples"})
"""What a schema says of a member whatever its type."""


class Asked(BaseModel):
    """A body somebody sends: unknown fields are refused, so a typing slip is not lost."""

    model_config = ConfigDict(
        extra="forbid", populate_by_name=True, frozen=True, use_attribute_docstrings=True
    )

    @model_validator(mode="before")
    @classmethod
    def _null_is_left_out(cls, said: object) -> object:
        """Take null for left out, also where what is left out means something."""
        if not isinstance(said, dict):
            if isinstance(said, Decimal):
                # FastAPI lets an object stand for a body, and a number with a point is one: it has
                # none of the members, so that it would pass where all of them may be left out.
                raise PydanticKnownError("model_attributes_type")
            return said
        meaning = _names_with_a_default(cls)
        return {
            name: value for name, value in said.items() if value is not None or name not in meaning
        }

    @classmethod
    def __get_pydantic_json_schema__(
        cls, core: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Say so in the document, too."""
        schema = handler(core)
        members = handler.resolve_ref_schema(schema).get("properties", {})
        for name in _names_with_a_default(cls) & members.keys():
            members[name] = _or_null(members[name])
        return schema


def _or_null(member: JsonSchemaValue) -> JsonSchemaValue:
    beside = {name: said for name, said in member.items() if name in _SAID_BESIDE}
    taken = {name: said for name, said in member.items() if name not in _SAID_BESIDE}
    choices = taken["anyOf"] if set(taken) == {"anyOf"} else [taken]
    return {"anyOf": [*choices, {"type": "null"}]} | beside


@cache
def _names_with_a_default(body: type[BaseModel]) -> frozenset[str | None]:
    """Name the members that mean something when they are left out; once a class, not a body."""
    return frozenset(
        name
        for key, field in body.model_fields.items()
        if not field.is_required() and field.get_default(call_default_factory=True) is not None
        for name in (key, field.alias)
    )


class Change(Asked):
    """A change: only the fields that were sent count, and what must be there cannot be emptied."""

    never_null: ClassVar[frozenset[str]] = frozenset()

    @model_validator(mode="after")
    def _refuse_emptied(self) -> Self:
        for name in self.never_null & self.model_fields_set:
            if getattr(self, name) is None:
                raise ValueError(f"{name} cannot be emptied")
        return self

    @classmethod
    def __get_pydantic_json_schema__(
        cls, core: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Say so in the document, too."""
        schema = super().__get_pydantic_json_schema__(core, handler)
        body = handler.resolve_ref_schema(schema)
        for name in cls.never_null:
            said = cls.model_fields[name].alias or name
            body["properties"][said] = _not_null(body["properties"][said])
        body["minProperties"] = 1
        return schema


def _not_null(member: JsonSchemaValue) -> JsonSchemaValue:
    choices = [each for each in member.get("anyOf", []) if each != {"type": "null"}]
    beside = {name: said for name, said in member.items() if name not in {"anyOf", "default"}}
    return (choices[0] if len(choices) == 1 else {"anyOf": choices}) | beside


class Told(BaseModel):
    """An answer."""

    model_config = ConfigDict(
        populate_by_name=True, serialize_by_alias=True, use_attribute_docstrings=True
    )


def refuse_twins(codes: Iterable[str]) -> None:
    """Refuse codes of which one is named twice.

    Raises:
        ValueError: naming them.
    """
    twins = sorted(code for code, times in Counter(codes).items() if times > 1)
    if twins:
        raise ValueError(f"named twice: {', '.join(twins)}")


def _no_twins(codes: list[str]) -> list[str]:
    refuse_twins(codes)
    return codes


Party = Annotated[str, Field(min_length=1, max_length=200)] | StrictInt
"""A supplier or customer by name, or by the number of its card.

Whatever the name of a card was when it was entered: it is looked up and not judged.
"""

Codes = Annotated[list[Code], Field(min_length=1, max_length=1000), AfterValidator(_no_twins)]
"""Codes, each named once."""

Dependants = Annotated[list[Code], Field(max_length=10_000), AfterValidator(_no_twins)]
"""Codes of all that depends on something, each named once; none where nothing does."""

Bookable = Literal["sample", "spill", "count", "moisture", "destroyed", "other"]
"""Why somebody may say that coffee became lighter or heavier."""


class Adjusting(Asked):
    """A change of mass, whatever it is of."""

    grams: SignedKgIn = Field(alias="kg")
    said_reason: Bookable = Field(alias="reason")
    note: Note | None = None
    happened_at: MomentIn | None = None

    @property
    def reason(self) -> Reason:
        return Reason(self.said_reason)


class AdjustmentIn(Adjusting):
    unit: Code


class AdjustmentOut(Told):
    unit: str
    grams: KgOut = Field(alias="kg")
    reason: Reason
    note: str | None
    left_g: KgOut = Field(alias="left_kg")
    happened_at: MomentOut
    warnings: list[str]
    """What was pointed out; the adjustment is booked all the same."""
    entry: int


class AdjustmentLine(Told):
    id: int
    unit: str
    kind: UnitKind
    grams: KgOut = Field(alias="kg")
    reason: Reason
    note: str | None
    happened_at: MomentOut
    who: str
    voided: bool
    """Whether another one takes it back."""
    reverses: int | None
    """The adjustment that this one takes back."""


class HoldIn(Asked):
    units: Codes
    reason: Why


class ReleaseIn(Asked):
    reason: Why


class HoldOut(Told):
    id: int
    units: list[str]
    reason: str
    placed_at: MomentOut
    placed_by: str
    released_at: MomentOut | None = None
    released_by: str | None = None
    release_reason: str | None = None


class VoidIn(Asked):
    reason: Why
    dependants: Dependants | None = Field(default=None, alias="with")
    """All that was made from it, at any remove: what `GET /units/{code}/impact` lists."""


class Voided(Told):
    code: str
    kind: UnitKind
    voided: list[str]
    given_back: dict[str, KgOut] = Field(alias="given_back_kg")
    reason: str
    entry: int
    voided_at: MomentOut


class EntryLine(Told):
    id: int
    kind: str
    happened_at: MomentOut
    recorded_at: MomentOut
    who: str
    reverses: int | None
    sha256: str
