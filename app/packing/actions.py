"""Blending roasted coffee and packing it into bags."""

import json
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime

from app.green.certificates.queries import carried_by
from app.ledger.cards import Shelf, named
from app.ledger.corrections.replacing import happened, in_place_of
from app.ledger.corrections.schemas import Correcting
from app.ledger.posting import Birth, Pen, Posting
from app.ledger.rules import canonical
from app.ledger.tables import Unit, UnitKind
from app.packing.dates import Dated, dated
from app.packing.made_of import other_contents
from app.packing.materials.using import put_on_record, take
from app.packing.pouring import Filling, fill_from
from app.packing.recipes.actions import Held, hold_against, recipe_named
from app.packing.rules import lot_mark
from app.packing.runs import run_warnings, told_of_run
from app.packing.schemas import (
    BlendIn,
    BlendOut,
    BlendPart,
    PackIn,
    PackOut,
    ProductOut,
    SharedPart,
)
from app.packing.tables import Blend, Pack, Product
from app.packing.tasted import as_rework, refuse_straight, refuse_too_much
from app.places.successors import post
from app.roasting.machines import machine_for, record_run
from app.roasting.queries import Limited, refuse_unreleased
from app.roasting.silos.tipping import place_id, tip
from app.roasting.tables import MachineKind
from app.shared.days import day_of
from app.shared.mass import HEAVIEST_G, kg_text
from app.shared.problems import FieldRefused, Refused
from app.shared.shares import percent

PRODUCTS = Shelf("product", Product, ProductOut, key="sku", folded="sku")


def blend(pen: Pen, asked: BlendIn, *, may_deviate: bool = False) -> BlendOut:
    """Mix roasts and blends; the whole weighs what its parts weigh.

    Raises:
        Refused: `off-recipe`, `not-released`, `tasting-limits-use`, and what posting refuses.
    """
    machine = machine_for(pen, asked.machine, MachineKind.BLENDER) if asked.machine else None
    at = happened(pen, asked, asked.blended_at, "#/blended_at")
    posting = in_place_of(pen, _posting("blend", asked, at), asked, UnitKind.BLEND)
    filling = fill_from(pen.session, posting, asked.parts, "parts")
    parts, units = filling.parts, filling.units
    whole_g = sum(parts.values())
    if whole_g > HEAVIEST_G:
        raise FieldRefused("#/parts", f"{kg_text(whole_g)} is over the limit of 30000 kg")
    born = pen.bear(posting, UnitKind.BLEND, asked.code, whole_g, place_id(pen, asked.to))
    limited = _pour(pen, posting, filling, born)
    held = _hold_against_recipe(pen, asked, filling, limited, may_deviate=may_deviate)
    refuse_too_much(limited, parts, held.components if held else {})
    tip(pen, post(pen, posting), born)
    if machine is not None:
        record_run(pen, born, machine, at)
    pen.write(Blend, [{
        "unit_id": born.id, "recipe": held.recipe.name if held else asked.recipe,
        "recipe_id": held.recipe.id if held else None,
        "recipe_version": held.recipe.version if held else None,
        "components": canonical(held.components) if held else None,
        "off_recipe_reason": held.reason if held else None,
    }])  # fmt: skip
    return BlendOut(
        code=born.code,
        recipe=held.recipe.name if held else asked.recipe,
        recipe_version=held.recipe.version if held else None,
        off_recipe_reason=held.reason if held else None,
        machine=machine.code if machine else None,
        location=asked.to,
        blended_at=at,
        grams=whole_g,
        left_g=whole_g,
        held=bool(posting.held),
        voided=False,
        parts=[
            BlendPart(
                **dict(part),
                component=held.components[part.unit] if held else None,
            )
            for part in _shared(parts, units)
        ],
    )


def _hold_against_recipe(
    pen: Pen,
    asked: BlendIn,
    filling: Filling,
    limited: Sequence[Limited],
    *,
    may_deviate: bool,
) -> Held | None:
    recipe = recipe_named(pen.session, asked.recipe)
    if recipe is None:
        return None
    filling = as_rework(filling, limited)
    return hold_against(pen, recipe, filling, asked.off_recipe_reason, may_deviate=may_deviate)


def pack(pen: Pen, asked: PackIn) -> PackOut:
    """Fill bags of a product.

    Raises:
        Refused: `mass-gained` when the bags would hold more than was brought to the line,
            `not-released`, `tasting-limits-use`, what packing materials refuse, and what posting
            does.
    """
    product = named(pen.session, PRODUCTS, asked.product, "#/product")
    machine = machine_for(pen, asked.machine, MachineKind.PACKING_LINE) if asked.machine else None
    at = happened(pen, asked, asked.packed_at, "#/packed_at")
    posting = in_place_of(pen, _posting("pack", asked, at), asked, UnitKind.PACK)
    filling = fill_from(pen.session, posting, asked.parts, "from")
    parts, units = filling.parts, filling.units
    packed_g, brought_g = asked.bags * product.nominal_g, sum(parts.values())
    _refuse_gain(asked.bags, product, packed_g, brought_g)
    dates = dated(product, day_of(at), asked.best_before)
    taken = take(pen, posting, asked)
    born = pen.bear(posting, UnitKind.PACK, asked.code, packed_g)
    limited, again = _pour(pen, posting, filling, born), _again(posting, filling)
    refuse_straight([each for each in limited if each.code not in again])
    post(pen, posting)
    if machine is not None:
        record_run(pen, born, machine, at)
    odd = other_contents(pen.session, product, units)
    pointed_out = (*dates.warnings, *odd, *run_warnings(pen, born.id, at, units, taken))
    made = _pack_row(born, asked, product, dates._replace(warnings=pointed_out))
    pen.session.add(made)
    put_on_record(pen, born.id, taken)
    return PackOut(
        code=born.code,
        product=product.sku,
        lot_mark=made.lot_mark,
        packed_at=at,
        machine=machine.code if machine else None,
        bags=asked.bags,
        bags_left=asked.bags,
        packed_g=packed_g,
        left_g=packed_g,
        best_before=made.best_before,
        film_roll=asked.film_roll,
        held=bool(posting.held),
        voided=False,
        parts=_shared(parts, units),
        loss_g=brought_g - packed_g,
        claims=carried_by(pen.session, born.id),
        **told_of_run(made, [each.told() for each in taken]),
    )


def _pack_row(born: Birth, asked: PackIn, product: Product, dates: Dated) -> Pack:
    return Pack(
        unit_id=born.id,
        product_id=product.id or 0,
        bags=asked.bags,
        film_roll=asked.film_roll,
        nominal_g=product.nominal_g,
        lot_mark=lot_mark(born.code),
        best_before=dates.best_before,
        date_form=dates.form,
        warnings=json.dumps(dates.warnings),
    )


def _posting(kind: str, asked: Correcting, at: datetime) -> Posting:
    return Posting(kind, at, asked.model_dump(mode="json"))


def _pour(pen: Pen, posting: Posting, filling: Filling, into: Birth) -> Sequence[Limited]:
    """Let roasted coffee flow into a new unit; what is not released does not flow."""
    ids = [unit.id for unit in filling.units.values()]
    limited = refuse_unreleased(pen.session, ids, _again(posting, filling))
    for code, grams in filling.parts.items():
        posting.flow(filling.units[code].id, into, grams)
    return limited


def _again(posting: Posting, filling: Filling) -> Collection[str]:
    """Name what gives no more than it gave to the act that this one replaces."""
    return {
        code
        for code, grams in filling.parts.items()
        if grams <= posting.given_back[filling.units[code].id]
    }


def _shared(parts: Mapping[str, int], units: Mapping[str, Unit]) -> list[SharedPart]:
    whole_g = sum(parts.values())
    return [
        SharedPart(unit=code, kind=units[code].kind, grams=grams, share_pct=percent(grams, whole_g))
        for code, grams in parts.items()
    ]


def _refuse_gain(bags: int, product: Product, packed_g: int, brought_g: int) -> None:
    if packed_g > HEAVIEST_G:
        raise FieldRefused("#/bags", f"{kg_text(packed_g)} is over the limit of 30000 kg")
    if packed_g > brought_g:
        said = f"{bags} bags of {product.nominal_g} g hold {kg_text(packed_g)}; only "
        raise Refused(
            "mass-gained",
            f"{said}{kg_text(brought_g)} were brought to the line.",
            errors=[{"pointer": "#/bags", "detail": f"more than {kg_text(brought_g)} can fill"}],
        )
