"""Drawing charts of weights as SVG that can be read aloud: see `shared/charts.py`."""

from collections.abc import Sequence
from functools import partial
from typing import Final, NamedTuple

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from app.packing.charts.rules import PackChart, ProductChart, running_means
from app.packing.charts.wording import describe_pack, describe_product, weights_of
from app.shared.charts import (
    BLUE,
    INK,
    ORANGE,
    RED,
    bare,
    draw_svg,
    explain,
    level,
    write_figures,
)
from app.shared.speech import N_, PLAIN, Speech
from app.standards.average_quantity import MG
from app.standards.control_limits import Around

_MOST_DATES: Final = 10


class Style(NamedTuple):
    """How bags or checks of one sort are marked."""

    shape: str
    colour: str
    label: str


_SOUND = Style("o", BLUE, N_("bag"))
_SHORT = Style("v", ORANGE, N_("bag below T1"))
_VERY_SHORT = Style("X", RED, N_("bag below T2"))
_INSIDE = Style("o", BLUE, "check")
_OUTSIDE = Style("D", RED, "check outside of its limits")


def draw_pack(chart: PackChart, speech: Speech = PLAIN) -> str:
    """Draw every weight of a pack with nominal, T1, T2 and the running mean."""
    return draw_svg(
        partial(_pack, chart, speech), (9, 4.5), *describe_pack(chart, speech),
        language=speech.language,
    )  # fmt: skip


def _pack(chart: PackChart, speech: Speech, figure: Figure) -> None:
    say = speech.gettext
    axes = figure.add_subplot()
    weights = [weight / MG for weight in chart.weights()]
    _level(
        axes,
        chart.limits.nominal_mg / MG,
        speech.gettext("nominal"),
        "-",
        INK,
        decimal=speech.decimal,
    )
    _level(axes, chart.limits.t1_mg / MG, "T1", "--", ORANGE, decimal=speech.decimal)
    if not chart.one_limit:
        _level(axes, chart.limits.t2_mg / MG, "T2", ":", RED, decimal=speech.decimal)
    means = [mean.numerator / mean.denominator / MG for mean in running_means(chart.weights())]
    numbers = range(1, len(weights) + 1)
    axes.plot(numbers, means, color=INK, linewidth=1.2, dashes=(6, 1),
              label=speech.gettext("running mean"))  # fmt: skip
    short, very_short = set(chart.short()), set(chart.very_short())
    sound = [number for number in numbers if number not in short | very_short]
    for style, marked in ((_SOUND, sound), (_SHORT, short), (_VERY_SHORT, very_short)):
        _mark(axes, style._replace(label=say(style.label)), sorted(marked), weights)
    _between_checks(axes, [len(check) for check in chart.checks])
    along = speech.gettext("bag, in the order of weighing")
    _settle(axes, len(weights), along, speech.gettext("net weight in g"))
    write_figures(axes, speech.decimal)
    explain(figure, axes)
    axes.set_title(weights_of(chart, speech))


def draw_product(chart: ProductChart) -> str:
    """Draw means above and ranges below, each with its limits."""
    return draw_svg(partial(_product, chart), (9, 6.5), *describe_product(chart))


def _product(chart: ProductChart, figure: Figure) -> None:
    means, ranges = figure.subplots(2, 1, sharex=True)
    _level(means, chart.nominal_g, "nominal", "-", INK)
    for axes, around, values, outside in (
        (means, chart.means, [point.mean for point in chart.points], chart.means_outside()),
        (ranges, chart.ranges, [point.spread for point in chart.points], chart.ranges_outside()),
    ):
        numbers = range(1, len(values) + 1)
        _limits(axes, around)
        axes.plot(numbers, values, color=BLUE, linewidth=0.6, alpha=0.6)
        _mark(axes, _INSIDE, [number for number in numbers if number not in outside], values)
        _mark(axes, _OUTSIDE, outside, values)
    _settle(means, len(chart.points), "", "mean in g")
    _settle(ranges, len(chart.points), "check, in the order of booking", "range in g")
    _dates(ranges, [f"{point.at:%Y-%m-%d}" for point in chart.points])
    explain(figure, means, ranges)
    means.set_title(f"Means and ranges of {chart.sku}")


def _level(
    axes: Axes, grams: float, name: str, dashes: str, colour: str, *, decimal: str = "."
) -> None:  # fmt: skip
    figure = f"{grams:.10g}".replace(".", decimal)
    level(axes, grams, f"{name} {figure} g", dashes, colour)


def _mark(axes: Axes, style: Style, numbers: Sequence[int], values: Sequence[float]) -> None:
    if numbers:
        axes.plot(
            numbers, [values[number - 1] for number in numbers], linestyle="none",
            marker=style.shape, color=style.colour, label=style.label,
            markersize=5 if style.shape == "o" else 8,
        )  # fmt: skip


def _between_checks(axes: Axes, lengths: Sequence[int]) -> None:
    end = 0
    for length in lengths[:-1]:
        end += length
        axes.axvline(end + 0.5, color=INK, linewidth=0.5, alpha=0.4)


def _limits(axes: Axes, around: Sequence[Around]) -> None:
    numbers = range(1, len(around) + 1)
    for values, dashes, label in (
        ([each.centre for each in around], "-.", "centre"),
        ([each.low for each in around], "--", "limits"),
        ([each.high for each in around], "--", None),
    ):
        if around:
            axes.step(
                numbers, values, where="mid", color=ORANGE, linestyle=dashes, linewidth=1,
                label=label,
            )  # fmt: skip


def _dates(axes: Axes, dates: Sequence[str]) -> None:
    every = -(-len(dates) // _MOST_DATES)
    shown = range(1, len(dates) + 1, every)
    axes.set_xticks(list(shown), [f"{n}\n{dates[n - 1]}" for n in shown])


def _settle(axes: Axes, count: int, below: str, beside: str) -> None:
    axes.set_xlabel(below)
    axes.set_ylabel(beside)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True, min_n_ticks=1))
    axes.set_xlim(0.5, count + 0.5)
    axes.margins(y=0.12)
    bare(axes)
