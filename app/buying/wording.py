"""What pictures for buyers say to whoever cannot see them."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Final, NamedTuple

from app.buying.queries import Board
from app.buying.schemas import AgeMonth, AgeMonthsOut, UseOut
from app.cover.schemas import ComingOut, CoverRow, ForecastOut, ProjectionOut
from app.green.identity.rules import Light
from app.shared.speech import N_, PLAIN, Speech

LIGHTS: Final[Mapping[str, str]] = {
    Light.GREEN: N_("young"), Light.AMBER: N_("getting old"), Light.RED: N_("old"),
    Light.UNKNOWN: N_("age unknown"),
}  # fmt: skip
"""How old a crop is."""
MOST_BARS: Final = 30
"""Rows of a board that are drawn: those that run out first."""

_BOARDS: Final[Mapping[str, str]] = {
    "lot": N_("Days of cover by lot, at the end of %(day)s"),
    "origin": N_("Days of cover by origin, at the end of %(day)s"),
    "component": N_("Days of cover by component, at the end of %(day)s"),
    "product": N_("Days of cover by product, at the end of %(day)s"),
    "site": N_("Days of cover by site, at the end of %(day)s"),
}


class Told(NamedTuple):
    """A picture in words."""

    title: str
    description: str


def days_text(days: Decimal, speech: Speech = PLAIN) -> str:
    """Write days to a tenth, which is more than any of them is good for."""
    return speech.number(_short(round(days, 1)))


def _short(number: Decimal) -> Decimal:
    """Drop zeros at the end."""
    return Decimal(f"{number.normalize():f}")


def describe_projection(found: ProjectionOut, speech: Speech = PLAIN) -> Told:
    """Say what is expected of the stock of something."""
    say, mass, day = speech.gettext, speech.mass, speech.day
    first, last = found.days[0], found.days[-1]
    lowest = min(found.days, key=lambda each: each.expected_g)
    said = [
        say("From %(first)s to %(last)s.") % {"first": day(first.on), "last": day(last.on)},
        say("Expected on %(day)s: %(mass)s, between %(low)s and %(high)s.") % {
            "day": day(last.on), "mass": mass(last.expected_g), "low": mass(last.low_g),
            "high": mass(last.high_g),
        },
        say("Lowest: %(mass)s on %(day)s.") % {
            "mass": mass(lowest.expected_g), "day": day(lowest.on),
        },
        *_ordered(found, speech),
        *(coming_text(each, speech) for each in found.arrivals),
    ]  # fmt: skip
    if found.runs_out_on is not None:
        said.append(say("Runs out on %(day)s; short by %(mass)s in all.") % {
            "day": day(found.runs_out_on), "mass": mass(sum(each.short_g for each in found.days)),
        })  # fmt: skip
    return Told(projection_title(found, speech), " ".join(said))


def projection_title(found: ProjectionOut, speech: Speech) -> str:
    """Name the picture of projected stock."""
    return speech.gettext("Projected stock: %(key)s") % {"key": found.key}


def _ordered(found: ProjectionOut, speech: Speech) -> Iterator[str]:
    """Say where the order point stands; a lot is bought once and has none."""
    if found.reorder_point_g is not None and found.safety_stock_g is not None:
        when = found.order_by
        yield speech.gettext(
            "Order point %(point)s, of it safety stock %(safety)s; order by %(day)s."
        ) % {
            "point": speech.mass(found.reorder_point_g),
            "safety": speech.mass(found.safety_stock_g),
            "day": speech.day(when) if when else speech.gettext("no day: nothing is used"),
        }


def coming_text(each: ComingOut, speech: Speech = PLAIN) -> str:
    """Say what comes and when."""
    told = {
        "mass": speech.mass(each.open_g), "contract": each.contract, "supplier": each.supplier,
    }  # fmt: skip
    if each.on is None or each.earliest_on is None or each.latest_on is None:
        return (
            speech.gettext(
                "Not in the picture, since nobody knows when it comes: %(mass)s of %(contract)s "
                "from %(supplier)s."
            )
            % told
        )
    days = {"on": each.on, "earliest": each.earliest_on, "latest": each.latest_on}
    return speech.gettext(
        "Comes: %(mass)s of %(contract)s from %(supplier)s on %(on)s, between %(earliest)s and "
        "%(latest)s."
    ) % (told | {name: speech.day(when) for name, when in days.items()})


def describe_board(board: Board, speech: Speech = PLAIN) -> Told:
    """Say how long everything lasts, what runs out first at the beginning."""
    found = board.cover
    shown = found.items[:MOST_BARS]
    said = [_lasting(row, board, speech) for row in shown]
    if more := len(found.items[MOST_BARS:]):
        said.append(speech.gettext("%(number)s more are not drawn.") % {"number": more})
    if not said:
        said.append(speech.gettext("Nothing is there, was used or is on order."))
    over = speech.gettext("Use is that of %(days)s days.") % {"days": found.window_days}
    return Told(board_title(board, speech), " ".join([over, *said]))


def board_title(board: Board, speech: Speech) -> str:
    """Name the picture of days of cover."""
    said = speech.gettext(_BOARDS[board.cover.by])
    return said % {"day": speech.day(board.cover.as_of)}


def _lasting(row: CoverRow, board: Board, speech: Speech) -> str:
    if row.days_of_cover is None:
        return speech.gettext("%(key)s: %(note)s; %(mass)s available.") % {
            "key": row.key, "note": speech.gettext(str(row.note)),
            "mass": speech.mass(row.available_g),
        }  # fmt: skip
    said = [
        speech.gettext("%(key)s: %(days)s days, until %(day)s") % {
            "key": row.key, "days": days_text(row.days_of_cover, speech),
            "day": speech.day(row.runs_out_on) if row.runs_out_on else "",
        }
    ]  # fmt: skip
    if row.held_g and row.days_if_released is not None:
        said.append(
            speech.gettext(", %(days)s if what is on hold is released")
            % {"days": days_text(row.days_if_released, speech)}
        )
    if row.forecast is not None and row.forecast.days_90 is not None:
        said.append(f"; {range_text(row.forecast, speech)}")
    if row.key in board.order_by:
        when = {"day": speech.day(board.order_by[row.key])}
        said.append("; " + speech.gettext("order by %(day)s") % when)
    return f"{''.join(said)}."


def range_text(found: ForecastOut, speech: Speech = PLAIN) -> str:
    """Say how long something lasts at least by the forecast."""
    nine, five = (
        speech.gettext("over a year") if days is None
        else speech.gettext("%(days)s days") % {"days": days_text(days, speech)}
        for days in (found.days_90, found.days_50)
    )  # fmt: skip
    return speech.gettext(
        "by the forecast %(nine)s at least 9 times of 10, %(five)s 5 times of 10"
    ) % {"nine": nine, "five": five}


def describe_use(found: UseOut, speech: Speech = PLAIN) -> Told:
    """Say how much was used."""
    averages = "; ".join(
        speech.gettext(
            "%(mass)s a day over %(days)s days from %(first)s, divided by %(counted)s"
        ) % {
            "mass": f"{speech.number(_short(each.daily_use_kg.quantize(Decimal('0.001'))))} kg",
            "days": each.window_days, "first": speech.day(each.first_on),
            "counted": each.counted_days,
        }
        for each in found.windows
    )  # fmt: skip
    used = [day for day in found.days if day.used_g]
    said = [
        speech.gettext("%(mass)s on %(used)s of %(days)s days, %(closed)s of which are closed.") % {
            "mass": speech.mass(sum(day.used_g for day in used)), "used": len(used),
            "days": len(found.days), "closed": sum(not day.open for day in found.days),
        },
        speech.gettext("Average: %(averages)s.") % {"averages": averages},
    ]  # fmt: skip
    most = max(used, key=lambda day: day.used_g, default=None)
    if most is not None:
        told = {"mass": speech.mass(most.used_g), "day": speech.day(most.on)}
        said.append(speech.gettext("Most: %(mass)s on %(day)s.") % told)
    return Told(use_title(found, speech), " ".join(said))


def use_title(found: UseOut, speech: Speech) -> str:
    """Name the picture of use."""
    return speech.gettext("Use by day: %(key)s") % {"key": found.key}


def describe_ages(found: AgeMonthsOut, speech: Speech = PLAIN) -> Told:
    """Say how old the green on hand is."""
    said = []
    for counted_from, sentence in (
        ("harvest", speech.gettext("Since harvest: %(ages)s.")),
        ("arrival", speech.gettext("Since arrival: %(ages)s.")),
    ):
        there = [each for each in found.items if each.counted_from == counted_from]
        said.append(sentence % {"ages": _ages(there, speech)})
    said.append(speech.gettext(
        "Crops are pointed out from %(amber)s months and again from %(red)s months after harvest; "
        "age warns and stops nothing."
    ) % {"amber": found.amber_months, "red": found.red_months})  # fmt: skip
    return Told(ages_title(found, speech), " ".join(said))


def ages_title(found: AgeMonthsOut, speech: Speech) -> str:
    """Name the picture of ages."""
    return speech.gettext("Age of green on hand, %(day)s") % {"day": speech.day(found.as_of)}


def _ages(there: Sequence[AgeMonth], speech: Speech) -> str:
    return "; ".join(_age(each, speech) for each in there) or speech.gettext("nothing on hand")


def _age(each: AgeMonth, speech: Speech) -> str:
    when = (
        speech.gettext("unknown") if each.months is None
        else speech.gettext("%(number)s months") % {"number": each.months}
    )  # fmt: skip
    held = (
        speech.gettext(", of it %(mass)s on hold") % {"mass": speech.mass(each.held_g)}
        if each.held_g else ""
    )  # fmt: skip
    return f"{when} {speech.mass(each.on_hand_g)}{held}"
