"""The green store of the scenario: racks, sacks for the drums, readings and counts."""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from random import Random

from app.green.instruments.actions import calibrate
from app.green.instruments.rules import CalibrationResult
from app.green.instruments.schemas import CalibrationIn
from app.green.readings.actions import read
from app.green.readings.schemas import ReadingIn
from app.ledger import actions as ledger
from app.ledger.schemas import AdjustmentIn, HoldIn
from app.places import actions as places
from app.places.schemas import MoveIn
from app.roasting.styles.actions import change_style
from app.roasting.styles.schemas import StyleChange
from app.shared.mass import kg_from_grams
from app.shared.staff import Role
from app.shared.times import text
from seed.diary import Diary
from seed.roastery import CLIMATE_AT, COFFEES, METER, ROASTER_SIDE, ROASTINGS, STAFF, Coffee

SCRAP_G = 1100
"""What is left in an opened sack is taken along below this: within what `emptied` allows."""
REMEASURED_AFTER = 20


@dataclass
class StandingSack:
    """A sack in the store, as the people there know it."""

    code: str
    left_g: int
    beside: bool = False
    """Whether it stands beside the roasters."""


@dataclass
class StandingLot:
    """A lot that has arrived."""

    code: str
    coffee: Coffee
    sacks: list[StandingSack]
    wet: list[StandingSack]
    moisture_bp: int
    """Hundredths of a per cent."""
    measure_on: int = 0
    """The day on which it is measured next, once it was let in."""


@dataclass(frozen=True)
class Draw:
    """So much out of a sack."""

    sack: StandingSack
    grams: int
    emptied: bool = False

    def body(self) -> dict[str, object]:
        """Write it as the API reads it."""
        return {
            "sack": self.sack.code, "kg": kg_from_grams(self.grams), "emptied": self.emptied,
        }  # fmt: skip


@dataclass
class Pile:
    """What there is of one coffee."""

    whole: deque[StandingSack] = field(default_factory=deque)
    opened: StandingSack | None = None
    waiting_g: int = 0
    """On hold since it arrived."""

    def on_hand_g(self) -> int:
        """Everything that was delivered and is not used."""
        opened_g = self.opened.left_g if self.opened else 0
        return self.waiting_g + opened_g + sum(sack.left_g for sack in self.whole)


class GreenStore:
    """The racks and what stands in them."""

    def __init__(self, diary: Diary, chance: Random) -> None:
        self._diary = diary
        self._chance = chance
        self.piles = {coffee: Pile() for coffee in COFFEES}
        self._lots: list[StandingLot] = []
        self._let_in: set[Coffee] = set()
        """Coffees of which lots came in since the cards of their styles were written."""

    def let_in(self, lot: StandingLot) -> None:
        """Take in a lot that quality has released, behind what is there already."""
        pile = self.piles[lot.coffee]
        pile.whole.extend(lot.sacks)
        pile.waiting_g -= sum(sack.left_g for sack in lot.sacks)
        lot.measure_on = self._diary.number + REMEASURED_AFTER
        self._lots.append(lot)
        self._let_in.add(lot.coffee)

    def name_lots(self) -> None:
        """Write onto the cards of styles which lots their charges are taken from, oldest first."""
        for roasting in ROASTINGS:
            if roasting.coffee not in self._let_in:
                continue
            lots = [
                lot.code
                for lot in self._lots
                if lot.coffee == roasting.coffee and any(sack.left_g for sack in lot.sacks)
            ]
            slot = {"share_pct": 100, "lots": lots, "component": roasting.coffee.name}
            pen = self._diary.hand(STAFF[Role.QUALITY], self._diary.at(5, 50))
            change_style(pen, roasting.name, StyleChange.model_validate({"green": [slot]}), "*")
        self._let_in.clear()

    def stop_a_lot(self) -> None:
        """Stop the newest lot: somebody smelt something, and quality has not looked at it yet."""
        asked = HoldIn(units=[self._lots[-1].code], reason="smells of diesel, waits to be cupped")
        ledger.hold(self._diary.hand(STAFF[Role.WAREHOUSE], self._diary.at(17, 30)), asked)

    def draw_whole(self, coffee: Coffee) -> list[Draw]:
        """Take the oldest whole sack, all of it; the scale sometimes differs from the book."""
        sack = self._next_sack(coffee)
        grams = sack.left_g
        differs = self._chance.random() < 0.12  # noqa: PLR2004 - one sack in eight
        if differs:
            grams += 10 * self._chance.choice([-38, -24, -15, -9, 8, 13, 21])
        sack.left_g = 0
        return [Draw(sack, grams, emptied=differs)]

    def draw_part(self, coffee: Coffee, grams: int) -> list[Draw]:
        """Take some out of the opened sack; empty it when little would stay, and open the next."""
        pile = self.piles[coffee]
        sack = pile.opened or self._next_sack(coffee)
        pile.opened = sack
        if sack.left_g > grams + SCRAP_G:
            sack.left_g -= grams
            return [Draw(sack, grams)]
        pile.opened = None
        scale_g = sack.left_g + 10 * self._chance.randint(-30, 20)
        rest = grams - scale_g
        sack.left_g = 0
        emptied = Draw(sack, scale_g, emptied=True)
        return [emptied, *self.draw_part(coffee, rest)] if rest > SCRAP_G else [emptied]

    def _next_sack(self, coffee: Coffee) -> StandingSack:
        whole = self.piles[coffee].whole
        if not whole:
            # Deliveries leave weeks of margin, and the scenario goes the same way every time.
            raise RuntimeError(f"the scenario ran out of {coffee.name}")
        return whole.popleft()

    def bring(self, draws: Sequence[Draw], moved: datetime, booked: datetime | None) -> None:
        """Carry the sacks of these draws from the rack to the roasters."""
        sacks = {draw.sack.code: draw.sack for draw in draws if not draw.sack.beside}
        if not sacks:
            return
        for sack in sacks.values():
            sack.beside = True
        asked = MoveIn.model_validate(
            {"sacks": list(sacks), "to": ROASTER_SIDE, "moved_at": text(moved)}
        )  # fmt: skip
        places.move(self._diary.hand(STAFF[Role.WAREHOUSE], moved, booked=booked), asked)

    def measure(self) -> None:
        """Measure the moisture of lots that are due; it drifts towards what the room makes it."""
        self._check_the_meter()
        due = [lot for lot in self._lots if lot.measure_on == self._diary.number]
        for number, lot in enumerate(due):
            if not any(sack.left_g for sack in lot.sacks):
                self._lots.remove(lot)
                continue
            lot.moisture_bp += (1120 - lot.moisture_bp) // 5 + self._chance.randint(-9, 9)
            lot.measure_on += REMEASURED_AFTER
            self.read(lot.code, "moisture", Decimal(lot.moisture_bp) / 100, (14, 10 + 6 * number))

    def _check_the_meter(self) -> None:
        """Hold the meter against the oven every eleven weeks; twice it has gone off and is set."""
        if not self._diary.on_day(55, 10):
            return
        off = self._diary.number % 110 == 65  # noqa: PLR2004 - the second and the fourth time
        results = (CalibrationResult.FAILED, CalibrationResult.ADJUSTED)
        for number, result in enumerate(results if off else (CalibrationResult.PASSED,)):
            held = CalibrationIn.model_validate({
                "calibrated_on": self._diary.today, "against": "ISO 6673", "result": result,
                "offset": Decimal("-0.4") if result is CalibrationResult.FAILED else None,
            })  # fmt: skip
            pen = self._diary.hand(STAFF[Role.QUALITY], self._diary.at(13, 40 + 10 * number))
            calibrate(pen, METER, held)

    def read_climate(self) -> None:
        """Read the thermometer early in the morning; what it said is typed in after work."""
        if not self._diary.on_day(5, 1):
            return
        warm = Decimal(self._chance.randint(178, 226)) / 10
        damp = Decimal(self._chance.randint(49, 63))
        self.read(CLIMATE_AT, "temperature", warm, (5, 10), typed=(16, 20))
        self.read(CLIMATE_AT, "relative_humidity", damp, (5, 10), typed=(16, 20))

    def read(
        self,
        subject: str,
        kind: str,
        value: Decimal,
        taken: tuple[int, int],
        typed: tuple[int, int] | None = None,
    ) -> None:
        """Take a reading at an hour and minute of today."""
        taken_at = self._diary.at(*taken)
        asked = ReadingIn.model_validate({
            "subject": subject, "kind": kind, "value": value, "taken_at": text(taken_at),
            "instrument": {"moisture": "MM-2", "water_activity": "AW-1"}.get(kind, "TH-4"),
        })  # fmt: skip
        booked = self._diary.at(*typed) if typed else None
        read(self._diary.hand(STAFF[Role.QUALITY], taken_at, booked=booked), asked)

    def count(self) -> None:
        """Weigh the opened sacks once a month and book what differs."""
        if not self._diary.on_day(21, 20):
            return
        opened = [pile.opened for pile in self.piles.values() if pile.opened]
        for number, sack in enumerate(opened):
            differs = 50 * self._chance.randint(-9, 4)
            if differs and sack.left_g + differs > 0:
                self.adjust(sack, differs, "count", "monthly count", (15, 10 + 5 * number))

    def adjust(
        self, sack: StandingSack, grams: int, reason: str, note: str, happened: tuple[int, int]
    ) -> None:
        """Book a change of a sack at an hour and minute of today."""
        at = self._diary.at(*happened)
        asked = AdjustmentIn.model_validate({
            "unit": sack.code, "kg": kg_from_grams(grams), "reason": reason, "note": note,
            "happened_at": text(at),
        })  # fmt: skip
        ledger.adjust(self._diary.hand(STAFF[Role.WAREHOUSE], at), asked)
        sack.left_g += grams
