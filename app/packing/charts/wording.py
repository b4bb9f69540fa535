"""What a chart says to whoever cannot see it."""

from collections.abc import Sequence
from fractions import Fraction

from app.packing.charts.rules import PackChart, ProductChart
from app.packing.weighing.showing import grams

_MOST_NAMED = 20


def describe_pack(chart: PackChart) -> tuple[str, str]:
    """Give the title and the description of the weights of a pack."""
    weights, limits = chart.weights(), chart.limits
    t2 = "" if chart.one_limit else f", T2 {grams(limits.t2_mg)} g"
    below_t2 = "" if chart.one_limit else f" {_which('Below T2', chart.very_short(), 'bag')}"
    said = (
        f"{chart.sku}, {chart.name}: {_count(len(weights), 'bag')} weighed in "
        f"{_count(len(chart.checks), 'check')}. Nominal {grams(limits.nominal_mg)} g, "
        f"T1 {grams(limits.t1_mg)} g{t2}. Mean {grams(Fraction(sum(weights), len(weights)))} g, "
        f"lightest {grams(min(weights))} g, heaviest {grams(max(weights))} g. "
        f"{_which('Below T1', chart.short(), 'bag')}{below_t2}"
    )
    return f"Weights of pack {chart.pack}", said


def describe_product(chart: ProductChart) -> tuple[str, str]:
    """Give the title and the description of the checks of a product."""
    said = (
        f"{chart.sku}, {chart.name}: means and ranges of {_count(len(chart.points), 'check')} of "
        f"weight, nominal {chart.nominal_g} g."
    )
    if chart.means:
        means = _which("Means outside of their limits", chart.means_outside(), "check")
        ranges = _which("Ranges outside of theirs", chart.ranges_outside(), "check")
        said += f" Limits are three standard deviations by the mean range. {means} {ranges}"
    else:
        said += " Too few checks for limits: two at least."
    if chart.left_out:
        said += f" {_count(chart.left_out, 'check')} of a single bag left out: one has no range."
    return f"Means and ranges of {chart.sku}", said


def _which(where: str, numbers: Sequence[int], what: str) -> str:
    if not numbers:
        return f"{where}: none."
    shown = ", ".join(str(number) for number in numbers[:_MOST_NAMED])
    more = f" and {len(numbers) - _MOST_NAMED} more" if len(numbers) > _MOST_NAMED else ""
    return f"{where}: {what}{'' if len(numbers) == 1 else 's'} {shown}{more}."


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
