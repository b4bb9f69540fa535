"""Reading blends and packs."""

import json
from datetime import date
from functools import cache
from typing import Any

from sqlalchemy import select
from sqlmodel import Session, col

from app.green.certificates.queries import carried_by
from app.ledger.cards import card_at
from app.ledger.queries import on_hold, parts_of, unit_by_code
from app.ledger.tables import Entry, Unit, UnitKind
from app.packing.actions import PRODUCTS
from app.packing.materials.queries import used_by
from app.packing.runs import told_of_run
from app.packing.schemas import BlendLine, BlendOut, BlendPart, PackLine, PackOut, SharedPart
from app.packing.tables import Blend, Pack, Product
from app.places.tables import Location
from app.roasting.tables import Machine, MachineRun
from app.shared.db import AnySelect
from app.shared.paging import Page, PageOf, turn_page
from app.shared.shares import percent


@cache
def _blends() -> AnySelect:
    return (
        select(
            col(Unit.id),
            col(Unit.code),
            col(Blend.recipe),
            col(Blend.recipe_version),
            col(Blend.off_recipe_reason),
            col(Blend.components),
            col(Location.code).label("location"),
            col(Machine.code).label("machine"),
            col(Entry.happened_at),
            col(Unit.made_g),
            col(Unit.left_g),
            on_hold(col(Unit.id)).label("held"),
            col(Unit.voided_entry_id),
        )
        .join(Blend, col(Blend.unit_id) == col(Unit.id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .outerjoin(Location, col(Location.id) == col(Unit.location_id))
        .outerjoin(MachineRun, col(MachineRun.unit_id) == col(Unit.id))
        .outerjoin(Machine, col(Machine.id) == col(MachineRun.machine_id))
    )


def _blend_fields(row: Any) -> dict[str, Any]:  # noqa: ANN401 - a row of `_blends`
    return {
        "code": row.code, "recipe": row.recipe, "recipe_version": row.recipe_version,
        "off_recipe_reason": row.off_recipe_reason, "machine": row.machine,
        "blended_at": row.happened_at, "grams": row.made_g, "left_g": row.left_g,
        "held": bool(row.held), "voided": row.voided_entry_id is not None,
    }  # fmt: skip


def blend(session: Session, code: str) -> BlendOut:
    """Read one blend with its parts."""
    unit = unit_by_code(session, code, UnitKind.BLEND)
    row = session.execute(_blends().where(col(Unit.id) == unit.id)).one()
    components = json.loads(row.components or "{}")
    parts = [
        BlendPart(**dict(part), component=components.get(part.unit))
        for part in _parts(session, unit.id)
    ]
    return BlendOut(**_blend_fields(row), location=row.location, parts=parts)


def blend_page(session: Session, page: Page) -> PageOf:
    """Read blends in the order they were booked."""
    rows, following = turn_page(session, _blends(), col(Unit.id), page)
    return [BlendLine(**_blend_fields(row)).model_dump(by_alias=True) for row in rows], following


@cache
def _packs() -> AnySelect:
    return (
        select(
            col(Unit.id),
            col(Unit.code),
            col(Product.sku),
            col(Pack.lot_mark),
            col(Machine.code).label("machine"),
            col(Entry.happened_at),
            col(Pack.bags),
            col(Pack.nominal_g),
            col(Unit.made_g),
            col(Unit.left_g),
            col(Pack.best_before),
            col(Pack.film_roll),
            on_hold(col(Unit.id)).label("held"),
            col(Unit.voided_entry_id),
        )
        .join(Pack, col(Pack.unit_id) == col(Unit.id))
        .join(Product, col(Product.id) == col(Pack.product_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .outerjoin(MachineRun, col(MachineRun.unit_id) == col(Unit.id))
        .outerjoin(Machine, col(Machine.id) == col(MachineRun.machine_id))
    )


def _pack_fields(row: Any) -> dict[str, Any]:  # noqa: ANN401 - a row of `_packs`
    return {
        "code": row.code, "product": row.sku, "lot_mark": row.lot_mark, "machine": row.machine,
        "packed_at": row.happened_at, "bags": row.bags, "bags_left": row.left_g // row.nominal_g,
        "packed_g": row.made_g, "left_g": row.left_g, "best_before": row.best_before,
        "film_roll": row.film_roll, "held": bool(row.held),
        "voided": row.voided_entry_id is not None,
    }  # fmt: skip


def pack(session: Session, code: str) -> PackOut:
    """Read one pack with what it was filled from."""
    unit = unit_by_code(session, code, UnitKind.PACK)
    row = session.execute(_packs().where(col(Unit.id) == unit.id)).one()
    parts = _parts(session, unit.id)
    brought_g = sum(part.grams for part in parts)
    return PackOut(
        **_pack_fields(row),
        parts=parts,
        loss_g=brought_g - row.made_g,
        claims=carried_by(session, unit.id),
        **told_of_run(session.get_one(Pack, unit.id), used_by(session, unit.id)),
    )


def pack_page(
    session: Session,
    page: Page,
    product: str | None,
    on_hand: bool | None,
    before: date | None,
) -> PageOf:
    """Read packs in the order they were packed."""
    statement = _packs()
    if product is not None:
        found = card_at(session, PRODUCTS, product)
        statement = statement.where(col(Pack.product_id) == found.id)
    if on_hand is not None:
        statement = statement.where(col(Unit.left_g) > 0 if on_hand else col(Unit.left_g) == 0)
    if before is not None:
        statement = statement.where(col(Pack.best_before) < before)
    rows, following = turn_page(session, statement, col(Unit.id), page)
    return [PackLine(**_pack_fields(row)).model_dump(by_alias=True) for row in rows], following


def _parts(session: Session, unit_id: int) -> list[SharedPart]:
    parts = parts_of(session, unit_id)
    whole_g = sum(grams for _, _, grams in parts)
    return [
        SharedPart(unit=code, kind=kind, grams=grams, share_pct=percent(grams, whole_g))
        for code, kind, grams in parts
    ]
