"""How green coffee arrives in the scenario: ordered, received on hold, inspected, released."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from random import Random
from typing import Any

from sqlalchemy import select
from sqlmodel import col

from app.green import actions as green
from app.green.arrivals import facts
from app.green.arrivals.holds import ARRIVAL
from app.green.arrivals.rules import SIGNS
from app.green.arrivals.schemas import CountIn, InspectionIn, WeightIn
from app.green.certificates.actions import put_on_record
from app.green.certificates.schemas import LotCertificateIn
from app.green.schemas import DeliveryIn, LotReceived
from app.ledger import actions as ledger
from app.ledger.posting import Pen
from app.ledger.schemas import ReleaseIn
from app.ledger.tables import Hold, HoldUnit, Unit
from app.shared.mass import kg_from_grams
from app.shared.staff import Role
from app.shared.times import text
from seed import evidence
from seed.buyers_desk import BuyersDesk
from seed.diary import Diary
from seed.green_store import GreenStore, StandingLot, StandingSack
from seed.roastery import COFFEES, QUARANTINE, RACKS, STAFF, SUPPLIERS, Coffee, green_a_day

ORDER_AT_DAYS, ORDER_UP_TO_DAYS, FEWEST_SACKS = 26, 46, 4
"""The buyer orders what would last less than the first, up to the second."""
TOO_MOIST_BP = 1250
"""Above this, in hundredths of a per cent, a lot stays on hold."""
SAMPLE_G = 150
Groups = list[dict[str, object]]


@dataclass(frozen=True)
class Waiting:
    """Lots under one hold, and the day on which quality looks at them."""

    hold: int
    lots: list[StandingLot]
    look_on: int


class Arrivals:
    """The gate of the green store, and who decides there."""

    def __init__(self, diary: Diary, store: GreenStore, buyer: BuyersDesk, chance: Random) -> None:
        self._diary = diary
        self._buyer = buyer
        self._store = store
        self._chance = chance
        self._a_day = green_a_day()
        self._waiting: list[Waiting] = []
        self._doomed: list[tuple[int, int, StandingLot]] = []
        """The day on which a lot's wet sacks are destroyed, and the hold they are under."""
        self._lots = self._deliveries = 0
        self.wet_lot: str | None = None
        """The last lot of which a sack came wet and was destroyed."""

    def take_deliveries(self) -> None:
        """Receive what the buyer ordered: on the first day everything, then every other week."""
        if self._diary.number and not self._diary.on_day(9, 4):
            return
        for number, supplier in enumerate(SUPPLIERS):
            wanted = [
                (coffee, sacks)
                for coffee in COFFEES
                if coffee.supplier == supplier and (sacks := self._wanted(coffee))
            ]
            if wanted:
                self._receive(supplier, wanted, self._diary.at(10, 40 + 15 * number))

    def _wanted(self, coffee: Coffee) -> int:
        there, use = self._store.piles[coffee].on_hand_g(), self._a_day[coffee]
        if there >= ORDER_AT_DAYS * use:
            return 0
        return max(FEWEST_SACKS, -(-(ORDER_UP_TO_DAYS * use - there) // coffee.sack_g))

    def _receive(
        self, supplier: str, wanted: Sequence[tuple[Coffee, int]], arrived: datetime
    ) -> None:
        self._deliveries += 1
        lots = [self._lot(coffee, sacks) for coffee, sacks in wanted]
        asked = DeliveryIn.model_validate({
            "supplier": supplier, "reference": f"DN-{1040 + self._deliveries}",
            "received_at": text(arrived), "lots": lots,
            "contract": self._buyer.agree(supplier, wanted),
        })  # fmt: skip
        pen = self._diary.hand(STAFF[Role.WAREHOUSE], arrived)
        delivery = green.receive(pen, asked)
        received = delivery.lots
        _check_off(pen, asked, received)
        arrived_lots = [
            _standing(coffee, there, int(Decimal(str(lot["moisture_pct"])) * 100))
            for (coffee, _), lot, there in zip(wanted, lots, received, strict=True)
        ]
        for lot in arrived_lots:
            self._store.piles[lot.coffee].waiting_g += sum(sack.left_g for sack in lot.sacks)
        on_arrival = _hold_on(pen, received[0].code, ARRIVAL)
        self._buyer.pay(delivery.code, [
            (lot.coffee, lot.code, sum(sack.left_g for sack in [*lot.sacks, *lot.wet]))
            for lot in arrived_lots
        ])  # fmt: skip
        for (coffee, _), there in zip(wanted, received, strict=True):
            if coffee.certificate is not None:
                paper = LotCertificateIn(certificate=coffee.certificate)
                put_on_record(self._diary.hand(STAFF[Role.BUYER], arrived), there.code, paper)
        self._file_evidence(delivery.code, arrived, wanted, lots, received)
        # What is there when the scenario begins is inspected the same day.
        look_on = self._diary.number + 1 if self._diary.number else 0
        self._waiting.append(Waiting(on_arrival, arrived_lots, look_on))

    def _file_evidence(
        self,
        delivery: str,
        arrived: datetime,
        wanted: Sequence[tuple[Coffee, int]],
        lots: Sequence[dict[str, Any]],
        received: Sequence[LotReceived],
    ) -> None:
        """File what came with the papers on where the coffee grew."""
        pen = self._diary.hand(STAFF[Role.BUYER], arrived)
        evidence.say_role(pen, delivery)
        for (coffee, _), lot, there in zip(wanted, lots, received, strict=True):
            evidence.file_evidence(pen, coffee, there.code, lot["harvest_ended_on"])

    def _lot(self, coffee: Coffee, sacks: int) -> dict[str, Any]:
        """Describe a lot as it comes off the lorry."""
        self._lots += 1
        odd = self._odd_sacks(coffee)
        too_moist = self._lots % 15 == 9  # noqa: PLR2004 - one lot in fifteen
        moisture = 129 if too_moist else self._chance.randint(104, 121)
        day = self._diary.today
        return {
            "name": f"{coffee.name}, {coffee.process}", "origin": coffee.origin,
            "process": coffee.process, "crop_year": f"{day.year - 1}/{day.year % 100:02d}",
            "ico_mark": f"{coffee.exporter}-{300 + self._lots:04d}" if coffee.exporter else None,
            "harvest_ended_on": day - timedelta(days=75 + 23 * (self._lots % 9)),
            "advised_kg": kg_from_grams(sacks * coffee.sack_g),
            "moisture_pct": Decimal(moisture) / 10,
            "sacks": odd + self._sound_sacks(coffee, sacks - len(odd)),
        }  # fmt: skip

    def _odd_sacks(self, coffee: Coffee) -> Groups:
        """Find what is not as it should be: a slack sack, a torn one, seldom a wet one."""
        rack = self._rack(0)
        odd: Groups = []
        for condition, likely, less in (("slack", 0.4, (8, 30)), ("torn", 0.2, (2, 9))):
            if self._chance.random() < likely:
                net_g = coffee.sack_g - 100 * self._chance.randint(*less)
                odd.append({
                    "net_kg": kg_from_grams(net_g), "condition": condition, "location": rack,
                })  # fmt: skip
        if self._lots % 10 == 1:
            net_g = coffee.sack_g + 100 * self._chance.randint(3, 12)
            odd.append({
                "net_kg": kg_from_grams(net_g), "condition": "wet", "location": QUARANTINE,
            })  # fmt: skip
        return odd

    def _sound_sacks(self, coffee: Coffee, sacks: int) -> Groups:
        second = sacks // 2 if sacks > 20 else 0  # noqa: PLR2004 - more than stand in one rack
        places = ((sacks - second, self._rack(0)), (second, self._rack(1)))
        return [
            {"count": count, "net_kg": kg_from_grams(coffee.sack_g), "location": rack}
            for count, rack in places
            if count
        ]

    def _rack(self, further: int) -> str:
        return RACKS[(2 * self._lots + further) % len(RACKS)]

    def inspect(self, hour: int) -> None:
        """Look at what arrived: sample and measure it, and let in what is dry enough."""
        due = [waiting for waiting in self._waiting if waiting.look_on == self._diary.number]
        minute = 30
        for waiting in due:
            self._waiting.remove(waiting)
            for lot in waiting.lots:
                self._examine(lot, hour, minute)
                minute += 6
            self._decide(waiting, self._diary.at(hour, minute))

    def _examine(self, lot: StandingLot, hour: int, minute: int) -> None:
        moisture, activity = Decimal(lot.moisture_bp), self._chance.randint(520, 590)
        self._store.read(lot.code, "moisture", moisture / 100, (hour, minute))
        self._store.read(
            lot.code, "water_activity", Decimal(activity) / 1000, (hour, minute + 1)
        )  # fmt: skip
        for sack in lot.sacks[:2]:
            self._store.adjust(
                sack, -SAMPLE_G, "sample", "inspection on arrival", (hour, minute + 3)
            )
            self._store.piles[lot.coffee].waiting_g -= SAMPLE_G
        pen = self._diary.hand(STAFF[Role.QUALITY], self._diary.at(hour, minute + 4))
        note = "but for what came wet and stands apart" if lot.wet else None
        nothing = InspectionIn.model_validate({**dict.fromkeys(SIGNS, False), "note": note})
        facts.inspect(pen, lot.code, nothing)

    def _decide(self, waiting: Waiting, at: datetime) -> None:
        """Hold what must not go on by itself, then release the rest together."""
        pen = self._diary.hand(STAFF[Role.QUALITY], at)
        for lot in waiting.lots:
            if lot.moisture_bp > TOO_MOIST_BP:
                stands = _hold_on(pen, lot.code, "alarm: moisture")
                self._waiting.append(Waiting(stands, [lot], self._diary.number + 5))
                lot.moisture_bp -= 70
                continue
            if lot.wet:
                on_sacks = _hold_on(pen, lot.wet[0].code, "arrived wet")
                self._doomed.append((self._diary.number + 2, on_sacks, lot))
            self._store.let_in(lot)
        ledger.release(pen, waiting.hold, ReleaseIn(reason="counted, weighed, inspected"))

    def destroy_wet(self) -> None:
        """Throw away the sacks that came wet, once the supplier has seen the pictures."""
        for day, hold, lot in self._doomed:
            if day != self._diary.number:
                continue
            for sack in lot.wet:
                self._store.adjust(
                    sack, -sack.left_g, "destroyed", "wet and musty, claim settled", (14, 40)
                )
            pen = self._diary.hand(STAFF[Role.QUALITY], self._diary.at(14, 45))
            ledger.release(pen, hold, ReleaseIn(reason="destroyed, nothing left to hold"))
            self.wet_lot = lot.code


def _check_off(pen: Pen, papers: DeliveryIn, received: Sequence[LotReceived]) -> None:
    """Count and weigh what came: every sack that was invoiced is there."""
    for lot, there in zip(papers.lots, received, strict=True):
        found: Counter[str] = Counter()
        for group in lot.sacks:
            found[group.condition] += group.count or 1
        counted = CountIn.model_validate({"invoiced": len(there.sacks), **found})
        facts.count(pen, there.code, counted)
        facts.weigh_lot(pen, there.code, WeightIn())


def _hold_on(pen: Pen, code: str, reason: str) -> int:
    """Find the newest hold on a lot or sack whose reason begins so."""
    return pen.session.scalars(
        select(col(HoldUnit.hold_id))
        .join(Hold, col(Hold.id) == col(HoldUnit.hold_id))
        .join(Unit, col(Unit.id) == col(HoldUnit.unit_id))
        .where(col(Unit.code) == code, col(Hold.reason).startswith(reason))
        .order_by(col(HoldUnit.hold_id).desc())
        .limit(1)
    ).one()


def _standing(coffee: Coffee, received: LotReceived, moisture_bp: int) -> StandingLot:
    sacks = [StandingSack(sack.code, sack.net_g) for sack in received.sacks]
    apart = {sack.code for sack in received.sacks if sack.location == QUARANTINE}
    return StandingLot(
        received.code,
        coffee,
        [sack for sack in sacks if sack.code not in apart],
        [sack for sack in sacks if sack.code in apart],
        moisture_bp,
    )
