"""What the records behind a drill lack. A further one is a statement in `_lacking`."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence

from sqlalchemy import String, cast, literal, or_, select, union_all
from sqlmodel import Session, col

from app.green.tables import Delivery, GreenLot
from app.ledger.tables import Unit, UnitKind
from app.packing.materials.tables import MaterialUse
from app.packing.tables import Pack
from app.recall.drills.schemas import Gap
from app.recall.scope import CONTACT, Scope
from app.roasting.tables import MachineRun
from app.sending.tables import Customer, Dispatch
from app.shared.db import AnySelect, among
from app.shared.speech import N_

MOST_NAMED = 20
_RUNS = (UnitKind.ROAST, UnitKind.BLEND, UnitKind.PACK)


def gaps_of(session: Session, scopes: Sequence[Scope]) -> list[Gap]:
    """Look for what is missing about everything that both directions reached."""
    ids = {unit.id for each in scopes for unit in each.units if unit.place != CONTACT}
    customers = {line.customer_id for each in scopes for line in each.lines}
    found = _named(session, [*_lacking(session, sorted(ids), sorted(customers))])
    listed = [
        Gap(gap=gap, count=len(named), named=named[:MOST_NAMED]) for gap, named in found.items()
    ]
    open_balances = [each.direction.value for each in scopes if not _closes(each)]
    if open_balances:
        listed.append(
            Gap(gap=N_("balance does not close"), count=len(open_balances), named=open_balances)
        )
    return listed


def _named(
    session: Session, lacking: Sequence[tuple[str, AnySelect]]
) -> Mapping[str, Sequence[str]]:
    """Name what each of these statements finds, in their order: asked at once."""
    every = union_all(*(
        statement.add_columns(literal(order), literal(gap))
        for order, (gap, statement) in enumerate(lacking)
    )).subquery()  # fmt: skip
    code, number, order, gap = every.c
    found: defaultdict[str, list[str]] = defaultdict(list)
    for said, named in session.execute(select(gap, code).order_by(order, number)):
        found[said].append(named)
    return found


def _closes(scope: Scope) -> bool:
    figures = sum(grams for name, grams in scope.balance.items() if name != "received")
    return figures == scope.balance["received"]


def _lacking(
    session: Session, ids: Sequence[int], customers: Sequence[int]
) -> Iterator[tuple[str, AnySelect]]:
    """Build for each gap what has it: how that is named, and its number."""
    here = among(session, col(Unit.id), ids)
    units: AnySelect = select(col(Unit.code), col(Unit.id)).where(here)
    packs = units.join(Pack, col(Pack.unit_id) == col(Unit.id))
    yield N_("packs without lot mark"), packs.where(col(Pack.lot_mark) == "")
    yield N_("packs without best-before date"), packs.where(col(Pack.best_before).is_(None))
    used = select(col(MaterialUse.pack_id))
    yield N_("packs without packing material"), packs.where(col(Unit.id).not_in(used))
    lots = units.join(GreenLot, col(GreenLot.unit_id) == col(Unit.id)).join(
        Delivery, col(Delivery.id) == col(GreenLot.delivery_id)
    )
    yield N_("lots without supplier"), lots.where(col(Delivery.supplier_id).is_(None))
    yield N_("lots without delivery document"), lots.where(col(Delivery.reference).is_(None))
    runs = units.outerjoin(MachineRun, col(MachineRun.unit_id) == col(Unit.id)).where(
        col(Unit.kind).in_(_RUNS)
    )
    yield N_("runs without machine"), runs.where(col(MachineRun.unit_id).is_(None))
    sent = units.join(Dispatch, col(Dispatch.unit_id) == col(Unit.id))
    yield N_("dispatches without reference"), sent.where(col(Dispatch.reference).is_(None))
    contact = col(Customer.contact)
    yield (
        N_("customers without contact"),
        select(cast(col(Customer.id), String), col(Customer.id)).where(
            among(session, col(Customer.id), customers), or_(contact.is_(None), contact == "")
        ),
    )
