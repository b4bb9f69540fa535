"""What the API reads and answers about recipes."""

from typing import Annotated, ClassVar, Self

from pydantic import Field, field_validator, model_validator

from app.ledger.cards import CardOut
from app.ledger.schemas import Asked, Change, Name, Note, Told, refuse_twins
from app.packing.recipes.rules import REWORK, WHOLE_MILLI, per_cent
from app.shared.names import fold_name
from app.shared.thousandths import MilliOut, PercentIn


class ComponentIn(Asked):
    name: Name
    """What the coffee is called: a style, a recipe, or a word for it."""
    share_milli: PercentIn = Field(alias="share_pct", json_schema_extra={"minimum": 0.001})
    """Of the roasted mass without rework."""


def _whole(components: list[ComponentIn]) -> list[ComponentIn]:
    names = [fold_name(each.name) for each in components]
    refuse_twins(names)
    if REWORK in names:
        raise ValueError(f"{REWORK} is no component: how much may be is said beside them")
    if not all(each.share_milli for each in components):
        raise ValueError("a component of 0 % is none")
    whole = sum(each.share_milli for each in components)
    if whole != WHOLE_MILLI:
        raise ValueError(f"the shares add up to {per_cent(whole)} %, not 100 %")
    return components


Components = Annotated[list[ComponentIn], Field(min_length=1, max_length=50)]


class RecipeIn(Asked):
    name: Name
    components: Components
    tolerance_milli: PercentIn | None = Field(default=None, alias="tolerance")
    """How many points a share may be off, ends included; the roastery's own when left out."""
    rework_milli: PercentIn = Field(default=0, alias="rework_at_most_pct")
    """How much of the whole may be rework."""
    note: Note | None = None

    _adds_up = field_validator("components")(_whole)


class RecipeChange(Change):
    never_null: ClassVar[frozenset[str]] = frozenset({"name", "components", "rework_milli"})

    name: Name | None = None
    components: Components | None = None
    tolerance_milli: PercentIn | None = Field(default=None, alias="tolerance")
    rework_milli: PercentIn | None = Field(default=None, alias="rework_at_most_pct")
    note: Note | None = None

    @model_validator(mode="after")
    def _adds_up(self) -> Self:
        if self.components is not None:
            _whole(self.components)
        return self


class ComponentOut(Told):
    name: str
    share_milli: MilliOut = Field(alias="share_pct")


class RecipeOut(CardOut):
    name: str
    components: list[ComponentOut]
    tolerance_milli: MilliOut | None = Field(alias="tolerance")
    rework_milli: MilliOut = Field(alias="rework_at_most_pct")
    note: str | None
