"""The buyer's desk of the scenario: contracts, what green cost, and what lies ahead at the end."""

from collections.abc import Sequence
from datetime import timedelta
from decimal import Decimal

from app.cover.cards.queries import PLANNING_CARDS
from app.cover.cards.schemas import PlanningCardIn
from app.green.contracts.actions import add_contract
from app.green.contracts.schemas import ContractIn
from app.ledger.cards import add
from app.roasting.batches.actions import plan
from app.roasting.batches.schemas import BatchesIn
from app.sending.orders.actions import add_order
from app.sending.orders.schemas import OrderIn
from app.sending.standing.actions import add_standing_order
from app.sending.standing.rules import WEEKDAYS
from app.sending.standing.schemas import StandingIn
from app.shared.mass import kg_from_grams
from app.shared.staff import Role
from app.value.actions import add_cost
from app.value.schemas import CostIn
from seed.diary import Diary
from seed.roastery import (
    BIG_DRUM,
    CUSTOMERS,
    ESPRESSO,
    GHAT,
    KIBOKO,
    NUBE,
    PRICES,
    SERRA,
    STAFF,
    TORTUGA,
    WENZI,
    Coffee,
    Roasting,
    green_a_day,
)

FREIGHT_A_TONNE = 190
"""What the lorry costs, in euros."""
AHEAD = (
    # coffee, days of use, ordered, shipped from, expected: days from the last day on
    (SERRA, 40, -45, -20, 24),
    (WENZI, 30, -95, -60, -4),
    (NUBE, 25, -30, -9, 17),
    (KIBOKO, 60, -12, 30, 96),
)
"""What is bought and has not come when the scenario ends: afloat, late, afloat, forward."""
PLANNED = (
    (SERRA, {"lead_time_days": 60, "lead_time_sd_days": 7, "order_unit": "pallet"}),
    (TORTUGA, {"lead_time_days": 14, "lead_time_sd_days": 3, "order_unit": "sack"}),
    (WENZI, {"harvest_bound": True, "lead_time_days": 75, "service_pct": 98}),
    (GHAT, {"lead_time_days": 10, "lead_time_sd_days": 2, "review_days": 14}),
)
"""How some of it is bought; the rest by what is measured, agreed or usual."""


class BuyersDesk:
    """Where green is bought, and where customers' orders lie."""

    def __init__(self, diary: Diary) -> None:
        self._diary = diary
        self._contracts = 0

    def agree(self, supplier: str, wanted: Sequence[tuple[Coffee, int]]) -> str:
        """Enter the contract that a delivery is for; it was agreed weeks ago."""
        self._contracts += 1
        took = 40 + 7 * (self._contracts % 4)
        one = wanted[0][0] if len(wanted) == 1 else None
        return self._enter(
            supplier, sum(coffee.sack_g * sacks for coffee, sacks in wanted), one,
            ordered_on=str(self._diary.today - timedelta(days=took)),
        )  # fmt: skip

    def _enter(self, supplier: str, grams: int, coffee: Coffee | None, **more: object) -> str:
        reference = f"PC-{700 + self._contracts}"
        meant = {} if coffee is None else {"component": coffee.name, "origin": coffee.origin}
        asked = ContractIn.model_validate({
            "reference": reference, "supplier": supplier, "quantity_kg": kg_from_grams(grams),
            "weight_basis": "landed", **meant, **more,
        })  # fmt: skip
        pen = self._diary.hand(STAFF[Role.BUYER], self._diary.at(9, 10))
        add_contract(pen, asked, prices=True)
        return reference

    def pay(self, delivery: str, lots: Sequence[tuple[Coffee, str, int]]) -> None:
        """Book what the lots of a delivery cost, each by its price, and the freight of all."""
        at = self._diary.at(11, 20)
        for coffee, code, _ in lots:
            price, currency, unit = PRICES[coffee]
            bought = CostIn.model_validate({
                "lot": code, "kind": "purchase", "price": price, "currency": currency,
                "price_unit": unit,
            })  # fmt: skip
            add_cost(self._diary.hand(STAFF[Role.BUYER], at), bought)
        grams = sum(grams for *_, grams in lots)
        freight = Decimal(grams * FREIGHT_A_TONNE // 10_000) / 100
        asked = CostIn.model_validate({
            "delivery": delivery, "kind": "freight", "amount": freight, "currency": "EUR",
        })  # fmt: skip
        add_cost(self._diary.hand(STAFF[Role.BUYER], at), asked)

    def look_ahead(self) -> None:
        """Leave the desk on the last day: what is to come, what is wanted, what is planned."""
        self._contract_ahead()
        for coffee, said in PLANNED:
            card = {"item": f"component:{coffee.name}", "unit_kg": kg_from_grams(coffee.sack_g)}
            if said.get("order_unit") == "pallet":
                card["unit_kg"] = kg_from_grams(10 * coffee.sack_g)
            pen = self._diary.hand(STAFF[Role.BUYER], self._diary.at(17, 45))
            add(pen, PLANNING_CARDS, PlanningCardIn.model_validate(card | said))
        self._wanted()
        pen = self._diary.hand(STAFF[Role.ROASTER], self._diary.at(18, 10))
        plan(pen, BatchesIn.model_validate({
            "on": str(self._diary.today + timedelta(days=1)), "count": 3,
            "style": Roasting(SERRA, ESPRESSO).name, "machine": BIG_DRUM, "charge_kg": 60,
        }))  # fmt: skip

    def _contract_ahead(self) -> None:
        use = green_a_day()
        for coffee, days, ordered, shipped, expected in AHEAD:
            self._contracts += 1
            price, currency, unit = PRICES[coffee]
            sacks = -(-days * use[coffee] // coffee.sack_g)
            self._enter(
                coffee.supplier, sacks * coffee.sack_g, coffee, ordered_on=self._on(ordered),
                shipped_from=self._on(shipped), shipped_until=self._on(shipped + 14),
                expected_on=self._on(expected), price=price, currency=currency, price_unit=unit,
            )  # fmt: skip

    def _on(self, days: int) -> str:
        return str(self._diary.today + timedelta(days=days))

    def _wanted(self) -> None:
        """Take the orders that wait, one of them late, and those that come round every week."""
        for number, customer in enumerate(CUSTOMERS[6:12]):
            lines = [{"product": sku, "bags": bags} for sku, bags in customer.basket.items()]
            asked = OrderIn.model_validate({
                "customer": customer.name, "reference": f"PO-{410 + number}", "lines": lines,
                "due_on": self._on(number - 1 if number else -1),
            })  # fmt: skip
            add_order(self._diary.hand(STAFF[Role.BUYER], self._diary.at(17, 55)), asked)
        for number, customer in enumerate(CUSTOMERS[:6], 1):
            asked_again = StandingIn.model_validate({
                "code": f"STD-{number}", "customer": customer.name, "starts_on": self._on(1),
                "weekdays": [WEEKDAYS[int(day)] for day in customer.days],
                "lines": [{"product": sku, "bags": bags} for sku, bags in customer.basket.items()],
            })  # fmt: skip
            pen = self._diary.hand(STAFF[Role.BUYER], self._diary.at(18))
            add_standing_order(pen, asked_again)
