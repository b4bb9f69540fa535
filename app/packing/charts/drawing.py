"""Drawing charts of weights as SVG that can be read aloud.

Imported by the first chart that is asked for, not at the start: the plotting library takes seconds
to load. It is not made for several threads at once, so one chart is drawn at a time.
"""

import threading
from collections.abc import Sequence
from html import escape
from io import StringIO
from typing import Final, NamedTuple

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from app.packing.charts.rules import PackChart, ProductChart, running_means
from app.packing.charts.wording import describe_pack, describe_product
from app.standards.average_quantity import MG
from app.standards.control_limits import Around

# Text stays text, and the names inside the picture are the same every time it is drawn.
mpl.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": "weights", "font.size": 9})

_ONE_AT_A_TIME: Final = threading.Lock()
_UNDATED: Final = dict.fromkeys(("Date", "Creator", "Format", "Type"))
_MOST_DATES: Final = 10

# Dark enough on white for text. Shapes and dashes say the same, for whoever sees no colours.
_INK, _BLUE, _ORANGE, _RED = "#222222", "#0b5cad", "#a34f00", "#b00020"


class Style(NamedTuple):
    """How bags or checks of one sort are marked."""

    shape: str
    colour: str
    label: str


_SOUND = Style("o", _BLUE, "bag")
_SHORT = Style("v", _ORANGE, "bag below T1")
_VERY_SHORT = Style("X", _RED, "bag below T2")
_INSIDE = Style("o", _BLUE, "check")
_OUTSIDE = Style("D", _RED, "check outside of its limits")


def draw_pack(chart: PackChart) -> str:
    """Draw every weight of a pack with nominal, T1, T2 and the running mean."""
    with _ONE_AT_A_TIME:
        figure = Figure(figsize=(9, 4.5), layout="constrained")
        axes = figure.add_subplot()
        weights = [weight / MG for weight in chart.weights()]
        _level(axes, chart.limits.nominal_mg / MG, "nominal", "-", _INK)
        _level(axes, chart.limits.t1_mg / MG, "T1", "--", _ORANGE)
        if not chart.one_limit:
            _level(axes, chart.limits.t2_mg / MG, "T2", ":", _RED)
        means = [mean.numerator / mean.denominator / MG for mean in running_means(chart.weights())]
        numbers = range(1, len(weights) + 1)
        axes.plot(numbers, means, color=_INK, linewidth=1.2, dashes=(6, 1), label="running mean")
        short, very_short = set(chart.short()), set(chart.very_short())
        sound = [number for number in numbers if number not in short | very_short]
        for style, marked in ((_SOUND, sound), (_SHORT, short), (_VERY_SHORT, very_short)):
            _mark(axes, style, sorted(marked), weights)
        _between_checks(axes, [len(check) for check in chart.checks])
        _settle(axes, len(weights), "bag, in the order of weighing", "net weight in g")
        _explain(figure, axes)
        axes.set_title(f"Weights of pack {chart.pack}", parse_math=False)
        return _picture(figure, *describe_pack(chart))


def draw_product(chart: ProductChart) -> str:
    """Draw means above and ranges below, each with its limits."""
    with _ONE_AT_A_TIME:
        figure = Figure(figsize=(9, 6.5), layout="constrained")
        means, ranges = figure.subplots(2, 1, sharex=True)
        _level(means, chart.nominal_g, "nominal", "-", _INK)
        for axes, around, values, outside in (
            (means, chart.means, [point.mean for point in chart.points], chart.means_outside()),
            (
                ranges,
                chart.ranges,
                [point.spread for point in chart.points],
                chart.ranges_outside(),
            ),
        ):
            numbers = range(1, len(values) + 1)
            _limits(axes, around)
            axes.plot(numbers, values, color=_BLUE, linewidth=0.6, alpha=0.6)
            _mark(axes, _INSIDE, [number for number in numbers if number not in outside], values)
            _mark(axes, _OUTSIDE, outside, values)
        _settle(means, len(chart.points), "", "mean in g")
        _settle(ranges, len(chart.points), "check, in the order of booking", "range in g")
        _dates(ranges, [f"{point.at:%Y-%m-%d}" for point in chart.points])
        _explain(figure, means, ranges)
        means.set_title(f"Means and ranges of {chart.sku}", parse_math=False)
        return _picture(figure, *describe_product(chart))


def _level(axes: Axes, grams: float, name: str, dashes: str, colour: str) -> None:
    axes.axhline(grams, color=colour, linestyle=dashes, linewidth=1.2)
    axes.annotate(
        f"{name} {grams:.10g} g", xy=(1, grams), xycoords=("axes fraction", "data"),
        xytext=(4, 0), textcoords="offset points", va="center", color=colour,
        annotation_clip=False,
    )  # fmt: skip


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
        axes.axvline(end + 0.5, color=_INK, linewidth=0.5, alpha=0.4)


def _limits(axes: Axes, around: Sequence[Around]) -> None:
    numbers = range(1, len(around) + 1)
    for values, dashes, label in (
        ([each.centre for each in around], "-.", "centre"),
        ([each.low for each in around], "--", "limits"),
        ([each.high for each in around], "--", None),
    ):
        if around:
            axes.step(
                numbers, values, where="mid", color=_ORANGE, linestyle=dashes, linewidth=1,
                label=label,
            )  # fmt: skip


def _dates(axes: Axes, dates: Sequence[str]) -> None:
    every = -(-len(dates) // _MOST_DATES)
    shown = range(1, len(dates) + 1, every)
    axes.set_xticks(list(shown), [f"{n}\n{dates[n - 1]}" for n in shown])


def _explain(figure: Figure, *panels: Axes) -> None:
    """Explain every mark once, below the picture."""
    marks = {
        label: mark
        for axes in panels
        for mark, label in zip(*axes.get_legend_handles_labels(), strict=True)
    }
    figure.legend(
        list(marks.values()), list(marks), loc="outside lower left", ncols=5, frameon=False
    )


def _settle(axes: Axes, count: int, below: str, beside: str) -> None:
    axes.set_xlabel(below)
    axes.set_ylabel(beside)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True, min_n_ticks=1))
    axes.set_xlim(0.5, count + 0.5)
    axes.margins(y=0.12)
    axes.spines[["top", "right"]].set_visible(False)


def _picture(figure: Figure, title: str, description: str) -> str:
    """Write the SVG with a title and a description for whoever has it read aloud."""
    written = StringIO()
    figure.savefig(written, format="svg", metadata=_UNDATED)
    head, _, body = written.getvalue().partition("<svg ")[2].partition(">")
    return (
        '<?xml version="1.0" encoding="utf-8"?>\n'
        '<svg role="img" xml:lang="en" aria-labelledby="chart-title chart-description" '
        f'{head}>\n <title id="chart-title">{escape(title)}</title>\n'
        f' <desc id="chart-description">{escape(description)}</desc>{body}'
    )
