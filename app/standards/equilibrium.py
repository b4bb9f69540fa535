"""Equilibrium moisture: what moisture coffee drifts towards in air of some humidity and warmth.

The equation of Roa for parchment coffee losing moisture, with the coefficients of Trejos, Roa and
Oliveros (Cenicafé 40(1), 1989): moisture on dry basis from relative humidity and temperature. A
later paper prints one coefficient as -0.03049; with it the equation misses its own data by 3.26
points instead of 0.53.

It is for parchment, not for the hulled bean, and for coffee that dries, not for coffee that takes
up moisture: it tells a direction, and is neither a measurement nor a reason to let coffee go.
"""

from decimal import Decimal, localcontext
from typing import Final, NamedTuple

from app.standards.moisture import dry_basis, half_up, wet_basis

SOURCE: Final = "Roa equation, parchment coffee, desorption (Trejos, Roa, Oliveros 1989)"
STANDARD_ERROR_POINTS: Final = Decimal("0.54")
"""Of the equation on its own data, points of moisture on dry basis."""

COOLEST_C: Final = Decimal(5)
WARMEST_C: Final = Decimal(55)
"""The temperatures of the data behind the equation."""
DRIEST_PCT: Final = Decimal(10)
DAMPEST_PCT: Final = Decimal(90)
"""Relative humidities at which we use it: our rule, the source states none."""

_A: Final = (Decimal("61.030848"), Decimal("-108.37141"), Decimal("74.46105"))
_B: Final = (Decimal("-0.037049"), Decimal("0.070114"), Decimal("-0.035177"))

_DIGITS: Final = 40
_HALVINGS: Final = 60


class OutOfModelError(ValueError):
    """The equation was asked for something that its data do not cover."""

    def __init__(self, field: str, said: str) -> None:
        super().__init__(said)
        self.field = field
        """Which of the arguments is outside."""


class Moist(NamedTuple):
    """A moisture on either basis, unrounded."""

    dry_basis_pct: Decimal
    wet_basis_pct: Decimal


def roa(humidity: Decimal, temperature_c: Decimal) -> Decimal:
    """Work out the equation as printed: per cent on dry basis, humidity as a part of 1."""
    with localcontext(prec=_DIGITS):
        powers = (humidity, humidity**2, humidity**3)
        base = sum((a * power for a, power in zip(_A, powers, strict=True)), Decimal())
        slope = sum((b * power for b, power in zip(_B, powers, strict=True)), Decimal())
        return base * (slope * temperature_c).exp()


def moisture_at(relative_humidity_pct: Decimal, temperature_c: Decimal) -> Moist:
    """Tell what moisture parchment coffee drifts towards in such air.

    Raises:
        OutOfModelError: naming the limits.
    """
    _refuse_temperature(temperature_c)
    if not DRIEST_PCT <= relative_humidity_pct <= DAMPEST_PCT:
        raise OutOfModelError(
            "relative_humidity_pct",
            f"{relative_humidity_pct} % relative humidity is outside {DRIEST_PCT} to "
            f"{DAMPEST_PCT} %, where this model is used",
        )
    dry = roa(relative_humidity_pct / 100, temperature_c)
    with localcontext(prec=_DIGITS):
        return Moist(dry, 100 * dry / (100 + dry))


def humidity_at(moisture_pct: Decimal, temperature_c: Decimal) -> Decimal:
    """Tell in which relative humidity, in per cent, coffee of a moisture stays as it is.

    The moisture is on wet basis. It rises with humidity all the way, so halving the interval
    finds the one humidity.

    Raises:
        OutOfModelError: naming the limits.
    """
    _refuse_temperature(temperature_c)
    low, high = DRIEST_PCT / 100, DAMPEST_PCT / 100
    ends = [half_up(wet_basis(roa(end, temperature_c)), 2) for end in (low, high)]
    if not ends[0] <= moisture_pct <= ends[1]:
        raise OutOfModelError(
            "moisture_pct",
            f"{moisture_pct} % is outside {ends[0]} to {ends[1]} %, which this model covers at "
            f"{temperature_c} °C ({DRIEST_PCT} to {DAMPEST_PCT} % relative humidity)",
        )
    wanted = half_up(dry_basis(moisture_pct), 30)
    with localcontext(prec=_DIGITS):
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            if roa(middle, temperature_c) < wanted:
                low = middle
            else:
                high = middle
        return 100 * (low + high) / 2


def _refuse_temperature(temperature_c: Decimal) -> None:
    if not COOLEST_C <= temperature_c <= WARMEST_C:
        raise OutOfModelError(
            "temperature_c",
            f"{temperature_c} °C is outside {COOLEST_C} to {WARMEST_C} °C, the data behind this "
            "model",
        )
