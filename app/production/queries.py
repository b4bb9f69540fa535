"""Answering what a period needs."""

from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction
from math import ceil

from sqlmodel import Session

from app.production.rules import Coffee
from app.production.schemas import (
    ComponentNeed,
    Gap,
    MachineNeed,
    NeedsOut,
    OrderNeed,
    ProductNeed,
    RecipeNeed,
    StandingNeed,
    StyleNeed,
)
from app.production.working import Bagged, Roasting, Work, work_out
from app.roasting.batches.schemas import GreenOut
from app.settings import Settings
from app.shared.periods import Period
from app.shared.times import now


def needs(session: Session, period: Period, settings: Settings) -> NeedsOut:
    """Say what has to be packed, blended and roasted for a period."""
    work = work_out(session, period, settings, now())
    return NeedsOut(
        first=period.first,
        last=period.last,
        products=[_product(one) for one in work.bagged],
        recipes=[_recipe(work, coffee) for coffee in work.needs.coffees if coffee.noun == "recipe"],
        styles=[_style(work, one) for one in work.roasting],
        machines=_machines(work.roasting),
        orders=[
            OrderNeed(
                order=line.order,
                customer=line.customer,
                product=line.sku,
                due_on=line.due_on,
                late=line.due_on < period.first,
                bags=line.bags,
            )
            for line in work.demand.lines
        ],
        standing_orders=[
            StandingNeed(standing_order=each.code, product=each.sku, on=each.on, bags=each.bags)
            for each in work.demand.standing
        ],
        gaps=gaps_of(work),
    )


def gaps_of(work: Work) -> list[Gap]:
    """Name what could not be worked out."""
    return [Gap(of=of, why=why) for of, why in work.gaps]


def _product(one: Bagged) -> ProductNeed:
    return ProductNeed(
        product=one.product.sku,
        recipe=one.product.recipe,
        style=one.product.style,
        ordered_bags=one.ordered,
        late_bags=one.late,
        standing_bags=one.standing,
        packed_bags=one.packed,
        to_pack_bags=one.to_pack,
        roasted_g=one.roasted_g,
    )


def _recipe(work: Work, coffee: Coffee) -> RecipeNeed:
    need = work.needs.coffees[coffee]
    return RecipeNeed(
        recipe=work.names[coffee],
        needed_g=ceil(need.wanted_g),
        on_hand_g=int(need.on_hand_g),
        to_blend_g=ceil(need.to_make_g),
        components=[
            ComponentNeed(name=part.name, grams=ceil(part.grams))
            for part in work.needs.parts.get(coffee.name, [])
        ],
    )


def _style(work: Work, one: Roasting) -> StyleNeed:
    need = work.needs.coffees[Coffee("style", one.style.name_key)]
    made = one.batches
    green_needed_g = ceil(one.of.green_for(one.to_roast_g))
    return StyleNeed(
        style=one.style.name,
        needed_g=ceil(need.wanted_g),
        on_hand_g=int(need.on_hand_g),
        planned_g=one.planned_g,
        to_roast_g=ceil(one.to_roast_g),
        loss_pct=one.of.loss_pct,
        loss_basis=one.of.basis,
        loss_roasts=one.of.roasts,
        green_needed_g=green_needed_g,
        machine=one.machine.code if one.machine else None,
        charge_g=one.charge_g,
        batches_exact=_two_places(made.exact) if made else None,
        batches=made.charges if made else None,
        green_g=made.green_g if made else green_needed_g,
        roasted_g=made.roasted_g if made else ceil(one.to_roast_g),
        green=[GreenOut(lot=lot, grams=grams) for lot, grams in one.green.items()],
        by_age=one.by_age,
        short_g=one.short_g,
    )


def _two_places(exact: Fraction) -> Decimal:
    return Decimal(round(exact * 100)).scaleb(-2)


def _machines(roasting: Iterable[Roasting]) -> list[MachineNeed]:
    """Add up by machine what is to be charged; null is what no machine is named for."""
    found: dict[str | None, MachineNeed] = {}
    for one in roasting:
        if not one.to_roast_g:
            continue
        code = one.machine.code if one.machine else None
        there = found.setdefault(code, MachineNeed(machine=code, batches=0, green_g=0))
        there.batches += one.batches.charges if one.batches else 0
        there.green_g += (
            one.batches.green_g if one.batches else ceil(one.of.green_for(one.to_roast_g))
        )
    return [found[code] for code in sorted(found, key=lambda code: (code is None, code or ""))]
