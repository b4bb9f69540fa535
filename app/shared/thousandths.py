"""Numbers with three decimals: whole thousandths inside, exact decimals outside."""

from decimal import Decimal
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, WithJsonSchema

from app.shared.flaws import Flaw
from app.shared.mass import KgOut
from app.shared.numbers import exact_number

WHOLE_PCT = 100
LARGEST = 1000
"""Beyond per cent and beyond the end of any scale of colour."""

_STEP = Decimal("0.001")


def _thousandths(value: object) -> int:
    number = exact_number(value)
    if not number.is_finite() or abs(number) > LARGEST or number != number.quantize(_STEP):
        raise Flaw("a number up to %(most)s with at most 3 decimals is wanted", most=LARGEST)
    return int(number.scaleb(3))


def _between(most: int) -> AfterValidator:
    def _check(thousandths: int) -> int:
        if not 0 <= thousandths <= most * 1000:
            raise Flaw("a number from 0 to %(most)s is wanted", most=most)
        return thousandths

    return AfterValidator(_check)


def _schema(most: int) -> dict[str, Any]:
    return {"type": "number", "minimum": 0, "maximum": most, "multipleOf": 0.001}


_EXACT = BeforeValidator(_thousandths)
PercentIn = Annotated[int, _EXACT, _between(WHOLE_PCT), WithJsonSchema(_schema(WHOLE_PCT))]
"""A field that reads per cent and holds thousandths of one."""
ShadeIn = Annotated[int, _EXACT, _between(LARGEST), WithJsonSchema(_schema(LARGEST))]
"""A field that reads a colour and holds thousandths, higher being lighter."""
MilliOut = KgOut
"""A field that holds thousandths and answers the number, as grams are answered in kilograms."""
