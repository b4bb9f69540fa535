"""What the API reads and answers about styles."""

from decimal import Decimal
from typing import Annotated, Any, ClassVar

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema

from app.green.readings.values import MILLI
from app.ledger.cards import CardOut
from app.ledger.schemas import Asked, Change, Name, Note
from app.shared.codes import PlaceCode
from app.shared.mass import KgIn, KgOut
from app.shared.numbers import exact_number

WHOLE_PCT = 100
LIGHTEST = 1000
"""Beyond the end of any scale of colour."""


def _thousandths(number: Decimal) -> int:
    if not number.is_finite() or abs(number) > LIGHTEST or number != number.quantize(MILLI):
        raise ValueError(f"a number up to {LIGHTEST} with at most 3 decimals is wanted")
    return int(number.scaleb(3))


def _between(most: int) -> AfterValidator:
    def _check(thousandths: int) -> int:
        if not 0 <= thousandths <= most * 1000:
            raise ValueError(f"a number from 0 to {most} is wanted")
        return thousandths

    return AfterValidator(_check)


def _schema(most: int) -> dict[str, Any]:
    return {"type": "number", "minimum": 0, "maximum": most, "multipleOf": 0.001}


_EXACT = BeforeValidator(lambda value: _thousandths(exact_number(value)))
Percent = Annotated[int, _EXACT, _between(WHOLE_PCT), WithJsonSchema(_schema(WHOLE_PCT))]
"""A field that reads per cent and holds thousandths of one."""
Shade = Annotated[int, _EXACT, _between(LIGHTEST), WithJsonSchema(_schema(LIGHTEST))]
"""A field that reads a colour and holds thousandths, higher being lighter."""


class StyleIn(Asked):
    name: Name
    loss_milli: Percent | None = Field(default=None, alias="loss_pct")
    """The weight loss that is aimed at, of the charge."""
    loss_tolerance_milli: Percent | None = Field(default=None, alias="loss_tolerance")
    """How many points the loss may be off, ends included."""
    colour_milli: Shade | None = Field(default=None, alias="colour_target")
    colour_tolerance_milli: Shade | None = Field(default=None, alias="colour_tolerance")
    """Ends included; the roastery's own where it is left out."""
    machine: PlaceCode | None = None
    """The drum it is made for."""
    batch_g: KgIn | None = Field(default=None, alias="batch_kg")
    """The usual charge."""
    note: Note | None = None


class StyleChange(Change):
    never_null: ClassVar[frozenset[str]] = frozenset({"name"})

    name: Name | None = None
    loss_milli: Percent | None = Field(default=None, alias="loss_pct")
    loss_tolerance_milli: Percent | None = Field(default=None, alias="loss_tolerance")
    colour_milli: Shade | None = Field(default=None, alias="colour_target")
    colour_tolerance_milli: Shade | None = Field(default=None, alias="colour_tolerance")
    machine: PlaceCode | None = None
    batch_g: KgIn | None = Field(default=None, alias="batch_kg")
    note: Note | None = None


class StyleOut(CardOut):
    name: str
    loss_milli: KgOut | None = Field(alias="loss_pct")
    loss_tolerance_milli: KgOut | None = Field(alias="loss_tolerance")
    colour_milli: KgOut | None = Field(alias="colour_target")
    colour_tolerance_milli: KgOut | None = Field(alias="colour_tolerance")
    machine: str | None
    batch_g: KgOut | None = Field(alias="batch_kg")
    note: str | None
