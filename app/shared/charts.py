"""What every chart has in common: how it is drawn, by whom, and that it can be read aloud.

Imported by the first chart that is asked for, not at the start: the plotting library takes seconds
to load. It is not made for several threads at once, so one chart is drawn at a time.
"""

import re
import threading
from collections.abc import Callable, Sequence
from html import escape
from io import BytesIO, StringIO
from typing import Final

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import ScalarFormatter

# Text stays text, a dollar sign is one, and the names inside the picture are always the same.
mpl.rcParams.update({
    "svg.fonttype": "none", "svg.hashsalt": "chart", "font.size": 9, "text.parse_math": False,
})  # fmt: skip

INK, BLUE, ORANGE, RED = "#222222", "#0b5cad", "#a34f00", "#b00020"
"""Dark enough on white for text. Shapes and dashes say the same, for whoever sees no colours."""

Fill = Callable[[Figure], None]
"""What draws into a figure, or writes it."""
Size = tuple[float, float]
"""Width and height in inches, for letters of nine points."""

_ONE_AT_A_TIME: Final = threading.Lock()
_UNDATED: Final = dict.fromkeys(("Date", "Creator", "Format", "Type"))
_NOT_IN_XML: Final = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_DPI: Final = 160


def draw_svg(
    fill: Fill, size: Size, title: str, description: str, fonts: Sequence[str] = (),
    *, language: str = "en",
) -> str:  # fmt: skip
    """Draw a chart as SVG with a title and a description for whoever has it read aloud."""
    written = StringIO()
    _draw(fill, size, fonts, lambda figure: figure.savefig(
        written, format="svg", metadata=_UNDATED
    ))  # fmt: skip
    head, _, body = written.getvalue().partition("<svg ")[2].partition(">")
    return (
        '<?xml version="1.0" encoding="utf-8"?>\n'
        f'<svg role="img" xml:lang="{language}" aria-labelledby="chart-title chart-description" '
        f'{head}>\n <title id="chart-title">{escape(_plain(title))}</title>\n'
        f' <desc id="chart-description">{escape(_plain(description))}</desc>{body}'
    )


def draw_png(fill: Fill, size: Size, fonts: Sequence[str] = ()) -> bytes:
    """Draw a chart to be printed on paper."""
    written = BytesIO()
    _draw(fill, size, fonts, lambda figure: figure.savefig(
        written, format="png", dpi=_DPI, metadata={"Software": None}
    ))  # fmt: skip
    return written.getvalue()


def _draw(fill: Fill, size: Size, fonts: Sequence[str], write: Fill) -> None:
    families = [*mpl.rcParamsDefault["font.family"], *fonts]
    with _ONE_AT_A_TIME, mpl.rc_context({"font.family": families}):
        figure = Figure(figsize=size, layout="constrained")
        fill(figure)
        write(figure)


def _plain(text: str) -> str:
    """Replace what XML cannot hold."""
    return _NOT_IN_XML.sub("\ufffd", text)


def level(axes: Axes, height: float, said: str, dashes: str, colour: str) -> None:
    """Draw a line across and say beside it what it is."""
    axes.axhline(height, color=colour, linestyle=dashes, linewidth=1.2)
    axes.annotate(
        said, xy=(1, height), xycoords=("axes fraction", "data"), xytext=(4, 0),
        textcoords="offset points", va="center", color=colour, annotation_clip=False,
    )  # fmt: skip


def explain(figure: Figure, *panels: Axes, columns: int = 5) -> None:
    """Explain every mark once, below the picture."""
    marks = {
        label: mark
        for axes in panels
        for mark, label in zip(*axes.get_legend_handles_labels(), strict=True)
    }
    figure.legend(
        list(marks.values()), list(marks), loc="outside lower left", ncols=columns, frameon=False
    )


class _Figures(ScalarFormatter):
    """Figures along an axis with another decimal sign."""

    def __init__(self, decimal: str) -> None:
        super().__init__()
        self._decimal = decimal

    def __call__(self, value: float, place: int | None = None) -> str:
        return str(super().__call__(value, place)).replace(".", self._decimal)


def write_figures(axes: Axes, decimal: str) -> None:
    """Write the figures beside an axis with the decimal sign of a language."""
    if decimal != ".":
        axes.yaxis.set_major_formatter(_Figures(decimal))


def bare(axes: Axes) -> None:
    """Leave the frame out where nothing is read off it."""
    axes.spines[["top", "right"]].set_visible(False)
