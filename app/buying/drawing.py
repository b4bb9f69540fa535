"""Drawing pictures for buyers, for a page and for paper: see `shared/charts.py`."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from functools import lru_cache, partial
from typing import Any, Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import fontManager

from app.buying.queries import Board
from app.buying.schemas import AgeMonth, AgeMonthsOut, AverageOut, UseOut
from app.buying.wording import (
    MOST_BARS,
    Told,
    ages_title,
    board_title,
    days_text,
    describe_ages,
    describe_board,
    describe_projection,
    describe_use,
    projection_title,
    use_title,
)
from app.cover.schemas import CoverRow, ProjectionOut
from app.labels.fonts import readable, text_fonts
from app.shared.charts import (
    BLUE,
    INK,
    ORANGE,
    RED,
    Fill,
    Size,
    bare,
    draw_png,
    draw_svg,
    explain,
    level,
    write_figures,
)
from app.shared.mass import kg_from_grams
from app.shared.speech import PLAIN, Speech

FARTHEST_DAYS: Final = 365
"""A bar that lasts longer ends here with an arrow; its number stands beside it."""
OLDEST_MONTHS: Final = 24
_KG: Final = 1000
_LONGEST_NAME: Final = 28
_MOST_TICKS: Final = 8
_PALE: Final = "#c9d8ea"
_HELD: Final[dict[str, Any]] = {
    "facecolor": "#ffffff", "edgecolor": ORANGE, "hatch": "////", "linewidth": 0.8,
}  # fmt: skip


class Drawing:
    """A picture before it is drawn: as SVG for a page, as PNG for paper."""

    def __init__(self, fill: Fill, size: Size, told: Told, language: str = "en") -> None:
        self.fill, self.size, self.told, self.language = fill, size, told, language

    def svg(self) -> str:
        """Draw it for a page, with a title and a description to be read aloud."""
        return draw_svg(self.fill, self.size, *self.told, fonts=_families(), language=self.language)

    def png(self) -> bytes:
        """Draw it for paper."""
        return draw_png(self.fill, self.size, _families())


@lru_cache(maxsize=1)
def _families() -> Sequence[str]:
    """Make the fonts of labels known, so that names in any script can be drawn."""
    names = []
    for font in text_fonts():
        fontManager.addfont(font.file)
        names.append(fontManager.ttflist[-1].name)
    return names


def projection_of(found: ProjectionOut, speech: Speech = PLAIN) -> Drawing:
    """Draw projected stock with its band, the order point, what arrives and what is short."""
    told = describe_projection(found, speech)
    return Drawing(partial(_projection, found, speech), (9, 4), told, speech.language)


def board_of(board: Board, speech: Speech = PLAIN) -> Drawing:
    """Draw days of cover as bars, with what would be if all were released, and days to order by."""
    rows = min(len(board.cover.items), MOST_BARS)
    size = (9, 1.5 + 0.34 * max(rows, 2))
    told = describe_board(board, speech)
    return Drawing(partial(_board, board, speech), size, told, speech.language)


def use_of(found: UseOut, speech: Speech = PLAIN) -> Drawing:
    """Draw what was used on each day, with the averages of both windows."""
    told = describe_use(found, speech)
    return Drawing(partial(_use, found, speech), (9, 4.2), told, speech.language)


def ages_of(found: AgeMonthsOut, speech: Speech = PLAIN) -> Drawing:
    """Draw kilograms by months since harvest, and by months since arrival."""
    told = describe_ages(found, speech)
    return Drawing(partial(_ages, found, speech), (9, 5.2), told, speech.language)


def _projection(found: ProjectionOut, speech: Speech, figure: Figure) -> None:
    axes = figure.add_subplot()
    days = [day.on for day in found.days]
    x = [day.toordinal() for day in days]
    low, high = [day.low_g / _KG for day in found.days], [day.high_g / _KG for day in found.days]
    axes.fill_between(x, low, high, color=_PALE, label=speech.gettext("likely range"))
    expected = [day.expected_g / _KG for day in found.days]
    axes.plot(x, expected, color=BLUE, linewidth=1.8,
              label=speech.gettext("expected stock"))  # fmt: skip
    if found.reorder_point_g is not None:
        said = speech.gettext("order point")
        point = f"{said}\n{speech.mass(found.reorder_point_g)}"
        level(axes, found.reorder_point_g / _KG, point, "--", ORANGE)
    _arrivals(axes, found, speech)
    short = [day.on.toordinal() for day in found.days if day.short_g]
    if short:
        axes.plot(short, [0] * len(short), color=RED, marker="X", markevery=-(-len(short) // 12),
                  linestyle="none", label=speech.gettext("short"), clip_on=False)  # fmt: skip
    for day, said, dashes in (
        (found.order_by, speech.gettext("order by %(day)s"), "-."),
        (found.runs_out_on, speech.gettext("runs out %(day)s"), ":"),
    ):  # fmt: skip
        if day is not None and day <= days[-1]:
            axes.axvline(max(day.toordinal(), x[0]), color=INK, linestyle=dashes, linewidth=1.1,
                         label=said % {"day": speech.day(day)})  # fmt: skip
    axes.set_ylim(bottom=0)
    axes.set_xlim(x[0], x[-1] + 1)
    axes.set_ylabel(speech.gettext("green in kg, not on hold"))
    axes.set_title(readable(projection_title(found, speech)))
    _weeks(axes, days, speech)
    write_figures(axes, speech.decimal)
    bare(axes)
    explain(figure, axes, columns=4)


def _arrivals(axes: Axes, found: ProjectionOut, speech: Speech) -> None:
    """Mark what comes on its day, with the days between which it may."""
    stock = {day.on: day.expected_g / _KG for day in found.days}
    first = True
    for each in found.arrivals:
        if each.on not in stock or each.earliest_on is None or each.latest_on is None:
            continue
        height, x = stock[each.on], each.on.toordinal()
        between = [each.earliest_on.toordinal(), each.latest_on.toordinal()]
        axes.plot(between, [height, height], color=INK, marker="|", linewidth=1,
                  label=speech.gettext("may come between") if first else None)  # fmt: skip
        axes.plot([x], [height], color=INK, marker="^", markersize=8, linestyle="none",
                  label=speech.gettext("arrives") if first else None)  # fmt: skip
        axes.annotate(
            readable(f"{each.contract}: {speech.mass(each.open_g)}"), xy=(x, height), xytext=(0, 9),
            textcoords="offset points", ha="center", color=INK,
            # Lines that cross it stay readable, and so does it.
            bbox={"facecolor": "#ffffff", "edgecolor": "none", "alpha": 0.85, "pad": 1}, zorder=5,
        )  # fmt: skip
        first = False


def _board(board: Board, speech: Speech, figure: Figure) -> None:
    axes = figure.add_subplot()
    rows = board.cover.items[:MOST_BARS]
    farthest = _farthest(rows)
    places = range(len(rows))
    there = [_cut(row.days_of_cover, farthest) for row in rows]
    axes.barh(places, there, height=0.6, color=BLUE, label=speech.gettext("available"))
    released = [_cut(row.days_if_released, farthest) - days
                for row, days in zip(rows, there, strict=True)]  # fmt: skip
    more = [place for place in places if released[place]]
    if more:
        axes.barh(more, [released[place] for place in more], left=[there[place] for place in more],
                  height=0.6, label=speech.gettext("more, if released"), **_HELD)  # fmt: skip
    _ranges(axes, rows, farthest, speech)
    marked = [(_days_until(board, row, farthest), place) for place, row in enumerate(rows)
              if row.key in board.order_by]  # fmt: skip
    if marked:
        axes.plot([days for days, _ in marked], [place for _, place in marked], linestyle="none",
                  color=INK, marker="D", markersize=7, markeredgecolor="#ffffff",
                  label=speech.gettext("order by"), clip_on=False)  # fmt: skip
    for place, row, days, further in zip(places, rows, there, released, strict=True):
        axes.annotate(
            # Beyond a marker that stands at the end of the bar.
            _said(row, farthest, speech), xy=(days + further, place), xytext=(12, 0),
            textcoords="offset points", va="center", color=INK, annotation_clip=False,
        )  # fmt: skip
    axes.set_yticks(list(places), [_named(row) for row in rows])
    axes.set_ylim(len(rows) - 0.4 if rows else 1, -0.6)
    axes.set_xlim(0, farthest * 1.3)
    axes.set_xlabel(
        speech.gettext("days of cover by the use of %(days)s days")
        % {"days": board.cover.window_days}
    )
    axes.set_title(board_title(board, speech))
    bare(axes)
    if rows:
        explain(figure, axes)


def _ranges(axes: Axes, rows: Sequence[CoverRow], farthest: int, speech: Speech) -> None:
    """Draw how long what is available lasts at least by the forecast, below the middle of a bar."""
    first, said = True, speech.gettext("at least so long, 9 and 5 times of 10")
    for place, row in enumerate(rows):
        if row.forecast is None or row.forecast.days_90 is None:
            continue
        # Beyond a year there is no figure: then the line goes to the end of the axis.
        half = farthest if row.forecast.days_50 is None else _cut(row.forecast.days_50, farthest)
        nine_tenths = _cut(row.forecast.days_90, farthest)
        axes.plot([nine_tenths, half], [place + 0.38] * 2, color=RED, marker="|", markersize=7,
                  linewidth=1.6, clip_on=False,
                  label=said if first else None)  # fmt: skip
        first = False


def _farthest(rows: Sequence[CoverRow]) -> int:
    known = [row.days_if_released for row in rows if row.days_if_released is not None]
    return min(FARTHEST_DAYS, max(28, *(int(days) + 1 for days in known), 0))


def _cut(days: object, farthest: int) -> int:
    """Bring days to whole ones that the axis has."""
    return 0 if days is None else min(int(days), farthest)  # type: ignore[call-overload]


def _days_until(board: Board, row: CoverRow, farthest: int) -> int:
    return min(max((board.order_by[row.key] - board.cover.as_of).days, 0), farthest)


def _said(row: CoverRow, farthest: int, speech: Speech) -> str:
    if row.days_of_cover is None:
        return speech.gettext(row.note) if row.note else ""
    short = speech.gettext("%(days)s d")
    said = short % {"days": days_text(row.days_of_cover, speech)}
    if row.held_g and row.days_if_released is not None:
        released = short % {"days": days_text(row.days_if_released, speech)}
        said += " " + speech.gettext("(%(days)s if released)") % {"days": released}
    longer = row.days_if_released is not None and row.days_if_released > farthest
    return f"\N{RIGHTWARDS ARROW} {said}" if longer else said


def _named(row: CoverRow) -> str:
    name = readable(f"{row.key} {row.name or ''}")
    return (
        name
        if len(name) <= _LONGEST_NAME
        else f"{name[: _LONGEST_NAME - 1]}\N{HORIZONTAL ELLIPSIS}"
    )


def _use(found: UseOut, speech: Speech, figure: Figure) -> None:
    axes = figure.add_subplot()
    days = [day.on for day in found.days]
    x = [day.toordinal() for day in days]
    axes.bar(x, [day.used_g / _KG for day in found.days], color=BLUE, width=0.75,
             label=speech.gettext("used"))  # fmt: skip
    closed = [day.on.toordinal() for day in found.days if not day.open]
    if closed:
        axes.plot(closed, [0] * len(closed), color=INK, marker="x", linestyle="none", markersize=5,
                  label=speech.gettext("closed"), clip_on=False)  # fmt: skip
    looks = (("--", RED), ("-", ORANGE), (":", INK))
    for each, (dashes, colour) in zip(found.windows, looks, strict=False):
        _average(axes, each, x[-1], (dashes, colour), speech)
    axes.set_ylim(bottom=0)
    axes.set_xlim(x[0] - 1, x[-1] + 1)
    axes.set_ylabel(speech.gettext("green drawn into roasts, kg"))
    axes.set_title(readable(use_title(found, speech)))
    _weeks(axes, days, speech)
    write_figures(axes, speech.decimal)
    bare(axes)
    explain(figure, axes, columns=3)


def _average(
    axes: Axes, each: AverageOut, last: int, looks: tuple[str, str], speech: Speech
) -> None:
    height = each.used_g / each.counted_days / _KG if each.counted_days else 0
    dashes, colour = looks
    used = Decimal(f"{round(each.daily_use_kg, 3).normalize():f}")
    said = speech.gettext("%(days)s days: %(mass)s a day") % {
        "days": each.window_days, "mass": f"{speech.number(used)} kg",
    }  # fmt: skip
    axes.plot([each.first_on.toordinal(), last], [height, height], color=colour, linestyle=dashes,
              linewidth=1.6, label=said)  # fmt: skip


def _ages(found: AgeMonthsOut, speech: Speech, figure: Figure) -> None:
    panels = figure.subplots(2, 1, sharex=True)
    named = {
        "harvest": speech.gettext("months since harvest"),
        "arrival": speech.gettext("months since arrival"),
    }
    for axes, counted_from in zip(panels, named, strict=True):
        _bars(axes, [each for each in found.items if each.counted_from == counted_from], speech)
        axes.set_ylabel("kg")
        axes.set_title(named[counted_from], loc="left")
        write_figures(axes, speech.decimal)
        bare(axes)
    limits = (found.amber_months, found.red_months)
    pointed_out = speech.gettext(
        "pointed out from %(amber)s, again from %(red)s months on"
    ) % {"amber": limits[0], "red": limits[1]}  # fmt: skip
    for number, months in enumerate(months for months in limits if months <= OLDEST_MONTHS):
        panels[0].axvline(months - 0.5, color=INK, linestyle=":", linewidth=1.1,
                          label=None if number else pointed_out)  # fmt: skip
    ticks = [*range(OLDEST_MONTHS + 1), OLDEST_MONTHS + 2]
    words = [*map(str, range(OLDEST_MONTHS)), f"{OLDEST_MONTHS}+", "?"]
    panels[1].set_xticks(ticks, words)
    panels[1].set_xlim(-0.7, OLDEST_MONTHS + 2.7)
    panels[1].set_xlabel(speech.gettext("whole months; ? where nobody said when the harvest ended"))
    figure.suptitle(ages_title(found, speech), fontsize=11)
    explain(figure, *panels)


def _bars(axes: Axes, there: Sequence[AgeMonth], speech: Speech) -> None:
    """Stack what is on hold on what is not; the oldest months share a bar."""
    free: dict[int, int] = {}
    held: dict[int, int] = {}
    for each in there:
        place = OLDEST_MONTHS + 2 if each.months is None else min(each.months, OLDEST_MONTHS)
        free[place] = free.get(place, 0) + each.on_hand_g - each.held_g
        held[place] = held.get(place, 0) + each.held_g
    places = sorted(free)
    low = [free[place] / _KG for place in places]
    axes.bar(places, low, color=BLUE, width=0.75, label=speech.gettext("not on hold"))
    stopped = [place for place in places if held[place]]
    if stopped:
        axes.bar(
            stopped, [held[place] / _KG for place in stopped], width=0.75,
            label=speech.gettext("on hold"),
            bottom=[free[place] / _KG for place in stopped], **_HELD,
        )  # fmt: skip
    whole = {place: free[place] + held[place] for place in places}
    for place, grams in whole.items():
        # Whole kilograms, so that figures of neighbours do not meet; the table has the grams.
        said = kg_from_grams(grams if grams < _KG else (grams + _KG // 2) // _KG * _KG)
        axes.annotate(
            speech.number(said), xy=(place, grams / _KG), xytext=(0, 2),
            textcoords="offset points", ha="center", fontsize=7, color=INK,
        )  # fmt: skip
    axes.set_ylim(0, max(whole.values(), default=_KG) * 5 / 4 / _KG)


def _weeks(axes: Axes, days: Sequence[date], speech: Speech) -> None:
    """Name Mondays, as many as there is room for."""
    mondays = [day for day in days if day.weekday() == 0] or [days[0]]
    shown = mondays[:: -(-len(mondays) // _MOST_TICKS)]
    axes.set_xticks([day.toordinal() for day in shown], [speech.day(day) for day in shown])
