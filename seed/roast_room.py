"""The roast room of the scenario: what to charge, the roasts, what was set aside, what is ready."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from random import Random

from app.ledger import actions as ledger
from app.ledger.schemas import AdjustmentIn, VoidIn
from app.quality import actions as quality
from app.quality.schemas import CuppingIn
from app.roasting import actions as roasting
from app.roasting.schemas import RoastIn
from app.shared.mass import kg_from_grams
from app.shared.staff import Role
from app.shared.times import text
from seed.diary import Diary
from seed.green_store import Draw, GreenStore
from seed.roastery import BIG_DRUM, SECOND_ROASTER, SMALL_DRUM, STAFF, Roasting

WORTH_A_SACK_G = 20_000
"""Roasted coffee for which a whole sack goes into the big drum rather than parts into the small."""
LEAST_CHARGE_G, MOST_CHARGE_G = 9_000, 13_500
"""What the small drum is charged with; the end of an opened sack may come on top."""
SCOOP_G = 200
"""Nobody scoops less: then the last of an older roast stays where it is until the next day."""
DREGS_G = 60
"""Less than this at the bottom of a silo is swept out."""
MISSED_ONE_IN = 40
REJECTED_ONE_IN = 4
SAMPLE_G = 150


@dataclass
class Parcel:
    """A roast or a blend that is there to be used."""

    code: str
    left_g: int
    sacks: tuple[str, ...] = ()
    """What a roast was charged with."""
    missed: str | None = None
    """The check it missed, where it was set aside."""


@dataclass(frozen=True)
class Batch:
    """A charge that is to be roasted."""

    roasting: Roasting
    drum: str
    draws: list[Draw]

    @property
    def charge_g(self) -> int:
        """What goes in."""
        return sum(draw.grams for draw in self.draws)


Parts = dict[str, int]
"""Codes of what goes in, with grams."""


class RoastRoom:
    """Two drums, the silos behind them, and a table for what was set aside."""

    def __init__(self, diary: Diary, store: GreenStore, chance: Random) -> None:
        self._diary = diary
        self._store = store
        self._chance = chance
        self._silos: dict[Roasting, list[Parcel]] = {}
        self._aside: list[tuple[Roasting, Parcel]] = []
        self._missed = self._cupped = 0
        self.sack: str | None = None
        """The last sack that was roasted whole and went on to customers."""
        self.set_aside: str | None = None
        """The last roast that was set aside, released and went on to customers."""

    def cover(self, needs: Mapping[Roasting, int]) -> None:
        """Roast until there is enough of everything, and once more for what was set aside."""
        started = 0
        while True:
            batches = [
                batch
                for key, need in needs.items()
                for batch in self._plan(key, need - self._ready_g(key))
            ]
            if not batches:
                return
            self._roast_all(batches, started)
            started += 1

    def _ready_g(self, key: Roasting) -> int:
        return sum(parcel.left_g for parcel in self._silos.get(key, ()))

    def _plan(self, key: Roasting, short_g: int) -> list[Batch]:
        batches = []
        while short_g > 0:
            if short_g > WORTH_A_SACK_G:
                batch = Batch(key, BIG_DRUM, self._store.draw_whole(key.coffee))
            else:
                charge_g = short_g * 10_000 // (10_000 - key.style.loss_bp - 100)
                charge_g = min(max(-(-charge_g // 100) * 100, LEAST_CHARGE_G), MOST_CHARGE_G)
                batch = Batch(key, SMALL_DRUM, self._store.draw_part(key.coffee, charge_g))
            batches.append(batch)
            short_g -= batch.charge_g * (10_000 - key.style.loss_bp - 100) // 10_000
        return batches

    def _roast_all(self, batches: list[Batch], again: int) -> None:
        """Bring the sacks, then roast on both drums at once."""
        start = 6 + 3 * min(again, 1)
        late = self._diary.at(9) if not again and self._diary.on_day(7, 3) else None
        draws = [draw for batch in batches for draw in batch.draws]
        clock = {BIG_DRUM: 20 + 30 * again, SMALL_DRUM: 25 + 30 * again}
        timed = []
        for batch in batches:
            timed.append((self._diary.at(start, clock[batch.drum]), batch))
            clock[batch.drum] += 17 if batch.drum == BIG_DRUM else 14
        timed.sort(key=lambda each: each[0])
        # A floor that is busy brings the sacks first and books that hours later.
        if late is None:
            self._store.bring(draws, self._diary.at(start, 5), None)
        for number, (at, batch) in enumerate(timed):
            self._roast(batch, at, first=not again and number == 0)
        if late is not None:
            self._store.bring(draws, self._diary.at(start, 5), late)

    def _roast(self, batch: Batch, at: datetime, *, first: bool) -> None:
        missed = self._miss(forced=first and self._diary.number == 1)
        body = self._body(batch, at, missed)
        who = STAFF[Role.ROASTER] if batch.drum == BIG_DRUM else SECOND_ROASTER
        if first and missed is None and self._diary.on_day(40, 6):
            self._book_wrongly(who, at, body, batch)
        made = roasting.roast(self._diary.hand(who, at), RoastIn.model_validate(body))
        sacks = tuple(draw.sack.code for draw in batch.draws) if batch.drum == BIG_DRUM else ()
        parcel = Parcel(made.code, made.end_g, sacks, missed)
        if made.disposition == "passed":
            self._silos.setdefault(batch.roasting, []).append(parcel)
        else:
            self._aside.append((batch.roasting, parcel))

    def _miss(self, *, forced: bool) -> str | None:
        if not forced and self._chance.randrange(MISSED_ONE_IN):
            return None
        self._missed += 1
        return ("end weight", "profile", "colour")[self._missed % 3]

    def _body(self, batch: Batch, at: datetime, missed: str | None) -> dict[str, object]:
        """Describe a roast: most lose about what the style loses, the scale shows ten grams."""
        style, chance = batch.roasting.style, self._chance
        wide_bp = style.spread_bp * 3 // 2
        loss_bp = style.loss_bp + sum(
            chance.randint(-style.spread_bp, style.spread_bp) for _ in (0, 1)
        ) // 2  # fmt: skip
        colour = 10 * style.colour + chance.randint(-18, 18)
        if missed == "end weight":
            loss_bp = style.loss_bp + wide_bp + chance.randint(30, 90)
        if missed == "colour":
            colour += chance.choice([-1, 1]) * chance.randint(50, 70)
        return {
            "machine": batch.drum, "roasted_at": text(at), "style": batch.roasting.name,
            "draws": [draw.body() for draw in batch.draws],
            "end_kg": kg_from_grams(batch.charge_g * (10_000 - loss_bp) // 100_000 * 10),
            "colour": Decimal(colour) / 10, "colour_target": style.colour,
            "colour_tolerance": 3, "profile_hit": missed != "profile",
            "loss_range_pct": [
                Decimal(style.loss_bp - wide_bp) / 100, Decimal(style.loss_bp + wide_bp) / 100,
            ],
        }  # fmt: skip

    def _book_wrongly(self, who: str, at: datetime, body: dict[str, object], batch: Batch) -> None:
        """Type an end weight that is too low; the roaster sees it and voids the roast."""
        slip = {"end_kg": kg_from_grams(batch.charge_g * 3 // 4 // 10 * 10)}
        wrong = roasting.roast(self._diary.hand(who, at), RoastIn.model_validate(body | slip))
        pen = self._diary.hand(who, at + timedelta(minutes=9))
        ledger.void(pen, wrong.code, VoidIn(reason="end weight mistyped, booked again"))

    def cup(self) -> None:
        """Taste what was set aside the day before."""
        for number, (key, parcel) in enumerate(self._aside):
            self._taste(key, parcel, self._diary.at(5, 5 * number))
        self._aside.clear()

    def _taste(self, key: Roasting, parcel: Parcel, at: datetime) -> None:
        """Release a roast into its silo, or reject and destroy it."""
        self._adjust(parcel, -SAMPLE_G, "sample", "for the cupping table", at)
        self._cupped += 1
        rejected = self._cupped % REJECTED_ONE_IN == 0
        scores = (748, 786) if rejected else (808, 856)
        asked = CuppingIn.model_validate({
            "verdict": "reject" if rejected else "release", "cupped_at": text(at),
            "score": Decimal(self._chance.randint(*scores)) / 10,
            "notes": f"missed its {parcel.missed}; {'flat and smoky' if rejected else 'clean'}",
        })  # fmt: skip
        quality.cup(self._diary.hand(STAFF[Role.QUALITY], at), parcel.code, asked)
        if rejected:
            self._adjust(parcel, -parcel.left_g, "destroyed", "rejected at the table", at)
        else:
            self._silos.setdefault(key, []).insert(0, parcel)

    def take(self, key: Roasting, grams: int) -> Parts:
        """Take roasted coffee out of the silo, the oldest first."""
        parts: Parts = {}
        for parcel in self._silos.get(key, []):
            part = min(parcel.left_g, grams)
            if 0 < grams - part < SCOOP_G < part:
                part -= SCOOP_G
            if part:
                parts[parcel.code] = part
                parcel.left_g -= part
                grams -= part
                self._remember(parcel)
        self._silos[key] = [parcel for parcel in self._silos.get(key, []) if parcel.left_g]
        return parts

    def _remember(self, parcel: Parcel) -> None:
        if parcel.sacks and not parcel.missed:
            self.sack = parcel.sacks[0]
        if parcel.missed:
            self.set_aside = parcel.code

    def sweep(self) -> None:
        """Sweep out what is hardly worth keeping."""
        for key, parcels in self._silos.items():
            for parcel in parcels:
                if parcel.left_g < DREGS_G:
                    at = self._diary.at(15, 30)
                    self._adjust(parcel, -parcel.left_g, "spill", "swept out of the silo", at)
            self._silos[key] = [parcel for parcel in parcels if parcel.left_g]

    def _adjust(self, parcel: Parcel, grams: int, reason: str, note: str, at: datetime) -> None:
        asked = AdjustmentIn.model_validate({
            "unit": parcel.code, "kg": kg_from_grams(grams), "reason": reason, "note": note,
            "happened_at": text(at),
        })  # fmt: skip
        who = SECOND_ROASTER if reason == "spill" else STAFF[Role.QUALITY]
        ledger.adjust(self._diary.hand(who, at), asked)
        parcel.left_g += grams
