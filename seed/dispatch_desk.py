"""The dispatch desk of the scenario: the day's orders, what leaves, what comes back."""

from collections import Counter, deque
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from random import Random
from typing import NamedTuple

from app.ledger import actions as ledger
from app.ledger.schemas import AdjustmentIn, ReleaseIn, VoidIn
from app.sending import actions as sending
from app.sending.schemas import DispatchIn, DispatchOut, ReturnIn, ReturnOut
from app.shared.mass import kg_from_grams
from app.shared.staff import Role
from app.shared.times import text
from seed.diary import Diary
from seed.roastery import CUSTOMERS, STAFF, TASTING_ROOM

DAYS_OUT = 3
"""After so many working days something comes back, when it does."""
WHY_BACK = (
    "bags dented in the van, customer refused them",
    "ordered by mistake",
    "two seals open on arrival",
)


@dataclass(frozen=True)
class Order:
    """What a customer wants today."""

    customer: str
    bags: Mapping[str, int]
    """By product."""


class Back(NamedTuple):
    """Bags that came back and wait for quality."""

    decide_on: int
    returned: ReturnOut


class DispatchDesk:
    """Where orders come in and the van leaves."""

    def __init__(self, diary: Diary, chance: Random) -> None:
        self._diary = diary
        self._chance = chance
        self._sent: deque[list[DispatchOut]] = deque(maxlen=DAYS_OUT)
        self._back: list[Back] = []
        self._returns = self._orders = 0

    def orders(self) -> list[Order]:
        """Take the orders of the customers whose day it is."""
        today = str(self._diary.number % 5)
        return [
            Order(customer.name, {
                sku: max(1, bags * self._chance.randint(78, 124) // 100)
                for sku, bags in customer.basket.items()
            })
            for customer in CUSTOMERS if today in customer.days
        ]  # fmt: skip

    def send(self, orders: list[Order], shelf: Mapping[str, str]) -> None:
        """Send every order of the day; now and then the last is booked when the van is back."""
        sent = []
        for number, order in enumerate(orders):
            at = self._diary.at(13, 50 + 9 * number)
            last = number == len(orders) - 1
            late = self._diary.at(17, 40) if last and self._diary.on_day(6, 1) else None
            if last and self._diary.on_day(70, 20):
                self._book_wrongly(order, shelf, at)
            sent.append(self._dispatch(order.customer, order, shelf, at, late))
        self._sent.append(sent)

    def _dispatch(
        self,
        customer: str,
        order: Order,
        shelf: Mapping[str, str],
        at: datetime,
        late: datetime | None = None,
    ) -> DispatchOut:
        self._orders += 1
        asked = DispatchIn.model_validate({
            "customer": customer, "reference": f"SO-{20_000 + self._orders}",
            "dispatched_at": text(at),
            "lines": [{"pack": shelf[sku], "bags": bags} for sku, bags in order.bags.items()],
        })  # fmt: skip
        return sending.dispatch(
            self._diary.hand(STAFF[Role.WAREHOUSE], at, booked=late), asked
        )  # fmt: skip

    def _book_wrongly(self, order: Order, shelf: Mapping[str, str], at: datetime) -> None:
        """Book an order to somebody else, see it, void it."""
        wrong = self._dispatch(CUSTOMERS[0].name, order, shelf, at)
        pen = self._diary.hand(STAFF[Role.WAREHOUSE], at)
        ledger.void(pen, wrong.code, VoidIn(reason="booked to the wrong customer"))

    def take_back(self) -> None:
        """Take back some bags of an order that went out days ago: they wait on hold."""
        if not self._diary.on_day(14, 8) or len(self._sent) < DAYS_OUT:
            return
        out = self._sent[0][self._returns % len(self._sent[0])]
        line, at = out.lines[0], self._diary.at(15, 50)
        asked = ReturnIn.model_validate({
            "dispatch": out.code, "returned_at": text(at), "reason": WHY_BACK[self._returns % 3],
            "lines": [{"pack": line.pack, "bags": min(line.bags, self._chance.randint(1, 4))}],
        })  # fmt: skip
        back = sending.take_back(self._diary.hand(STAFF[Role.WAREHOUSE], at), asked)
        self._returns += 1
        self._back.append(Back(self._diary.number + 2, back))

    def decide_returns(self) -> None:
        """Send on what came back sound, destroy what did not."""
        due = [back for back in self._back if back.decide_on == self._diary.number]
        for _, back in due:
            at = self._diary.at(16, 30)
            spoilt = back.reason == WHY_BACK[2]
            if spoilt:
                self._destroy(back, at)
            why = "destroyed, nothing left to hold" if spoilt else "closed, dry and clean"
            pen = self._diary.hand(STAFF[Role.QUALITY], at)
            ledger.release(pen, back.hold, ReleaseIn(reason=why))
            if not spoilt:
                line = back.lines[0]
                order = Order(TASTING_ROOM, {line.product: line.bags})
                self._dispatch(TASTING_ROOM, order, {line.product: line.code}, at)

    def _destroy(self, back: ReturnOut, at: datetime) -> None:
        for line in back.lines:
            asked = AdjustmentIn.model_validate({
                "unit": line.code, "kg": kg_from_grams(-line.grams), "reason": "destroyed",
                "note": "seals open", "happened_at": text(at),
            })  # fmt: skip
            ledger.adjust(self._diary.hand(STAFF[Role.QUALITY], at), asked)


def bags_ordered(orders: list[Order]) -> Counter[str]:
    """Add up the bags of each product."""
    bags: Counter[str] = Counter()
    for order in orders:
        bags.update(order.bags)
    return bags
