"""Arithmetic of buying green coffee: weights and claims, clocks, quantities, counts, prices.

Everything is exact: whole grams, and percentages as fractions. What a contract leaves open is
filled from `Customs`, which the roastery sets.
"""

from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from math import ceil, floor
from typing import Final, NamedTuple, TypeVar

Value = TypeVar("Value")

POUND_KG: Final = Fraction(45359237, 100_000_000)
"""A pound in kilograms, exactly."""


class WeightBasis(StrEnum):
    """On which weight a contract is paid."""

    SHIPPED = "shipped"
    """On the weight at shipment: a loss beyond the franchise is claimed."""
    LANDED = "landed"
    """On the weight on arrival: a loss is not paid for in the first place."""


class Form(StrEnum):
    """Whose standard form a contract follows."""

    EUROPEAN = "european"
    US = "us"
    OTHER = "other"
    """Where it says nothing itself, the customs of the European form are taken."""


class PriceUnit(StrEnum):
    """What a price is for one of."""

    KG = "kg"
    LB = "lb"


class Customs(NamedTuple):
    """What holds where a contract is silent."""

    franchise_pct: Decimal
    tolerance_pct: Decimal
    weigh_days: int
    weigh_days_us: int
    quality_days: int
    quality_days_us: int
    technical_days: int


class Agreed(NamedTuple):
    """What a contract itself says of weights and clocks."""

    basis: WeightBasis
    form: Form
    franchise_pct: Decimal | None = None
    tolerance_pct: Decimal | None = None
    weigh_days: int | None = None
    quality_days: int | None = None
    technical_days: int | None = None


class Terms(NamedTuple):
    """What holds for a contract: agreed, or else by custom."""

    basis: WeightBasis
    franchise_pct: Decimal
    tolerance_pct: Decimal
    weigh_days: int
    quality_days: int
    technical_days: int | None
    """The US form names none."""


def settle(agreed: Agreed, customs: Customs) -> Terms:
    """Fill in by custom what a contract leaves open."""
    us = agreed.form is Form.US
    return Terms(
        agreed.basis,
        # The US form has no franchise unless the parties agree on one.
        _first(agreed.franchise_pct, Decimal(0) if us else customs.franchise_pct),
        _first(agreed.tolerance_pct, customs.tolerance_pct),
        _first(agreed.weigh_days, customs.weigh_days_us if us else customs.weigh_days),
        _first(agreed.quality_days, customs.quality_days_us if us else customs.quality_days),
        agreed.technical_days if us else _first(agreed.technical_days, customs.technical_days),
    )


def _first(agreed: Value | None, custom: Value) -> Value:
    return custom if agreed is None else agreed


class Claim(NamedTuple):
    """A landed weight held against the shipped one."""

    loss_g: int
    """Negative where more landed than was shipped."""
    loss_pct: Decimal
    """Of the shipped weight, to five decimals."""
    franchise_g: int
    """What the buyer bears, rounded up to the gram."""
    claimable_g: int


def weigh_up(shipped_g: int, landed_g: int, franchise_pct: Decimal) -> Claim:
    """Find what can be claimed: the loss beyond the franchise, and nothing at the very franchise.

    Rounding the franchise up and the claim down to the gram loses nothing against comparing exact
    fractions: both weights are whole grams.
    """
    loss_g = shipped_g - landed_g
    franchise_g = ceil(_share(shipped_g, franchise_pct))
    loss_pct = _rounded(Fraction(100 * loss_g, shipped_g), 5)
    return Claim(loss_g, loss_pct, franchise_g, max(0, loss_g - franchise_g))


def is_over(loss_g: int, shipped_g: int, usual_pct: Decimal) -> bool:
    """Tell whether a loss is above a share of the shipped weight, compared exactly."""
    return loss_g > _share(shipped_g, usual_pct)


class Standing(StrEnum):
    """What was received of a contract against the quantity it accepts."""

    UNDER = "under"
    WITHIN = "within"
    OVER = "over"


class Accepted(NamedTuple):
    """The quantities a contract accepts, both ends included."""

    least_g: int
    most_g: int

    def standing(self, received_g: int) -> Standing:
        """Place what was received."""
        if received_g < self.least_g:
            return Standing.UNDER
        return Standing.OVER if received_g > self.most_g else Standing.WITHIN


def accepted(quantity_g: int, tolerance_pct: Decimal) -> Accepted:
    """Widen a quantity by its tolerance both ways, to the whole grams within."""
    allowance = _share(quantity_g, tolerance_pct)
    return Accepted(ceil(quantity_g - allowance), floor(quantity_g + allowance))


class Clock(NamedTuple):
    """A time within which something has to be done."""

    what: str
    days: int
    by: date
    """The last day, included."""


def clocks(discharged_on: date, terms: Terms) -> Iterator[Clock]:
    """Start the clocks on the day of final discharge."""
    running = {
        "weigh": terms.weigh_days,
        "quality_claim": terms.quality_days,
        "technical_claim": terms.technical_days,
    }
    for what, days in running.items():
        if days is not None:
            yield Clock(what, days, discharged_on + timedelta(days=days))


class Count(NamedTuple):
    """Sacks as they were found, against those that were invoiced."""

    invoiced: int
    sound: int
    slack: int
    torn: int
    wet: int
    mouldy: int
    missing: int
    over: int

    @property
    def found(self) -> int:
        """How many sacks are there."""
        return self.sound + self.slack + self.torn + self.wet + self.mouldy


class Reconciled(NamedTuple):
    """By how many sacks a count is off: zero and zero where it reconciles."""

    against_invoice: int
    """Sacks found and missing less those over, less the invoiced."""
    against_book: int
    """Sacks found less those that were booked."""

    @property
    def reconciles(self) -> bool:
        """Whether every sack is accounted for."""
        return self == (0, 0)


def reconcile(count: Count, booked: int) -> Reconciled:
    """Hold a count against the invoice and against the sacks of the book, without sweepings."""
    accounted = count.found + count.missing - count.over
    return Reconciled(accounted - count.invoiced, count.found - booked)


def tare_g(sample_g: int, empties: int, sacks: int = 1) -> int:
    """Reckon the tare of sacks from weighed empties, rounded half up to the gram once."""
    return (2 * sample_g * sacks + empties) // (2 * empties)


def price_per_kg(price: Decimal, unit: PriceUnit) -> Decimal:
    """Convert a price to kilograms: as it stands, or from pounds to four decimals."""
    return price if unit is PriceUnit.KG else _rounded(Fraction(price) / POUND_KG, 4)


def _share(grams: int, percent: Decimal) -> Fraction:
    return grams * Fraction(percent) / 100


def _rounded(exact: Fraction, decimals: int) -> Decimal:
    return Decimal(round(exact * 10**decimals)).scaleb(-decimals)
