"""Reading what pictures for buyers show: nothing that is not worked out elsewhere."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date
from typing import NamedTuple

from sqlmodel import Session

from app.buying.schemas import (
    AgeMonth,
    AgeMonthsOut,
    AverageOut,
    CountedFrom,
    UseBy,
    UsedDay,
    UseOut,
)
from app.cover.cards.queries import planning_cards
from app.cover.forward import Known, frame_ahead
from app.cover.frames import Asked, calendar_of, frame_of, kg_a_day, weeks_of
from app.cover.ordering import GREEN, orders_of
from app.cover.queries import cover_of_facts, read_for
from app.cover.rules import cover_of, days_between
from app.cover.schemas import By, CoverOut
from app.cover.tallies import add_up, read
from app.green.identity.rules import months_since
from app.settings import Settings
from app.shared.days import today_here
from app.shared.names import fold_name
from app.shared.problems import Refused
from app.value.ageing import aged_lots
from app.value.schemas import AgedLot


class Board(NamedTuple):
    """How long everything lasts, and by when it is to be ordered."""

    cover: CoverOut
    order_by: Mapping[str, date]
    """By key; nothing for a day in the past, and for what is not ordered by itself."""


def board(session: Session, by: By, asked: Asked, settings: Settings) -> Board:
    """Read cover, of components and origins with the days to order by."""
    frame = frame_of(asked, settings)
    facts = read_for(session, by, frame, settings)
    order_by: dict[str, date] = {}
    if by in GREEN and frame.as_of == today_here():
        known = Known(by, frame_ahead(settings), facts, weeks_of(by, settings))
        order_by = {
            each.key: each.order_by
            for each in orders_of(known, planning_cards(session), settings)
            if each.order_by
        }
    return Board(cover_of_facts(session, by, frame, facts, settings), order_by)


def use_by_day(session: Session, by: UseBy, key: str, asked: Asked, settings: Settings) -> UseOut:
    """Read what was used of something on each day of the longest window.

    Raises:
        Refused: `not-found` where there is no such key.
    """
    frame = frame_of(asked, settings)
    windows = sorted({frame.asked, *frame.usual})
    longest = windows[-1]
    facts = read(session, frame.as_of, settings, days=longest.days, sites=by == "site")
    tally = add_up(facts, by, longest.first).found.get(fold_name(key))
    if tally is None:
        raise Refused("not-found", f"There is no {by} {key} in stock, in use or on order.")
    house = calendar_of(settings)
    found = [cover_of(tally, each, frame.as_of, frame.calendar) for each in windows]
    return UseOut(
        by=by, key=tally.key, name=tally.name, as_of=frame.as_of, open_days=frame.open_days,
        windows=[
            AverageOut(
                window_days=over.days, first_on=over.first, counted_days=over.counted,
                used_g=round(each.used_g), daily_use_kg=kg_a_day(each.daily_g),
            )
            for over, each in zip(windows, found, strict=True)
        ],
        days=[
            UsedDay(on=day, used_g=round(tally.drawn.get(day, 0)), open=house.is_open(day))
            for day in days_between(longest.first, frame.as_of)
        ],
    )  # fmt: skip


def age_by_month(session: Session, settings: Settings) -> AgeMonthsOut:
    """Add up green on hand by whole months since its harvest, and since its arrival."""
    return by_month(list(aged_lots(session, settings).values()), settings)


def by_month(lots: Sequence[AgedLot], settings: Settings) -> AgeMonthsOut:
    """Add up lots by age, what has no age at the end."""
    today = today_here()
    found: defaultdict[tuple[CountedFrom, int | None], list[AgedLot]] = defaultdict(list)
    for lot in lots:
        harvested = lot.harvest_ended_on
        months = None if harvested is None else months_since(harvested, today)
        found["harvest", months].append(lot)
        found["arrival", months_since(lot.received_on, today)].append(lot)
    in_order = sorted(found, key=lambda each: (each[0] == "arrival", each[1] is None, each[1] or 0))
    return AgeMonthsOut(
        as_of=today,
        amber_months=settings.crop_amber_months,
        red_months=settings.crop_red_months,
        items=[_month(counted_from, months, found[counted_from, months])
               for counted_from, months in in_order],
    )  # fmt: skip


def _month(counted_from: CountedFrom, months: int | None, lots: Sequence[AgedLot]) -> AgeMonth:
    return AgeMonth(
        counted_from=counted_from,
        months=months,
        lots=len(lots),
        on_hand_g=sum(lot.on_hand_g for lot in lots),
        held_g=sum(lot.on_hand_g for lot in lots if lot.held),
    )
