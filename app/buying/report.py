"""The buying report as PDF: board, what to order, projections, age; the same bytes each time.

The file carries the time of the last entry that was read and no other, and no random number.
"""

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Final, NamedTuple

from sqlmodel import Session

from app.buying.drawing import Drawing, ages_of, board_of, projection_of
from app.buying.queries import Board, by_month
from app.buying.schemas import AgeMonthsOut
from app.buying.wording import LIGHTS, MOST_BARS, coming_text, days_text
from app.cover.frames import Asked
from app.cover.ordering import orders
from app.cover.projecting import projection
from app.cover.queries import cover
from app.cover.schemas import CoverRow, OrdersOut, ProjectionOut, SuggestedOrder
from app.cover.wording import LEADS, why_text
from app.labels.fonts import FontRuler
from app.labels.pieces import MM
from app.ledger.tables import Entry
from app.ledger.then import newest_entry
from app.papers.drawing import blank_file, draw_page
from app.papers.reports import Column, Report, image_height, kg
from app.settings import Settings
from app.shared.days import begin_of, zone_here
from app.shared.speech import N_, PLAIN, Speech, at_here, pair
from app.value.ageing import aged_lots
from app.value.schemas import AgedLot

MOST_PROJECTIONS: Final = 3
"""The components that are to be ordered first are drawn; pages show any of them."""
MOST_LOTS: Final = 12
DAYS_AHEAD: Final = 120
CAUTION: Final = N_(
    "Reckoned from what was used and what is planned. What to buy stays a buyer's decision: "
    "harvests, prices, quality and what a customer will do are not in these figures. What is on "
    "hold counts as not there; only quality decides on its release, and no figure here says that "
    "coffee is fit for use. Age warns and stops nothing: the cup tells."
)
_ORDERED: Final = {
    "sack": pair("%(number)s sack, %(mass)s", "%(number)s sacks, %(mass)s"),
    "pallet": pair("%(number)s pallet, %(mass)s", "%(number)s pallets, %(mass)s"),
    "container": pair("%(number)s container, %(mass)s", "%(number)s containers, %(mass)s"),
}


class Bought(NamedTuple):
    """All that the report says, read in one state of the book."""

    firm: str
    board: Board
    orders: OrdersOut
    projections: Sequence[ProjectionOut]
    months: AgeMonthsOut
    oldest: Sequence[AgedLot]
    lots: int
    settings: Settings
    entry: int
    recorded_at: datetime


def bought(session: Session, settings: Settings) -> Bought:
    """Read what is there, what to order and how old it is."""
    found = cover(session, "component", Asked(None, None, None), settings)
    wanted = orders(session, "component", settings)
    urgent = [each.key for each in wanted.items if each.order_by][:MOST_PROJECTIONS]
    aged = sorted(aged_lots(session, settings).values(), key=lambda lot: lot.crop_age.since)
    entry = newest_entry(session)
    return Bought(
        firm=settings.firm_name,
        board=Board(found, {each.key: each.order_by for each in wanted.items if each.order_by}),
        orders=wanted,
        projections=[projection(session, "component", key, DAYS_AHEAD, settings) for key in urgent],
        months=by_month(aged, settings),
        oldest=aged[:MOST_LOTS],
        lots=len(aged),
        settings=settings,
        entry=entry,
        recorded_at=session.get_one(Entry, entry).recorded_at if entry else begin_of(wanted.as_of),
    )


def _used(settings: Settings, speech: Speech) -> list[tuple[str, str]]:
    """Say by which settings it was reckoned; planning cards come first where there are any."""
    say, number = speech.gettext, speech.number
    short, long = settings.cover_windows_days
    use = (
        say("averaged over %(short)s and over %(long)s days, counting days on which the roastery "
            "is open")
        if settings.cover_open_days
        else say("averaged over %(short)s and over %(long)s days, counting every day")
    )  # fmt: skip
    told = {
        "short": short, "long": long, "plan": settings.cover_plan_days,
        "lead": settings.cover_lead_time_days, "spread": number(settings.cover_lead_time_sd_days),
        "review": settings.cover_review_days, "harvest": settings.cover_harvest_days,
        "sack": number(settings.cover_sack_kg), "pallet": number(settings.cover_pallet_kg),
        "container": number(settings.cover_container_kg),
    }  # fmt: skip
    return [
        (say("Use"), use % told),
        (say("Plan"), say("orders of %(plan)s days, then the average of %(long)s days") % told),
        (say("Service"), f"{number(settings.cover_service_pct)} %"),
        (say("Lead time"),
         say("%(lead)s days, spread %(spread)s, where nothing else is known") % told),
        (say("An order lasts"),
         say("%(review)s days beside its lead time; where there is one a harvest %(harvest)s")
         % told),
        (say("Units"),
         say("sack %(sack)s kg, pallet %(pallet)s kg, container %(container)s kg") % told),
    ]  # fmt: skip


def draw_report(found: Bought, speech: Speech = PLAIN) -> bytes:
    """Draw the report and write the file."""
    ruler = FontRuler()
    title = speech.gettext("Buying report")
    head = f"{title}, {speech.day(found.board.cover.as_of)}"
    report = Report(ruler, [head], speech)
    _summary(report, found)
    _board(report, found.board)
    _orders(report, found.orders)
    _projections(report, found.projections)
    _age(report, found)
    pdf = blank_file(head, found.recorded_at, speech)
    for page in report.sheet.number(title, speech):
        draw_page(pdf, page, ruler)
    return bytes(pdf.output())


def _summary(report: Report, found: Bought) -> None:
    say = report.say
    report.paragraph(say(CAUTION))
    told = {
        "day": report.speech.day(found.board.cover.as_of), "zone": zone_here(),
        "entry": found.entry, "at": at_here(found.recorded_at, report.speech),
    }  # fmt: skip
    report.facts([
        (say("Of"), found.firm or say("Firm not entered")),
        (say("Day"), say("the end of %(day)s (%(zone)s)") % told),
        (say("Read"), say("from the book up to entry %(entry)s, written %(at)s") % told),
        *_used(found.settings, report.speech),
    ])  # fmt: skip


def _drawn(report: Report, drawing: Drawing, title: str | None = None) -> None:
    if title is not None:
        report.title(title, image_height(*drawing.size))
    report.image(drawing.png(), *drawing.size)


def _board(report: Report, board: Board) -> None:
    say = report.say
    _drawn(report, board_of(board, report.speech), say("Days of cover by component"))
    numbers = [Column(name, 17 * MM, right=True) for name in (
        say("Available kg"), say("On hold kg"), say("On order kg"), say("Days, short"),
        say("Days, long"), say("9 of 10"), say("If released"),
    )]  # fmt: skip
    items = board.cover.items
    report.table(
        [
            Column(say("Component"), 35 * MM),
            *numbers,
            Column(say("Runs out on"), 20 * MM, right=True),
        ],
        [_row(row, report.speech) for row in items[:MOST_BARS]],
    )
    if len(items) > MOST_BARS:
        report.paragraph(say("%(more)s more of %(all)s components last longer.") % {
            "more": len(items) - MOST_BARS, "all": len(items),
        })  # fmt: skip


def _row(row: CoverRow, speech: Speech) -> Sequence[str]:
    short, long = row.windows
    return (
        row.key, *(kg(grams, speech) for grams in (row.available_g, row.held_g, row.on_order_g)),
        _days(short.days_of_cover, speech), _days(long.days_of_cover, speech),
        _at_least(row, speech), _days(row.days_if_released, speech), _on(row.runs_out_on, speech),
    )  # fmt: skip


def _days(days: Decimal | None, speech: Speech) -> str:
    return speech.gettext("no use") if days is None else days_text(days, speech)


def _at_least(row: CoverRow, speech: Speech) -> str:
    """Write how long it lasts at least, nine times of ten; nothing where there is no forecast."""
    if row.forecast is None:
        return ""
    days = row.forecast.days_90
    return speech.gettext("a year") if days is None else days_text(days, speech)


def _on(day: date | None, speech: Speech) -> str:
    return speech.day(day) if day else ""


def _orders(report: Report, found: OrdersOut) -> None:
    say = report.say
    report.title(say("What to order, what is due first at the top"))
    wanted = [each for each in found.items if each.order_by]
    report.table(
        [
            Column(say("Order by"), 24 * MM), Column(say("Component"), 40 * MM),
            Column(say("How much"), 44 * MM), Column(say("Position kg"), 20 * MM, right=True),
            Column(say("Order point"), 20 * MM, right=True),
            Column(say("Lead days"), 26 * MM, right=True),
        ],
        [_wanted(each, report.speech) for each in wanted],
    )  # fmt: skip
    for each in wanted:
        if each.due:
            report.paragraph(f"{each.key}: {why_text(each, report.speech)}")
    report.paragraph(say(found.service))


def _wanted(each: SuggestedOrder, speech: Speech) -> Sequence[str]:
    by = _on(each.order_by, speech)
    if each.due:
        by = speech.gettext("%(day)s, now") % {"day": by}
    told = {"number": speech.number(each.units), "mass": speech.mass(each.suggested_g)}
    units = speech.ngettext(*_ORDERED[each.unit], each.units) % told
    basis = speech.gettext(LEADS[each.lead_time.basis])
    lead = f"{days_text(each.lead_time.days, speech)} ({basis})"
    return by, each.key, units, kg(each.position_g, speech), kg(each.reorder_point_g, speech), lead


def _projections(report: Report, found: Sequence[ProjectionOut]) -> None:
    for number, each in enumerate(found):
        title = None if number else report.say("Projected stock of what is due first")
        _drawn(report, projection_of(each, report.speech), title)
        for said in _beside(each, report.speech):
            report.paragraph(said)


def _beside(found: ProjectionOut, speech: Speech) -> Iterator[str]:
    """Say what the picture cannot: who sends what comes, and what comes on no day."""
    for each in found.arrivals:
        yield coming_text(each, speech)
    if found.runs_out_on is not None:
        yield speech.gettext("%(key)s runs out on %(day)s, arrivals counted.") % {
            "key": found.key, "day": speech.day(found.runs_out_on),
        }  # fmt: skip


def _age(report: Report, found: Bought) -> None:
    say, speech = report.say, report.speech
    _drawn(report, ages_of(found.months, speech), say("Age of green on hand"))
    report.table(
        [
            Column(say("Lot"), 34 * MM), Column(say("Name"), 46 * MM),
            Column(say("Origin"), 14 * MM), Column(say("Harvest ended"), 22 * MM),
            Column(say("Came on"), 18 * MM),
            Column(say("Age"), 20 * MM), Column(say("On hand kg"), 20 * MM, right=True),
        ],
        [
            (
                lot.lot, f"{lot.name} ({say('on hold')})" if lot.held else lot.name, lot.origin,
                _on(lot.harvest_ended_on, speech), speech.day(lot.received_on),
                say(LIGHTS[lot.crop_age.light]), kg(lot.on_hand_g, speech),
            )
            for lot in found.oldest
        ],
    )  # fmt: skip
    if found.lots > len(found.oldest):
        younger = {"number": found.lots - len(found.oldest)}
        report.paragraph(say("%(number)s younger lots are not listed.") % younger)
