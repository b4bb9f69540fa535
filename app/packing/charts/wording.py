"""What a chart says to whoever cannot see it."""

from collections.abc import Sequence
from fractions import Fraction

from app.packing.charts.rules import PackChart, ProductChart
from app.packing.weighing.figures import grams
from app.shared.speech import PLAIN, Speech

_MOST_NAMED = 20


def describe_pack(chart: PackChart, speech: Speech = PLAIN) -> tuple[str, str]:
    """Give the title and the description of the weights of a pack."""
    weights, limits = chart.weights(), chart.limits

    def mass(milligrams: int | Fraction) -> str:
        return f"{speech.number(grams(milligrams))} g"

    t2 = "" if chart.one_limit else f", T2 {mass(limits.t2_mg)}"
    weighed = speech.ngettext(
        "%(number)s bag weighed", "%(number)s bags weighed", len(weights)
    ) % {"number": len(weights)}  # fmt: skip
    checks = speech.ngettext(
        "in %(number)s check", "in %(number)s checks", len(chart.checks)
    ) % {"number": len(chart.checks)}  # fmt: skip
    said = [
        f"{chart.sku}, {chart.name}: {weighed} {checks}.",
        speech.gettext("Nominal %(nominal)s, %(limits)s.") % {
            "nominal": mass(limits.nominal_mg), "limits": f"T1 {mass(limits.t1_mg)}{t2}",
        },
        speech.gettext("Mean %(mean)s, lightest %(least)s, heaviest %(most)s.") % {
            "mean": mass(Fraction(sum(weights), len(weights))),
            "least": mass(min(weights)), "most": mass(max(weights)),
        },
        _bags(speech, speech.gettext("Below T1"), chart.short()),
    ]  # fmt: skip
    if not chart.one_limit:
        said.append(_bags(speech, speech.gettext("Below T2"), chart.very_short()))
    return weights_of(chart, speech), " ".join(said)


def weights_of(chart: PackChart, speech: Speech) -> str:
    """Name the chart of a pack."""
    return speech.gettext("Weights of pack %(pack)s") % {"pack": chart.pack}


def _bags(speech: Speech, where: str, numbers: Sequence[int]) -> str:
    named = speech.ngettext("bag %(numbers)s", "bags %(numbers)s", len(numbers))
    return _which(speech, where, numbers, named)


def describe_product(chart: ProductChart) -> tuple[str, str]:
    """Give the title and the description of the checks of a product."""
    said = (
        f"{chart.sku}, {chart.name}: means and ranges of {_count(len(chart.points), 'check')} of "
        f"weight, nominal {chart.nominal_g} g."
    )
    if chart.means:
        means = _checks("Means outside of their limits", chart.means_outside())
        ranges = _checks("Ranges outside of theirs", chart.ranges_outside())
        said += f" Limits are three standard deviations by the mean range. {means} {ranges}"
    else:
        said += " Too few checks for limits: two at least."
    if chart.left_out:
        said += f" {_count(chart.left_out, 'check')} of a single bag left out: one has no range."
    return f"Means and ranges of {chart.sku}", said


def _checks(where: str, numbers: Sequence[int]) -> str:
    named = "check %(numbers)s" if len(numbers) == 1 else "checks %(numbers)s"
    return _which(PLAIN, where, numbers, named)


def _which(speech: Speech, where: str, numbers: Sequence[int], named: str) -> str:
    if not numbers:
        return f"{where}: {speech.gettext('none')}."
    shown = ", ".join(str(number) for number in numbers[:_MOST_NAMED])
    if more := len(numbers[_MOST_NAMED:]):
        both = {"shown": shown, "more": more}
        shown = speech.gettext("%(shown)s and %(more)s more") % both
    return f"{where}: {named % {'numbers': shown}}."


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
