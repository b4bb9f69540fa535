"""Finding what of the house a text names.

Something new that carries a code of its own is one more line of `_CARDS`; a new kind of unit is
found as it is, and is named once `_UNITS` knows where its name stands.
"""

from collections.abc import Iterator, Sequence
from functools import cache
from typing import Any, Final

from sqlalchemy import (
    CompoundSelect,
    String,
    bindparam,
    cast,
    func,
    literal,
    null,
    select,
    union_all,
)
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.certificates.tables import Certificate
from app.green.identity.tables import LotIdentity
from app.green.instruments.tables import Instrument
from app.green.tables import Delivery, GreenLot, Sack
from app.ledger.tables import Unit
from app.packing.materials.tables import Material, MaterialLot
from app.packing.tables import Blend, Pack, Product
from app.places.tables import Location
from app.roasting.tables import Machine, Roast
from app.scans.schemas import FoundOut
from app.sending.cases.tables import Case
from app.sending.orders.tables import CustomerOrder
from app.sending.tables import Customer, Dispatch
from app.shared.db import AnySelect
from app.standards.gs1.elements import Element
from app.standards.gs1.keys import gtin_forms
from app.standards.ico_marks import Mark, coffee_year_label

_CARDS: Final = (
    ("location", col(Location.code), null()),
    ("machine", col(Machine.code), null()),
    ("product", col(Product.sku), col(Product.name)),
    ("instrument", col(Instrument.code), col(Instrument.name)),
    ("certificate", col(Certificate.code), col(Certificate.scheme)),
    ("delivery", col(Delivery.code), col(Delivery.reference)),
    ("order", col(CustomerOrder.code), col(CustomerOrder.reference)),
    ("material", col(Material.code), col(Material.name)),
    ("material_lot", col(MaterialLot.code), col(MaterialLot.reference)),
    ("case", col(Case.code), col(Case.kind)),
)
"""What is no unit and carries a code: what it is called, its code, its name."""

# Built once, as every statement here: scanning is what people wait for with a hand on the sack.
_BY_CODE: Final[CompoundSelect[*tuple[Any, ...]]] = union_all(*(
    select(literal(kind).label("kind"), code.label("code"), cast(name, String).label("name"))
    .where(code == bindparam("code"))
    for kind, code, name in _CARDS
))  # fmt: skip


@cache
def _units() -> AnySelect:
    """Read units with what each is called."""
    sacks_lot = aliased(GreenLot)
    name = func.coalesce(
        col(GreenLot.name),
        col(sacks_lot.name),
        col(Roast.style),
        col(Blend.recipe),
        col(Product.name),
        col(Customer.name),
    )
    return (
        select(col(Unit.kind), col(Unit.code), name.label("name"), col(Unit.voided_entry_id))
        .outerjoin(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
        .outerjoin(Sack, col(Sack.unit_id) == col(Unit.id))
        .outerjoin(sacks_lot, col(sacks_lot.unit_id) == col(Sack.lot_id))
        .outerjoin(Roast, col(Roast.unit_id) == col(Unit.id))
        .outerjoin(Blend, col(Blend.unit_id) == col(Unit.id))
        .outerjoin(Pack, col(Pack.unit_id) == col(Unit.id))
        .outerjoin(Product, col(Product.id) == col(Pack.product_id))
        .outerjoin(Dispatch, col(Dispatch.unit_id) == col(Unit.id))
        .outerjoin(Customer, col(Customer.id) == col(Dispatch.customer_id))
        .order_by(col(Unit.id))
    )


_UNITS: Final = _units().where(col(Unit.code) == bindparam("code"))
_PACKS: Final[AnySelect] = (
    select(
        col(Unit.kind),
        col(Unit.code),
        col(Product.name).label("name"),
        col(Unit.voided_entry_id),
    )
    .join(Pack, col(Pack.unit_id) == col(Unit.id))
    .join(Product, col(Product.id) == col(Pack.product_id))
    .order_by(col(Unit.id))
)
_MARKED_SO: Final = col(Pack.lot_mark).in_(bindparam("lot_marks", expanding=True))
_OF_GTIN: Final = col(Product.gtin).in_(bindparam("gtins", expanding=True))
_LOT_MARKS: Final = _PACKS.where(_MARKED_SO)
_LOTS_OF_GTIN: Final = _PACKS.where(
    _OF_GTIN,
    # Either column has its index, which one condition with an "or" between would not use.
    col(Unit.id).in_(union_all(
        select(col(Unit.id)).where(col(Unit.code).in_(bindparam("codes", expanding=True))),
        select(col(Pack.unit_id)).where(_MARKED_SO),
    )),
)  # fmt: skip
_PRODUCTS: Final = (
    select(col(Product.sku), col(Product.name)).where(_OF_GTIN).order_by(col(Product.sku))
)
_CASES: Final = select(col(Case.code), col(Case.kind)).where(col(Case.code) == bindparam("code"))
_MARKED: Final = (
    select(col(Unit.code), col(GreenLot.name), col(LotIdentity.coffee_year))
    .join(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
    .join(LotIdentity, col(LotIdentity.lot_id) == col(Unit.id))
    .where(col(LotIdentity.mark_key) == bindparam("key"), col(Unit.voided_entry_id).is_(None))
    .order_by(col(Unit.id))
)


def by_code(session: Session, code: str) -> list[FoundOut]:
    """Find what carries a code of the house, or packs whose bags carry a lot mark."""
    found = list(_found(session, _UNITS, code=code))
    found += [
        FoundOut(kind=row.kind, code=row.code, name=row.name)
        for row in session.execute(_BY_CODE, {"code": code})
    ]
    if code.startswith("L"):
        told = {each.code for each in found}
        packs = _found(session, _LOT_MARKS, lot_marks=[code, f"L {code[1:].lstrip()}"])
        found += [pack for pack in packs if pack.code not in told]
    return found


def _found(session: Session, statement: AnySelect, **sought: str | list[str]) -> Iterator[FoundOut]:
    for row in session.execute(statement, sought):
        yield FoundOut(
            kind=row.kind, code=row.code, name=row.name, voided=row.voided_entry_id is not None
        )


def by_elements(session: Session, elements: Sequence[Element]) -> tuple[list[FoundOut], str | None]:
    """Find a case, else the packs of a lot, else the product where no lot is said or is known.

    Says beside it why there is nothing more.
    """
    said = {each.ai: each.value for each in elements}
    if "00" in said:
        cases = [
            FoundOut(kind="case", code=row.code, name=row.kind)
            for row in session.execute(_CASES, {"code": said["00"]})
        ]
        return cases, None if cases else f"No case or pallet here has the SSCC {said['00']}."
    gtin = said.get("01") or said.get("02")
    if gtin is None:
        return [], "No trade item (01) is named; nothing else of GS1 is on record here."
    gtins = gtin_forms(gtin)
    products = [
        FoundOut(kind="product", code=row.sku, name=row.name)
        for row in session.execute(_PRODUCTS, {"gtins": gtins})
    ]
    lot = said.get("10")
    if not products:
        return [], f"No product here has the GTIN {gtin}."
    if lot is None:
        return products, None
    packs = list(_found(session, _LOTS_OF_GTIN, gtins=gtins, **_written_as(lot)))
    skus = ", ".join(each.code for each in products)
    return packs or products, None if packs else f"No pack of {skus} carries the lot {lot}."


def _written_as(lot: str) -> dict[str, str | list[str]]:
    """Name the codes of packs and the marks on bags that a lot in a code can stand for.

    A lot has no spaces in it and a mark may, after its L; capitals make no difference.
    """
    plain = lot.upper()
    marks, codes = [plain, f"L {plain}"], [plain]
    if plain.startswith("L"):
        marks.append(f"L {plain[1:]}")
        codes.append(plain[1:])
    return {"codes": codes, "lot_marks": marks}


def by_mark(session: Session, mark: Mark) -> list[FoundOut]:
    """Find the lots of a mark, whatever their coffee year."""
    return [
        FoundOut(
            kind="lot",
            code=row.code,
            name=f"{row.name}, coffee year {coffee_year_label(row.coffee_year)}",
        )
        for row in session.execute(_MARKED, {"key": mark.key})
    ]
