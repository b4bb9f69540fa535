"""The packing room of the scenario: what the orders take, the blends, the bags."""

from collections import Counter
from collections.abc import Mapping
from datetime import datetime
from random import Random
from typing import NamedTuple

from app.ledger import actions as ledger
from app.ledger.schemas import AdjustmentIn, VoidIn
from app.packing import actions as packing
from app.packing.recipes.rules import REWORK
from app.packing.schemas import BlendIn, PackIn
from app.shared.mass import kg_from_grams
from app.shared.staff import Role
from app.shared.times import text
from seed.diary import Diary
from seed.roast_room import Parcel, Parts, RoastRoom
from seed.roastery import (
    BLENDER,
    LINES,
    PACKER,
    PRODUCTS,
    RECIPES,
    STAFF,
    Mix,
    Product,
    Roasting,
    mixes_for,
)

BAGS_A_ROLL = {2000: 600, 250: 1500}
"""How many bags a roll of film makes, by the grams in a bag."""


class Run(NamedTuple):
    """One product that is to be packed."""

    product: Product
    bags: int
    spare: str | None
    """Why one bag more is packed than was ordered."""
    brought_g: int
    """What is brought to the line: a little stays in the hopper and in generous bags."""


class Plan(NamedTuple):
    """A day's work."""

    runs: list[Run]
    mixes: list[Mix]

    @property
    def needs(self) -> Counter[Roasting]:
        """The roasted coffee that it takes."""
        needs: Counter[Roasting] = Counter()
        for mix in self.mixes:
            needs.update(dict(mix.parts))
        return needs


class PackingRoom:
    """A blender, two lines, and tubs for the ends of blends."""

    def __init__(self, diary: Diary, roasts: RoastRoom, chance: Random) -> None:
        self._diary = diary
        self._roasts = roasts
        self._chance = chance
        self._tubs: dict[str, Parcel] = {}
        """What was left of a blend: it goes into the next of its kind."""
        self._bags_made: Counter[int] = Counter()

    def plan(self, ordered: Mapping[str, int]) -> Plan:
        """Work out what to pack, blend and roast for the bags that were ordered."""
        runs = [
            self._run(product, ordered[product.sku])
            for product in PRODUCTS
            if ordered.get(product.sku)
        ]
        wanted: Counter[str] = Counter()
        for run in runs:
            wanted[run.product.recipe] += run.brought_g
        for name in wanted:
            if RECIPES[name].mixed:
                wanted[name] += self._chance.choice([0] * 8 + [340, 720])
                wanted[name] -= self._tubs[name].left_g if name in self._tubs else 0
        return Plan(runs, mixes_for(wanted))

    def _run(self, product: Product, bags: int) -> Run:
        spare = None
        if self._diary.on_day(4, 1) and product.recipe == self._kept_today():
            spare = "sample"
        elif self._diary.on_day(11, 4) and product.nominal_g < 1000:  # noqa: PLR2004 - a small bag
            spare = "spill"
        filled_g = (bags + (spare is not None)) * product.nominal_g
        brought_g = filled_g + filled_g * self._chance.randint(5, 25) // 10_000
        return Run(product, bags, spare, -(-brought_g // 10) * 10)

    def _kept_today(self) -> str:
        names = list(RECIPES)
        return names[self._diary.number // 4 % len(names)]

    def work(self, plan: Plan) -> dict[str, str]:
        """Blend and pack; returns the pack of each product."""
        blends: dict[str, Parcel] = {}
        for number, mix in enumerate(mix for mix in plan.mixes if mix.recipe.mixed):
            blends[mix.recipe.name] = self._blend(mix, blends, self._diary.at(11, 10 * number))
        clock = dict.fromkeys(LINES, 35)
        shelf = {}
        for run in plan.runs:
            at = self._diary.at(11, clock[run.product.nominal_g])
            clock[run.product.nominal_g] += 14
            shelf[run.product.sku] = self._pack(run, blends.get(run.product.recipe), at)
        self._tubs |= {name: blend for name, blend in blends.items() if blend.left_g}
        return shelf

    def _blend(self, mix: Mix, blends: Mapping[str, Parcel], at: datetime) -> Parcel:
        parts: Parts = {}
        for roasting, grams in mix.parts:
            parts |= self._roasts.take(roasting, grams)
        tub = self._tubs.pop(mix.recipe.name, None)
        if tub:
            parts[tub.code] = tub.left_g
        if mix.recipe.base is not None:
            parts[blends[mix.recipe.base].code] = mix.base_g
            blends[mix.recipe.base].left_g -= mix.base_g
        listed = [
            part | ({"component": REWORK} if tub and part["unit"] == tub.code else {})
            for part in _listed(parts)
        ]
        asked = BlendIn.model_validate({
            "recipe": mix.recipe.name, "machine": BLENDER, "blended_at": text(at), "parts": listed,
        })  # fmt: skip
        made = packing.blend(self._diary.hand(STAFF[Role.ROASTER], at), asked)
        return Parcel(made.code, made.grams)

    def _pack(self, run: Run, blend: Parcel | None, at: datetime) -> str:
        product = run.product
        if blend is None:
            (roasting, _), *_ = RECIPES[product.recipe].parts
            parts = self._roasts.take(roasting, run.brought_g)
        else:
            parts = {blend.code: run.brought_g}
            blend.left_g -= run.brought_g
        bags = run.bags + (run.spare is not None)
        roll = self._bags_made[product.nominal_g] // BAGS_A_ROLL[product.nominal_g]
        self._bags_made[product.nominal_g] += bags
        body = {
            "product": product.sku, "machine": LINES[product.nominal_g], "packed_at": text(at),
            "from": _listed(parts), "bags": bags, "film_roll": f"F{product.nominal_g}-{roll:04d}",
        }  # fmt: skip
        if self._diary.on_day(80, 15) and product.sku == "BELFRY-2000":
            self._book_wrongly(body, at)
        made = packing.pack(self._diary.hand(PACKER, at), PackIn.model_validate(body))
        if run.spare:
            self._take_out(made.code, product, run.spare, at)
        return made.code

    def _book_wrongly(self, body: dict[str, object], at: datetime) -> None:
        """Pick the wrong line of the list of products; it is seen and booked again."""
        wrong = PackIn.model_validate(body | {"product": "COAL-QUAY-2000"})
        made = packing.pack(self._diary.hand(PACKER, at), wrong)
        pen = self._diary.hand(PACKER, at)
        ledger.void(pen, made.code, VoidIn(reason="wrong product picked, booked again"))

    def _take_out(self, pack: str, product: Product, reason: str, at: datetime) -> None:
        """Take the bag out that was packed beyond the orders."""
        notes = {"sample": "retained sample", "spill": "one bag burst at the sealer"}
        asked = AdjustmentIn.model_validate({
            "unit": pack, "kg": kg_from_grams(-product.nominal_g), "reason": reason,
            "note": notes[reason], "happened_at": text(at),
        })  # fmt: skip
        ledger.adjust(self._diary.hand(PACKER, at), asked)


def _listed(parts: Parts) -> list[dict[str, object]]:
    return [{"unit": code, "kg": kg_from_grams(grams)} for code, grams in parts.items()]
