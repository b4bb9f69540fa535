"""What a chart of weights shows: pure of any drawing."""

from collections.abc import Sequence
from datetime import datetime
from fractions import Fraction
from typing import NamedTuple

from app.standards.average_quantity import MG, Check, Limits
from app.standards.control_limits import (
    Around,
    deviation_by_ranges,
    means_around,
    ranges_around,
)


class Checked(NamedTuple):
    """A check of weight, as it was booked."""

    pack: str
    at: datetime
    plan: Check
    net_mg: Sequence[int]


class PackChart(NamedTuple):
    """Every weight of a pack."""

    pack: str
    sku: str
    name: str
    limits: Limits
    one_limit: bool
    """By the American rules alone, which know no T2."""
    checks: Sequence[Sequence[int]]

    def weights(self) -> list[int]:
        """Give all weights in the order of weighing, in milligrams."""
        return [weight for check in self.checks for weight in check]

    def short(self) -> list[int]:
        """Number the bags below T1 but not below T2, from 1."""
        t1, very = self.limits.t1_mg, set(self.very_short())
        return [i for i, w in enumerate(self.weights(), 1) if w < t1 and i not in very]

    def very_short(self) -> list[int]:
        """Number the bags below T2, from 1."""
        if self.one_limit:
            return []
        return [i for i, w in enumerate(self.weights(), 1) if w < self.limits.t2_mg]


class Point(NamedTuple):
    """A check on the chart of its product, in grams."""

    pack: str
    at: datetime
    weighed: int
    mean: float
    spread: float
    """Its range: the heaviest less the lightest."""


class ProductChart(NamedTuple):
    """Means and ranges of the checks of a product."""

    sku: str
    name: str
    nominal_g: int
    points: Sequence[Point]
    means: Sequence[Around]
    """Where each mean belongs; empty where there are too few checks to tell."""
    ranges: Sequence[Around]
    left_out: int
    """Checks of a single bag, which has no range."""

    def means_outside(self) -> list[int]:
        """Number the checks whose mean is outside of its limits, from 1."""
        return _outside(self.means, [point.mean for point in self.points])

    def ranges_outside(self) -> list[int]:
        """Number the checks whose range is outside of its limits, from 1."""
        return _outside(self.ranges, [point.spread for point in self.points])


def _outside(around: Sequence[Around], values: Sequence[float]) -> list[int]:
    """Compare what is there: without limits nothing is outside."""
    both = zip(around, values, strict=False)
    return [n for n, (limits, value) in enumerate(both, 1) if not limits.holds(value)]


def counted_once(checks: Sequence[Checked]) -> list[Checked]:
    """Leave out a first sample that was entered again together with the second one."""
    kept: list[Checked] = []
    next_of: dict[str, Checked] = {}
    for check in reversed(checks):
        later = next_of.get(check.pack)
        again = later is not None and len(later.net_mg) > len(check.net_mg)
        if not (again and later and list(later.net_mg[: len(check.net_mg)]) == list(check.net_mg)):
            kept.append(check)
        next_of[check.pack] = check
    return kept[::-1]


def running_means(weights_mg: Sequence[int]) -> list[Fraction]:
    """Give the mean of all bags up to each, in milligrams."""
    means, total = [], 0
    for count, weight in enumerate(weights_mg, 1):
        total += weight
        means.append(Fraction(total, count))
    return means


def product_chart(sku: str, name: str, nominal_g: int, checks: Sequence[Checked]) -> ProductChart:
    """Work out the points and their limits: from two checks on."""
    with_range = [check for check in checks if len(check.net_mg) > 1]
    points = [_point(check) for check in with_range]
    means: list[Around] = []
    ranges: list[Around] = []
    if len(points) > 1:
        counts = [point.weighed for point in points]
        deviation = deviation_by_ranges(counts, [point.spread for point in points])
        centre = sum(point.mean * point.weighed for point in points) / sum(counts)
        means = [means_around(centre, deviation, count) for count in counts]
        ranges = [ranges_around(deviation, count) for count in counts]
    left_out = len(checks) - len(with_range)
    return ProductChart(sku, name, nominal_g, points, means, ranges, left_out)


def _point(check: Checked) -> Point:
    weights = check.net_mg
    return Point(
        check.pack,
        check.at,
        len(weights),
        sum(weights) / len(weights) / MG,
        (max(weights) - min(weights)) / MG,
    )
