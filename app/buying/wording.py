"""What pictures for buyers say to whoever cannot see them."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Final, NamedTuple

from app.buying.queries import Board
from app.buying.schemas import AgeMonth, AgeMonthsOut, UseOut
from app.cover.schemas import ComingOut, CoverRow, ForecastOut, ProjectionOut
from app.shared.mass import kg_text

MOST_BARS: Final = 30
"""Rows of a board that are drawn: those that run out first."""


class Told(NamedTuple):
    """A picture in words."""

    title: str
    description: str


def days_text(days: Decimal) -> str:
    """Write days to a tenth, which is more than any of them is good for."""
    return f"{round(days, 1).normalize():f}"


def describe_projection(found: ProjectionOut) -> Told:
    """Say what is expected of the stock of something."""
    first, last = found.days[0], found.days[-1]
    lowest = min(found.days, key=lambda day: day.expected_g)
    short_g = sum(day.short_g for day in found.days)
    until = f"Expected on {last.on}: {kg_text(last.expected_g)}, between {kg_text(last.low_g)} and"
    lowest_of = f"Lowest: {kg_text(lowest.expected_g)} on {lowest.on}."
    order_by = found.order_by or "no day: nothing is used"
    said = [
        f"From {first.on} to {last.on}. {until} {kg_text(last.high_g)}. {lowest_of}",
        *_ordered(found, str(order_by)),
        *map(coming_text, found.arrivals),
    ]
    if found.runs_out_on is not None:
        said.append(f"Runs out on {found.runs_out_on}; short by {kg_text(short_g)} in all.")
    return Told(f"Projected stock: {found.key}", " ".join(said))


def _ordered(found: ProjectionOut, order_by: str) -> Iterator[str]:
    """Say where the order point stands; a lot is bought once and has none."""
    if found.reorder_point_g is not None and found.safety_stock_g is not None:
        safety = kg_text(found.safety_stock_g)
        point = f"Order point {kg_text(found.reorder_point_g)}, of it safety stock {safety}"
        yield f"{point}; order by {order_by}."


def coming_text(each: ComingOut) -> str:
    """Say what comes and when."""
    what = f"{kg_text(each.open_g)} of {each.contract} from {each.supplier}"
    if each.on is None:
        return f"Not in the picture, since nobody knows when it comes: {what}."
    return f"Comes: {what} on {each.on}, between {each.earliest_on} and {each.latest_on}."


def describe_board(board: Board) -> Told:
    """Say how long everything lasts, what runs out first at the beginning."""
    found = board.cover
    shown = found.items[:MOST_BARS]
    said = [_lasting(row, board) for row in shown]
    if len(found.items) > len(shown):
        said.append(f"{len(found.items) - len(shown)} more are not drawn.")
    if not said:
        said.append("Nothing is there, was used or is on order.")
    title = f"Days of cover by {found.by}, at the end of {found.as_of}"
    over = f"Use is that of {found.window_days} days."
    return Told(title, " ".join([over, *said]))


def _lasting(row: CoverRow, board: Board) -> str:
    if row.days_of_cover is None:
        return f"{row.key}: {row.note}; {kg_text(row.available_g)} available."
    said = f"{row.key}: {days_text(row.days_of_cover)} days, until {row.runs_out_on}"
    if row.held_g and row.days_if_released is not None:
        said += f", {days_text(row.days_if_released)} if what is on hold is released"
    if row.forecast is not None and row.forecast.days_90 is not None:
        said += f"; {range_text(row.forecast)}"
    if row.key in board.order_by:
        said += f"; order by {board.order_by[row.key]}"
    return f"{said}."


def range_text(found: ForecastOut) -> str:
    """Say how long something lasts at least by the forecast."""
    nine = "over a year" if found.days_90 is None else f"{days_text(found.days_90)} days"
    five = "over a year" if found.days_50 is None else f"{days_text(found.days_50)} days"
    return f"by the forecast {nine} at least 9 times of 10, {five} 5 times of 10"


def describe_use(found: UseOut) -> Told:
    """Say how much was used."""
    averages = [
        f"{each.daily_use_kg.quantize(Decimal('0.001')).normalize():f} kg a day over "
        f"{each.window_days} days from {each.first_on}, divided by {each.counted_days}"
        for each in found.windows
    ]
    used = [day for day in found.days if day.used_g]
    closed = sum(not day.open for day in found.days)
    most = max(used, key=lambda day: day.used_g, default=None)
    whole = kg_text(sum(day.used_g for day in used))
    on_days = f"on {len(used)} of {len(found.days)} days, {closed} of which are closed"
    said = [f"{whole} {on_days}.", f"Average: {'; '.join(averages)}."]
    if most is not None:
        said.append(f"Most: {kg_text(most.used_g)} on {most.on}.")
    return Told(f"Use by day: {found.key}", " ".join(said))


def describe_ages(found: AgeMonthsOut) -> Told:
    """Say how old the green on hand is."""
    said = []
    for counted_from in ("harvest", "arrival"):
        there = [each for each in found.items if each.counted_from == counted_from]
        said.append(f"Since {counted_from}: {_ages(there)}.")
    said.append(
        f"Crops are pointed out from {found.amber_months} months and again from "
        f"{found.red_months} months after harvest; age warns and stops nothing."
    )
    return Told(f"Age of green on hand, {found.as_of}", " ".join(said))


def _ages(there: Sequence[AgeMonth]) -> str:
    return "; ".join(map(_age, there)) or "nothing on hand"


def _age(each: AgeMonth) -> str:
    when = "unknown" if each.months is None else f"{each.months} months"
    held = f", of it {kg_text(each.held_g)} on hold" if each.held_g else ""
    return f"{when} {kg_text(each.on_hand_g)}{held}"
