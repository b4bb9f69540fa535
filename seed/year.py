"""The year as it goes: which days are worked and what is done on each."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from random import Random

from sqlalchemy import Engine

from app.roasting.machines import clean_down
from app.roasting.schemas import CleanDownIn
from app.settings import Settings
from app.shared.db import batched, writing
from app.shared.times import text
from seed.arrivals import Arrivals
from seed.buyers_desk import BuyersDesk
from seed.diary import Diary
from seed.dispatch_desk import DispatchDesk, bags_ordered
from seed.furnishing import MACHINE_KINDS, furnish
from seed.green_store import GreenStore
from seed.packing_room import PackingRoom
from seed.roast_room import RoastRoom
from seed.roastery import SECOND_ROASTER

DAYS_A_COMMIT = 5
YULE = ((12, 24), (1, 1))
"""The first and the last day of the winter holidays."""


@dataclass(frozen=True)
class Worth:
    """Codes in the book that are worth a trace."""

    sack: str | None
    """Roasted whole, and on its way to customers."""
    wet_lot: str | None
    """A lot of which a sack came wet and was destroyed."""
    set_aside: str | None
    """A roast that missed a check, was tasted and released."""


@dataclass(frozen=True)
class Played:
    """What was played."""

    first: date
    last: date
    days: int
    worth: Worth


class Roastery:
    """All rooms, and a day in them."""

    def __init__(self, diary: Diary, seed: int) -> None:
        chance = Random(seed)  # noqa: S311 - a scenario, not a secret
        self._diary = diary
        self._store = GreenStore(diary, chance)
        self._buyer = BuyersDesk(diary)
        self._arrivals = Arrivals(diary, self._store, self._buyer, chance)
        self._roasts = RoastRoom(diary, self._store, chance)
        self._packing = PackingRoom(diary, self._roasts, chance)
        self._desk = DispatchDesk(diary, chance)

    def open_up(self) -> None:
        """Enter the cards and take in the first green: the day before the first roast."""
        furnish(self._diary)
        self._arrivals.take_deliveries()
        self._arrivals.inspect(13)
        self._store.name_lots()

    def work(self) -> None:
        """Work a day: roast, blend, pack and send to order, so that nothing stays on the shelf."""
        self._roasts.cup()
        self._arrivals.inspect(5)
        self._store.name_lots()
        orders = self._desk.orders()
        plan = self._packing.plan(bags_ordered(orders))
        self._roasts.cover(plan.needs)
        self._arrivals.take_deliveries()
        shelf = self._packing.work(plan)
        self._desk.send(orders, shelf)
        self._store.measure()
        self._arrivals.destroy_wet()
        self._store.count()
        self._roasts.sweep()
        self._desk.take_back()
        self._store.read_climate()
        self._desk.decide_returns()
        self._clean_down()

    def leave(self) -> None:
        """Leave the desks as they are on the last evening."""
        self._store.stop_a_lot()
        self._buyer.look_ahead()

    def _clean_down(self) -> None:
        """Clean one machine after work every other day, in turn."""
        if self._diary.on_day(2, 0):
            machine = list(MACHINE_KINDS)[self._diary.number // 2 % len(MACHINE_KINDS)]
            at = self._diary.at(16, 50)
            asked = CleanDownIn.model_validate({"cleaned_at": text(at)})
            clean_down(self._diary.hand(SECOND_ROASTER, at), machine, asked)

    @property
    def worth(self) -> Worth:
        """What is worth a trace by now."""
        return Worth(self._roasts.sack, self._arrivals.wet_lot, self._roasts.set_aside)


def play(
    engine: Engine,
    settings: Settings,
    *,
    last_day: date,
    days: int | None = None,
    seed: int = 1,
    on_day: Callable[[int, int], None] | None = None,
) -> Played:
    """Play the scenario into an empty and migrated book.

    Without `days` it is the year that ends on `last_day`. The same seed, days and last day make
    the same book, to the last hash. `on_day` is told how many days are done, of how many.
    """
    worked = working_days(last_day, days)
    diary = Diary(_house(settings), worked)
    roastery = Roastery(diary, seed)
    for numbers in batched(range(len(worked)), DAYS_A_COMMIT):
        with writing(engine) as session:
            diary.open(session)
            for diary.number in numbers:
                if diary.number == 0:
                    roastery.open_up()
                else:
                    roastery.work()
                if diary.number == len(worked) - 1:
                    roastery.leave()
                if on_day is not None:
                    on_day(diary.number, len(worked) - 1)
    return Played(worked[1], worked[-1], len(worked) - 1, roastery.worth)


def _house(settings: Settings) -> Settings:
    """Give the scenario the rules it was written for, whatever the environment says."""
    return settings.model_copy(
        update={
            "hold_on_arrival": True,
            "hold_wet_on_arrival": True,
            "emptied_tolerance_pct": Decimal(2),
            "ahead_minutes": 5,
            "moisture_range_pct": (Decimal(8), Decimal("12.5")),
            "water_activity_below": Decimal("0.70"),
            "hold_on_alarm": frozenset({"moisture_high", "water_activity_high"}),
        }
    )


def working_days(last_day: date, days: int | None) -> list[date]:
    """Name the working days, oldest first, after the one on which the roastery is set up."""
    worked: list[date] = []
    for day in _back_from(last_day):
        if days is None and day <= last_day - timedelta(days=365):
            days = len(worked)
        if _works_on(day):
            worked.append(day)
        if days is not None and len(worked) > days:
            break
    return worked[::-1]


def _back_from(day: date) -> Iterator[date]:
    while True:
        yield day
        day -= timedelta(days=1)


def _works_on(day: date) -> bool:
    monday_to_friday = day.weekday() < 5  # noqa: PLR2004 - Saturday is 5
    holidays = (day.month, day.day)
    return monday_to_friday and not (holidays >= YULE[0] or holidays <= YULE[1])
