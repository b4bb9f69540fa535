"""What is known of a unit beside its mass and what happened to it: one statement for each kind."""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, Final, NamedTuple

from sqlalchemy import Row, func, literal, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.contracts.tables import PurchaseContract
from app.green.tables import Delivery, GreenLot, Sack, Supplier
from app.ledger.queries import held_with
from app.ledger.tables import Entry, Hold, HoldRelease, HoldUnit, Unit, UnitKind
from app.packing.runs import date_mark
from app.packing.tables import Blend, Pack, Product
from app.roasting.colours.queries import colours_of
from app.roasting.queries import DISPOSITION
from app.roasting.rules import loss_pct
from app.roasting.tables import Machine, MachineRun, Roast
from app.sending.orders.tables import CustomerOrder
from app.sending.tables import Customer, Dispatch, DispatchLine, Returned
from app.shared.db import AnySelect
from app.web.gate import disposition
from app.web.life import Life
from app.web.shown import country, mass, number
from app.web.texts import N_, _


class Fact(NamedTuple):
    """One thing that is known of a unit."""

    name: str
    """Marked with `N_`."""
    said: str
    code: str | None = None
    """Of a unit it leads to."""


class Check(NamedTuple):
    """What the gate found of a roast."""

    check: str
    passed: bool
    detail: str


class Holder(NamedTuple):
    """A customer who has some of it."""

    customer: str
    contact: str | None
    dispatch: str
    bags: int
    came_back: int


class OpenHold(NamedTuple):
    """A hold that stands on a unit, or on the lot it came from."""

    id: int
    reason: str
    placed_at: Any
    placed_by: str


class Known(NamedTuple):
    """All that is known of a unit."""

    facts: Sequence[Fact]
    checks: Sequence[Check]
    holders: Sequence[Holder]
    holds: Sequence[OpenHold]


CONDITIONS: Final[Mapping[str, str]] = {
    "sound": N_("sound"),
    "slack": N_("slack"),
    "torn": N_("torn"),
    "wet": N_("wet"),
    "mouldy": N_("mouldy"),
    "sweepings": N_("sweepings"),
}


def known_of(session: Session, unit: Life) -> Known:
    """Read what is known of a unit: as few statements as there are sorts of things to know."""
    statement, tell = _TOLD[unit.kind]
    row = session.execute(statement.where(col(Unit.id) == unit.id)).first()
    facts = [fact for fact in tell(row) if fact.said] if row is not None else []
    checks: list[Check] = []
    if unit.kind is UnitKind.ROAST and row is not None:
        checks = [
            Check(each["check"], each["passed"], each["detail"]) for each in json.loads(row.checks)
        ]
        facts += _colours(session, unit)
    return Known(facts, checks, _holders(session, unit), _holds(session, unit))


def _green() -> AnySelect:
    lot = aliased(Unit)
    return (
        select(
            GreenLot,
            col(Sack.number),
            col(Sack.condition),
            col(Delivery.code).label("delivery"),
            col(Delivery.reference),
            col(Supplier.name).label("supplier"),
            col(PurchaseContract.reference).label("contract"),
            col(lot.code).label("lot"),
        )
        .select_from(Unit)
        .outerjoin(Sack, col(Sack.unit_id) == col(Unit.id))
        .join(
            GreenLot,
            (col(GreenLot.unit_id) == col(Unit.id)) | (col(GreenLot.unit_id) == col(Sack.lot_id)),
        )
        .join(lot, col(lot.id) == col(GreenLot.unit_id))
        .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
        .outerjoin(Supplier, col(Supplier.id) == col(Delivery.supplier_id))
        .outerjoin(PurchaseContract, col(PurchaseContract.id) == col(Delivery.contract_id))
    )


def _of_green(row: Row[Any]) -> Iterator[Fact]:
    known: GreenLot = row.GreenLot
    if row.number is not None:
        yield Fact(N_("Sack"), _("number %(number)s") % {"number": row.number})
        yield Fact(N_("Came in"), _(CONDITIONS.get(row.condition, row.condition)))
    places = [known.producer, known.region, country(known.origin)]
    yield Fact(N_("Origin"), ", ".join(place for place in places if place))
    yield Fact(N_("Supplier"), row.supplier or "")
    yield Fact(N_("Delivery"), " ".join(each for each in (row.delivery, row.reference) if each))
    yield Fact(N_("Contract"), row.contract or "")
    yield Fact(N_("Mark"), known.ico_mark or "")
    yield Fact(N_("Crop year"), known.crop_year or "")
    kind = [known.variety, known.process]
    yield Fact(N_("Variety and process"), ", ".join(each for each in kind if each))
    yield Fact(N_("Certificate, as printed"), known.certificate or "")
    yield Fact(N_("Note"), known.note or "")


def _roasts() -> AnySelect:
    return (
        select(Roast, col(Roast.checks), DISPOSITION, col(Machine.code).label("machine"),
               col(Unit.made_g))
        .join_from(Unit, Roast, col(Roast.unit_id) == col(Unit.id))
        .outerjoin(MachineRun, col(MachineRun.unit_id) == col(Unit.id))
        .outerjoin(Machine, col(Machine.id) == col(MachineRun.machine_id))
    )  # fmt: skip


def _of_roast(row: Row[Any]) -> Iterator[Fact]:
    known: Roast = row.Roast
    yield Fact(N_("May be used"), disposition(row.disposition))
    yield Fact(N_("Style"), _versioned(known.style, known.style_version))
    yield Fact(N_("Roaster"), row.machine or "")
    yield Fact(N_("Charge"), mass(known.charge_g))
    yield Fact(N_("Loss"), f"{number(loss_pct(known.charge_g, row.made_g))} %")


def _versioned(name: str | None, version: int | None) -> str:
    """Name a style or a recipe with the version that counted."""
    told = _("version %(number)s") % {"number": version} if version else ""
    return ", ".join(each for each in (name, told) if each)


def _colours(session: Session, unit: Life) -> Iterator[Fact]:
    for colour in colours_of(session, unit.id, unit.code):
        if not colour.voided:
            scale = " ".join(each for each in (colour.scale, colour.form) if each)
            yield Fact(N_("Colour"), f"{number(colour.mean)} {scale}".strip())


def _blends() -> AnySelect:
    return (
        select(Blend, col(Machine.code).label("machine"))
        .join_from(Unit, Blend, col(Blend.unit_id) == col(Unit.id))
        .outerjoin(MachineRun, col(MachineRun.unit_id) == col(Unit.id))
        .outerjoin(Machine, col(Machine.id) == col(MachineRun.machine_id))
    )


def _of_blend(row: Row[Any]) -> Iterator[Fact]:
    known: Blend = row.Blend
    yield Fact(N_("Recipe"), _versioned(known.recipe, known.recipe_version))
    yield Fact(N_("Off its recipe"), known.off_recipe_reason or "")
    yield Fact(N_("Blender"), row.machine or "")


def _packs() -> AnySelect:
    return (
        select(Pack, col(Product.sku), col(Product.name), col(Machine.code).label("machine"),
               col(Unit.left_g))
        .join_from(Unit, Pack, col(Pack.unit_id) == col(Unit.id))
        .join(Product, col(Product.id) == col(Pack.product_id))
        .outerjoin(MachineRun, col(MachineRun.unit_id) == col(Unit.id))
        .outerjoin(Machine, col(Machine.id) == col(MachineRun.machine_id))
    )  # fmt: skip


def _of_pack(row: Row[Any]) -> Iterator[Fact]:
    known: Pack = row.Pack
    left = row.left_g // known.nominal_g
    yield Fact(N_("Product"), f"{row.sku} {row.name}")
    yield Fact(
        N_("Bags"),
        _("%(left)s of %(made)s left") % {"left": number(left), "made": number(known.bags)},
    )
    yield Fact(N_("Lot mark"), known.lot_mark)
    yield Fact(N_("Date on the bag"), date_mark(known.best_before, known.date_form, _) or "")
    yield Fact(N_("Packing line"), row.machine or "")
    yield Fact(N_("Film"), known.film_roll or "")


def _dispatches() -> AnySelect:
    return (
        select(Dispatch, col(Customer.name), col(Customer.contact), col(CustomerOrder.code))
        .join_from(Unit, Dispatch, col(Dispatch.unit_id) == col(Unit.id))
        .join(Customer, col(Customer.id) == col(Dispatch.customer_id))
        .outerjoin(CustomerOrder, col(CustomerOrder.id) == col(Dispatch.order_id))
    )


def _of_dispatch(row: Row[Any]) -> Iterator[Fact]:
    yield Fact(N_("Customer"), row.name)
    yield Fact(N_("Contact"), row.contact or "")
    yield Fact(N_("Order"), row.code or "")
    yield Fact(N_("Reference"), row.Dispatch.reference or "")


def _returns() -> AnySelect:
    sent, packed = aliased(Unit), aliased(Unit)
    return (
        select(Returned, col(Customer.name), col(Product.sku),
               col(sent.code).label("dispatch"), col(packed.code).label("pack"))
        .join_from(Unit, Returned, col(Returned.unit_id) == col(Unit.id))
        .join(Dispatch, col(Dispatch.unit_id) == col(Returned.dispatch_id))
        .join(Customer, col(Customer.id) == col(Dispatch.customer_id))
        .join(Product, col(Product.id) == col(Returned.product_id))
        .join(sent, col(sent.id) == col(Returned.dispatch_id))
        .join(packed, col(packed.id) == col(Returned.pack_id))
    )  # fmt: skip


def _of_return(row: Row[Any]) -> Iterator[Fact]:
    known: Returned = row.Returned
    yield Fact(N_("Came back from"), row.name)
    yield Fact(N_("Dispatch"), row.dispatch, row.dispatch)
    yield Fact(N_("Pack"), row.pack, row.pack)
    yield Fact(N_("Bags"), f"{number(known.bags)} {row.sku}")
    yield Fact(N_("Why"), known.reason)


_GREEN: Final = _green(), _of_green
_TOLD: Final[Mapping[UnitKind, tuple[AnySelect, Callable[[Row[Any]], Iterator[Fact]]]]] = {
    UnitKind.LOT: _GREEN,
    UnitKind.SACK: _GREEN,
    UnitKind.ROAST: (_roasts(), _of_roast),
    UnitKind.BLEND: (_blends(), _of_blend),
    UnitKind.PACK: (_packs(), _of_pack),
    UnitKind.DISPATCH: (_dispatches(), _of_dispatch),
    UnitKind.RETURN: (_returns(), _of_return),
}


def _holders(session: Session, unit: Life) -> list[Holder]:
    """Name who was sent bags of a pack, or of bags that had come back; what came back again."""
    if unit.kind not in {UnitKind.PACK, UnitKind.RETURN}:
        return []
    return_unit = aliased(Unit)
    came_back = (
        select(func.coalesce(func.sum(col(Returned.bags)), 0))
        .join(return_unit, col(return_unit.id) == col(Returned.unit_id))
        .where(
            col(Returned.dispatch_id) == col(DispatchLine.dispatch_id),
            col(Returned.pack_id) == col(DispatchLine.pack_id),
            col(return_unit.voided_entry_id).is_(None),
        )
        .scalar_subquery()
    )
    rows = session.execute(
        select(
            col(Customer.name), col(Customer.contact), col(Unit.code), col(DispatchLine.bags),
            came_back,
        )
        .join_from(DispatchLine, Unit, col(Unit.id) == col(DispatchLine.dispatch_id))
        .join(Dispatch, col(Dispatch.unit_id) == col(Unit.id))
        .join(Customer, col(Customer.id) == col(Dispatch.customer_id))
        .where(col(DispatchLine.pack_id) == unit.id, col(Unit.voided_entry_id).is_(None))
        .order_by(col(Customer.name_key), col(Unit.id))
    )  # fmt: skip
    return [Holder(*row) for row in rows]


def _holds(session: Session, unit: Life) -> list[OpenHold]:
    if not unit.held:
        return []
    rows = session.execute(
        select(col(Hold.id), col(Hold.reason), col(Entry.recorded_at), col(Entry.who))
        .join(HoldUnit, col(HoldUnit.hold_id) == col(Hold.id))
        .join(Entry, col(Entry.id) == col(Hold.entry_id))
        .outerjoin(HoldRelease, col(HoldRelease.hold_id) == col(Hold.id))
        .where(held_with(literal(unit.id)), col(HoldRelease.hold_id).is_(None))
        .order_by(col(Hold.id))
    )
    return [OpenHold(*row) for row in rows]
