"""Parts of a whole as per cent, exact to the digit shown."""

from decimal import ROUND_HALF_EVEN, Context, Decimal

PLACES = 6
"""Decimals of a share in per cent: one part in a hundred million."""

_WIDE = Context(prec=60, rounding=ROUND_HALF_EVEN)


def percent(part: int, whole: int, places: int = PLACES) -> Decimal:
    """Express `part` of `whole` in per cent, rounded half to even: `percent(15, 25)` is 60.0.

    Both are integers, so the one rounding is the last step.
    """
    scaled, rest = divmod(part * 100 * 10**places, whole)
    if rest * 2 > whole or (rest * 2 == whole and scaled % 2):
        scaled += 1
    return plain(Decimal(scaled).scaleb(-places, _WIDE))


def plain(number: Decimal) -> Decimal:
    """Drop zeros at the end, keeping one decimal: `12.500000` is 12.5, `60.000000` is 60.0."""
    short = number.normalize(_WIDE)
    exponent = short.as_tuple().exponent
    if isinstance(exponent, int) and exponent >= 0:
        return short.quantize(Decimal("0.1"), context=_WIDE)
    return short
