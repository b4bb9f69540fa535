"""Answering how many days of green there are."""

from sqlmodel import Session

from app.cover.frames import Asked, Frame, frame_of, kg_a_day, number
from app.cover.products import by_product
from app.cover.rules import (
    Cover,
    Tally,
    Window,
    by_shortest,
    cover_of,
    why_none,
)
from app.cover.schemas import ApartOut, By, CoverOut, CoverRow, WindowOut
from app.cover.tallies import Tallies, add_up, read
from app.production.schemas import Gap
from app.settings import Settings


def cover(session: Session, by: By, asked: Asked, settings: Settings) -> CoverOut:
    """Say how long what is there lasts."""
    frame = frame_of(asked, settings)
    facts = read(
        session, frame.as_of, settings,
        days=max(each.days for each in (frame.asked, *frame.usual)),
        loss_days=frame.asked.days, sites=by == "site",
    )  # fmt: skip
    # Of a product it is the components that have stock, and what is on order.
    sums = add_up(facts, "component" if by == "product" else by, frame.asked.first)
    if by == "product":
        covered, gaps = by_product(session, facts, settings, frame, sums)
    else:
        covered, gaps = covers_of(sums, frame), []
    return CoverOut(
        by=by,
        as_of=frame.as_of,
        window_days=frame.asked.days,
        counted_days=frame.asked.counted,
        open_days=frame.open_days,
        items=[
            row(tally, found, frame, by_site=by == "site")
            for tally, found in by_shortest(covered)
        ],
        apart=ApartOut(
            on_hand_g=sums.on_hand_g, used_g=sums.used_g, on_order_g=sums.on_order_g
        ),
        gaps=[Gap(of=of, why=why) for of, why in gaps],
    )  # fmt: skip


def covers_of(sums: Tallies, frame: Frame) -> list[tuple[Tally, Cover]]:
    """Hold what is there against what was used, key by key."""
    return [
        (tally, cover_of(tally, frame.asked, frame.as_of, frame.calendar))
        for tally in sums.found.values()
    ]


def row(tally: Tally, found: Cover, frame: Frame, *, by_site: bool = False) -> CoverRow:
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
