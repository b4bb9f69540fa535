"""Answering how many days of green there are."""

from sqlmodel import Session

from app.cover import explosion
from app.cover.explosion import House
from app.cover.foretelling import WEEK, Foresight, foresee
from app.cover.frames import Asked, Frame, frame_of, kg_a_day, number, weeks_of
from app.cover.products import Packed, tallies_of
from app.cover.rules import (
    Cover,
    Tally,
    Window,
    by_shortest,
    cover_of,
    why_none,
)
from app.cover.schemas import ApartOut, By, CoverOut, CoverRow, WindowOut
from app.cover.showing import forecast_out
from app.cover.tallies import Facts, Tallies, add_up, read
from app.production.schemas import Gap
from app.settings import Settings


def cover(session: Session, by: By, asked: Asked, settings: Settings) -> CoverOut:
    """Say how long what is there lasts."""
    frame = frame_of(asked, settings)
    return cover_of_facts(session, by, frame, read_for(session, by, frame, settings), settings)


def read_for(session: Session, by: By, frame: Frame, settings: Settings) -> Facts:
    """Read what that is worked out of."""
    windows = (frame.asked, *frame.usual)
    days = max(WEEK * weeks_of(by, settings), *(each.days for each in windows))
    return read(
        session, frame.as_of, settings, days=days, loss_days=frame.asked.days, sites=by == "site",
        yields=by == "product",
    )  # fmt: skip


def cover_of_facts(
    session: Session, by: By, frame: Frame, facts: Facts, settings: Settings
) -> CoverOut:
    """Say how long what was read lasts."""
    weeks = weeks_of(by, settings)
    # Of a product it is the components that have stock, and what is on order.
    sums = add_up(facts, "component" if by == "product" else by, frame.asked.first)
    gaps: list[Gap] = []
    if by == "product":
        house = explosion.house(session, facts)
        packed = explosion.packed(session, facts.first, frame.as_of)
        covered = _of_products(house, packed, frame, sums, gaps)
    else:
        covered = [(tally, _cover_of(tally, frame)) for tally in sums.found.values()]
    return CoverOut(
        by=by,
        as_of=frame.as_of,
        window_days=frame.asked.days,
        counted_days=frame.asked.counted,
        open_days=frame.open_days,
        items=[
            row(tally, found, frame, foresee(tally, by, frame.as_of, weeks), by_site=by == "site")
            for tally, found in by_shortest(covered)
        ],
        apart=ApartOut(
            on_hand_g=sums.on_hand_g, used_g=sums.used_g, on_order_g=sums.on_order_g
        ),
        gaps=gaps,
    )  # fmt: skip


def _cover_of(tally: Tally, frame: Frame) -> Cover:
    """Hold what is there against what was used in the window that is asked for."""
    return cover_of(tally, frame.asked, frame.as_of, frame.calendar)


def _of_products(
    house: House, packed: Packed, frame: Frame, sums: Tallies, gaps: list[Gap]
) -> list[tuple[Tally, Cover]]:
    return [
        by_shortest([(tally, _cover_of(tally, frame)) for tally in tallies])[0]
        for _, tallies in tallies_of(house, packed, sums.found, gaps)
    ]


def row(
    tally: Tally, found: Cover, frame: Frame, foresight: Foresight, *, by_site: bool
) -> CoverRow:
    """Answer one line of the board."""
    days = found.cover.days
    return CoverRow(
        key=tally.key,
        name=tally.name,
        on_hand_g=tally.on_hand_g,
        held_g=tally.held_g,
        available_g=tally.available_g,
        reserved_g=None if by_site else tally.reserved_g,
        on_order_g=tally.on_order_g,
        used_g=round(found.used_g),
        sampled_g=tally.sampled_g,
        written_off_g=tally.written_off_g,
        daily_use_kg=kg_a_day(found.daily_g),
        days_of_cover=number(days),
        days_of_cover_exact=None if days is None else str(days),
        runs_out_on=found.cover.on,
        net_days_of_cover=number(found.net_days),
        days_if_released=number(found.if_released.days),
        runs_out_if_released_on=found.if_released.on,
        note=why_none(frame.asked, found.used_g),
        component=tally.component,
        windows=[
            _window(
                found
                if each == frame.asked
                else cover_of(tally, each, frame.as_of, frame.calendar),
                each,
            )
            for each in frame.usual
        ],
        forecast=forecast_out(foresight, tally.available_g),
        no_forecast=foresight.why_none,
        shared_lots=sorted(tally.shared_lots),
    )


def _window(found: Cover, over: Window) -> WindowOut:
    return WindowOut(
        window_days=over.days,
        counted_days=over.counted,
        used_g=round(found.used_g),
        daily_use_kg=kg_a_day(found.daily_g),
        days_of_cover=number(found.cover.days),
        runs_out_on=found.cover.on,
    )
