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
from app.buying.wording import MOST_BARS, coming_text, days_text
from app.cover.frames import Asked
from app.cover.ordering import orders
from app.cover.projecting import projection
from app.cover.queries import cover
from app.cover.schemas import CoverRow, OrdersOut, ProjectionOut, SuggestedOrder
from app.labels.fonts import FontRuler
from app.labels.pieces import MM
from app.ledger.tables import Entry
from app.ledger.then import newest_entry
from app.papers.drawing import blank_file, draw_page
from app.papers.reports import Column, Report, image_height
from app.settings import Settings
from app.shared.mass import GRAM, kg_text
from app.shared.times import begin_of, text
from app.value.ageing import aged_lots
from app.value.schemas import AgedLot

MOST_PROJECTIONS: Final = 3
"""The components that are to be ordered first are drawn; pages show any of them."""
MOST_LOTS: Final = 12
DAYS_AHEAD: Final = 120
TITLE: Final = "Buying report"
CAUTION: Final = (
    "Reckoned from what was used and what is planned. What to buy stays a buyer's decision: "
    "harvests, prices, quality and what a customer will do are not in these figures. What is on "
    "hold counts as not there; only quality decides on its release, and no figure here says that "
    "coffee is fit for use. Age warns and stops nothing: the cup tells."
)


class Bought(NamedTuple):
    """All that the report says, read in one state of the book."""

    firm: str
    board: Board
    orders: OrdersOut
    projections: Sequence[ProjectionOut]
    months: AgeMonthsOut
    oldest: Sequence[AgedLot]
    lots: int
    settings: Sequence[tuple[str, str]]
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
        settings=_used(settings),
        entry=entry,
        recorded_at=session.get_one(Entry, entry).recorded_at if entry else begin_of(wanted.as_of),
    )


def _used(settings: Settings) -> list[tuple[str, str]]:
    """Say by which settings it was reckoned; planning cards come first where there are any."""
    short, long = settings.cover_windows_days
    counted = "days on which the roastery is open" if settings.cover_open_days else "every day"
    sizes = (settings.cover_sack_kg, settings.cover_pallet_kg, settings.cover_container_kg)
    sack, pallet, container = (f"{size} kg" for size in sizes)
    lead = f"{settings.cover_lead_time_days} days, spread {settings.cover_lead_time_sd_days}"
    lasts = f"{settings.cover_review_days} days beside its lead time"
    return [
        ("Use", f"averaged over {short} and over {long} days, counting {counted}"),
        ("Plan", f"orders of {settings.cover_plan_days} days, then the average of {long} days"),
        ("Service", f"{settings.cover_service_pct} %"),
        ("Lead time", f"{lead}, where nothing else is known"),
        ("An order lasts", f"{lasts}; where there is one a harvest {settings.cover_harvest_days}"),
        ("Units", f"sack {sack}, pallet {pallet}, container {container}"),
    ]  # fmt: skip


def draw_report(found: Bought) -> bytes:
    """Draw the report and write the file."""
    ruler = FontRuler()
    report = Report(ruler, [f"{TITLE}, {found.board.cover.as_of}"])
    _summary(report, found)
    _board(report, found.board)
    _orders(report, found.orders)
    _projections(report, found.projections)
    _age(report, found)
    pdf = blank_file(f"{TITLE}, {found.board.cover.as_of}", found.recorded_at)
    for page in report.sheet.number(TITLE):
        draw_page(pdf, page, ruler)
    return bytes(pdf.output())


def _summary(report: Report, found: Bought) -> None:
    report.paragraph(CAUTION)
    at = text(found.recorded_at.replace(microsecond=0))
    report.facts([
        ("Of", found.firm or "Firm not entered"),
        ("Day", f"the end of {found.board.cover.as_of}, by UTC"),
        ("Read", f"from the book up to entry {found.entry}, written {at}"),
        *found.settings,
    ])  # fmt: skip


def _drawn(report: Report, drawing: Drawing, title: str | None = None) -> None:
    if title is not None:
        report.title(title, image_height(*drawing.size))
    report.image(drawing.png(), *drawing.size)


def _board(report: Report, board: Board) -> None:
    _drawn(report, board_of(board), "Days of cover by component")
    numbers = [Column(name, 17 * MM, right=True) for name in (
        "Available kg", "On hold kg", "On order kg", "Days, short", "Days, long", "9 of 10",
        "If released",
    )]  # fmt: skip
    items = board.cover.items
    report.table(
        [Column("Component", 35 * MM), *numbers, Column("Runs out on", 20 * MM, right=True)],
        [_row(row) for row in items[:MOST_BARS]],
    )
    if len(items) > MOST_BARS:
        report.paragraph(f"{len(items) - MOST_BARS} more of {len(items)} components last longer.")


def _row(row: CoverRow) -> Sequence[str]:
    short, long = row.windows
    return (
        row.key, kg(row.available_g), kg(row.held_g), kg(row.on_order_g),
        _days(short.days_of_cover), _days(long.days_of_cover), _at_least(row),
        _days(row.days_if_released),
        _on(row.runs_out_on),
    )  # fmt: skip


def kg(grams: int) -> str:
    """Write grams as kilograms with three places, so that columns of them line up."""
    return f"{grams * GRAM}"


def _days(days: Decimal | None) -> str:
    return "no use" if days is None else days_text(days)


def _at_least(row: CoverRow) -> str:
    """Write how long it lasts at least, nine times of ten; nothing where there is no forecast."""
    if row.forecast is None:
        return ""
    return "a year" if row.forecast.days_90 is None else days_text(row.forecast.days_90)


def _on(day: date | None) -> str:
    return str(day) if day else ""


def _orders(report: Report, found: OrdersOut) -> None:
    report.title("What to order, what is due first at the top")
    wanted = [each for each in found.items if each.order_by]
    report.table(
        [
            Column("Order by", 24 * MM), Column("Component", 40 * MM), Column("How much", 44 * MM),
            Column("Position kg", 20 * MM, right=True), Column("Order point", 20 * MM, right=True),
            Column("Lead days", 26 * MM, right=True),
        ],
        [_wanted(each) for each in wanted],
    )  # fmt: skip
    for each in wanted:
        if each.due:
            report.paragraph(f"{each.key}: {each.why}")
    report.paragraph(found.service)


def _wanted(each: SuggestedOrder) -> Sequence[str]:
    by = f"{each.order_by}{', now' if each.due else ''}"
    units = f"{each.units} {each.unit}{'' if each.units == 1 else 's'}, {kg_text(each.suggested_g)}"
    lead = f"{days_text(each.lead_time.days)} ({each.lead_time.basis})"
    return by, each.key, units, kg(each.position_g), kg(each.reorder_point_g), lead


def _projections(report: Report, found: Sequence[ProjectionOut]) -> None:
    for number, each in enumerate(found):
        title = None if number else "Projected stock of what is due first"
        _drawn(report, projection_of(each), title)
        for said in _beside(each):
            report.paragraph(said)


def _beside(found: ProjectionOut) -> Iterator[str]:
    """Say what the picture cannot: who sends what comes, and what comes on no day."""
    yield from map(coming_text, found.arrivals)
    if found.runs_out_on is not None:
        yield f"{found.key} runs out on {found.runs_out_on}, arrivals counted."


def _age(report: Report, found: Bought) -> None:
    _drawn(report, ages_of(found.months), "Age of green on hand")
    report.table(
        [
            Column("Lot", 34 * MM), Column("Name", 54 * MM), Column("Origin", 12 * MM),
            Column("Harvest ended", 22 * MM), Column("Came on", 18 * MM), Column("Light", 14 * MM),
            Column("On hand kg", 20 * MM, right=True),
        ],
        [
            (
                lot.lot, lot.name + (" (on hold)" if lot.held else ""), lot.origin,
                _on(lot.harvest_ended_on), str(lot.received_on), lot.crop_age.light,
                kg(lot.on_hand_g),
            )
            for lot in found.oldest
        ],
    )  # fmt: skip
    if found.lots > len(found.oldest):
        report.paragraph(f"{found.lots - len(found.oldest)} younger lots are not listed.")
