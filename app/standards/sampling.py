"""How many sacks of a lot a sample is drawn from, and how much of each."""

import math
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

ISO_4072_FROM_SACKS = 10
"""ISO 4072, Green coffee in bags, Sampling: scope, consignments of 10 bags or more."""


@dataclass(frozen=True)
class SamplingRule:
    """What the roastery asks of a sample; the defaults in the settings follow ISO 4072."""

    share_pct: Decimal
    """Of the sacks, at least this many per cent are drawn from."""
    fewest_sacks: int
    """And never fewer than this."""
    increment_g: int
    """About so much is drawn from each."""
    bulk_g: int
    """The increments together weigh at least this much."""


@dataclass(frozen=True)
class SamplePlan:
    """What a rule asks for one lot."""

    sacks: int
    """Sacks with coffee in them."""
    to_sample: int
    each_g: int
    """How much to draw from each, so that the bulk sample is large enough."""
    why: str

    def is_met_by(self, sampled: int) -> bool:
        """Tell whether so many sacks are enough."""
        return self.sacks > 0 and sampled >= self.to_sample


def sacks_to_sample(sacks: int, share_pct: Decimal, fewest: int) -> int:
    """Count the sacks to draw from: a share of them rounded up, and never fewer than the floor.

    Below the scope of the standard every sack is sampled, which is our own rule.
    """
    if sacks < ISO_4072_FROM_SACKS:
        return sacks
    share = math.ceil(Fraction(sacks) * Fraction(share_pct) / 100)
    return min(sacks, max(fewest, share))


def plan(sacks: int, rule: SamplingRule) -> SamplePlan:
    """Plan the sample of a lot by the count of its sacks."""
    count = sacks_to_sample(sacks, rule.share_pct, rule.fewest_sacks)
    each_g = max(rule.increment_g, -(-rule.bulk_g // count)) if count else 0
    if sacks < ISO_4072_FROM_SACKS:
        why = f"fewer than {ISO_4072_FROM_SACKS} sacks: every one (ISO 4072 begins at 10)"
    else:
        why = f"{rule.share_pct} % of {sacks} sacks, never fewer than {rule.fewest_sacks}"
    return SamplePlan(sacks, count, each_g, why)
