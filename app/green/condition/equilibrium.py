"""The equilibrium as an answer: either way round, with its limits."""

import re
from decimal import Decimal
from fractions import Fraction

from app.green.condition.schemas import EquilibriumOut
from app.shared.problems import Refused
from app.shared.shares import plain
from app.standards import equilibrium
from app.standards.equilibrium import OutOfModelError, humidity_at, moisture_at
from app.standards.moisture import half_up

LIMITS = (
    f"{equilibrium.COOLEST_C} to {equilibrium.WARMEST_C} °C; {equilibrium.DRIEST_PCT} to "
    f"{equilibrium.DAMPEST_PCT} % relative humidity; parchment coffee that dries: hulled coffee "
    "stands in somewhat drier air at the same moisture"
)


def answer(
    temperature_c: str, relative_humidity_pct: str | None, moisture_pct: str | None
) -> EquilibriumOut:
    """Work out the equilibrium from two of the three.

    Raises:
        Refused: naming the parameter that is none, one too many, or outside the model.
    """
    if (relative_humidity_pct is None) is (moisture_pct is None):
        raise _refused(
            "relative_humidity_pct",
            "give either relative_humidity_pct or moisture_pct beside temperature_c",
        )
    warmth = _number("temperature_c", temperature_c)
    try:
        if relative_humidity_pct is not None:
            humidity = _number("relative_humidity_pct", relative_humidity_pct)
        else:
            wet = _number("moisture_pct", str(moisture_pct))
            humidity = half_up(Fraction(humidity_at(wet, warmth)), 1)
        moist = moisture_at(humidity, warmth)
    except OutOfModelError as outside:
        raise _refused(outside.field, str(outside)) from outside
    given = None if moisture_pct is None else Decimal(moisture_pct)
    return EquilibriumOut(
        temperature_c=warmth,
        relative_humidity_pct=humidity,
        moisture_pct=_rounded(moist.wet_basis_pct) if given is None else given,
        dry_basis_pct=_rounded(moist.dry_basis_pct),
        standard_error_points=equilibrium.STANDARD_ERROR_POINTS,
        model=equilibrium.SOURCE,
        limits=LIMITS,
    )


def _rounded(moisture_pct: Decimal) -> Decimal:
    return plain(half_up(Fraction(moisture_pct), 2))


def _number(name: str, text: str) -> Decimal:
    """Read a number of an address exactly; FastAPI would make a binary float of it."""
    if not re.fullmatch(r"-?[0-9]{1,6}(\.[0-9]{1,6})?", text):
        raise _refused(name, f"{text} is no plain number")
    return Decimal(text)


def _refused(parameter: str, detail: str) -> Refused:
    return Refused(
        "invalid", f"{parameter}: {detail}", errors=[{"parameter": parameter, "detail": detail}]
    )
