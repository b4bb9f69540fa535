"""Telling what was made: roasts out of sacks, blends out of roasts, bags out of all and film."""

from collections import defaultdict
from collections.abc import Collection, Iterator
from typing import Any

from sqlalchemy import Row, and_, select
from sqlmodel import Session, col

from app.epcis.book import Book
from app.epcis.corrected import Corrections
from app.epcis.material import used
from app.epcis.telling import Rank, Told
from app.ledger.tables import Flow, Unit, UnitKind
from app.packing.materials.tables import Material, MaterialLot, MaterialUse
from app.packing.tables import Blend, Pack, Product
from app.places.tables import Location, Move
from app.roasting.tables import Machine, MachineRun, Roast
from app.shared.db import among
from app.shared.mass import kg_from_grams
from app.standards.epcis import events
from app.standards.epcis.events import BEST_BEFORE, LOT_NUMBER, own

MADE = (UnitKind.ROAST, UnitKind.BLEND, UnitKind.PACK)


class Making:
    """Units that were made in some entries, and what went into them."""

    def __init__(self, session: Session, entry_ids: Collection[int]) -> None:
        born = among(session, col(Unit.born_entry_id), entry_ids)
        self._made = session.execute(_made().where(born)).all()
        self._inputs: dict[int, list[tuple[int, int]]] = defaultdict(list)
        for target, source, grams in session.execute(
            select(col(Flow.target_id), col(Flow.source_id), col(Flow.grams))
            .join(Unit, col(Unit.id) == col(Flow.target_id))
            .where(born, col(Unit.kind).in_(MADE))
            .order_by(col(Flow.target_id), col(Flow.source_id))
        ):
            self._inputs[target].append((source, grams))
        self._materials: dict[int, list[Row[Any]]] = defaultdict(list)
        for row in session.execute(_materials().where(born)):
            self._materials[row.pack_id].append(row)
        self._corrections = Corrections(session, [row.id for row in self._made])

    def units(self) -> Iterator[int]:
        """Name the units that are told of."""
        for row in self._made:
            yield row.id
            yield from (source for source, _ in self._inputs[row.id])

    def entries(self) -> Iterator[int]:
        """Name the entries that voided any of them, and those of what they replaced."""
        yield from self._corrections.entries()

    def tell(self, book: Book) -> Iterator[Told]:
        """Tell of each unit that was made."""
        for row in self._made:
            inputs = self._inputs[row.id]
            parts = [book.coffee.amount(source, grams) for source, grams in inputs]
            parts += [used(book.naming, each) for each in self._materials[row.id]]
            whole_g = sum(grams for _, grams in inputs)
            event = events.transformation(
                book.journal.begin(row.born_entry_id, str(row.kind)), events.merged(parts),
                book.coffee.amount(row.id, row.made_g),
                disposition="active" if row.kind != UnitKind.ROAST or row.passed
                else "non_conformant",
                readPoint=book.house, bizLocation=book.at(row.place),
                ilmd=_master_data(row, whole_g - row.made_g),
                **_own(row), **self._corrections.replaced(book.journal, row.id),
            )  # fmt: skip
            units = frozenset([row.id, *(source for source, _ in inputs)])
            wrong = self._corrections.wrong(book.journal, row.id)
            yield Told(row.born_entry_id, Rank.MADE, row.id, event, units, wrong)


def _made() -> Any:  # noqa: ANN401 - a select of many columns
    put = and_(
        col(Move.unit_id) == col(Unit.id), col(Move.entry_id) == col(Unit.born_entry_id),
        col(Move.from_id).is_(None),
    )  # fmt: skip
    return (
        select(
            col(Unit.id), col(Unit.code), col(Unit.kind), col(Unit.made_g),
            col(Unit.born_entry_id), col(Unit.voided_entry_id), col(Roast.style),
            col(Roast.passed), col(Blend.recipe), col(Pack.bags), col(Pack.lot_mark),
            col(Pack.best_before), col(Product.sku), col(Machine.code).label("machine"),
            col(Location.code).label("place"),
        )
        .outerjoin(Roast, col(Roast.unit_id) == col(Unit.id))
        .outerjoin(Blend, col(Blend.unit_id) == col(Unit.id))
        .outerjoin(Pack, col(Pack.unit_id) == col(Unit.id))
        .outerjoin(Product, col(Product.id) == col(Pack.product_id))
        .outerjoin(MachineRun, col(MachineRun.unit_id) == col(Unit.id))
        .outerjoin(Machine, col(Machine.id) == col(MachineRun.machine_id))
        .outerjoin(Move, put)
        .outerjoin(Location, col(Location.id) == col(Move.to_id))
        .where(col(Unit.kind).in_(MADE))
        .order_by(col(Unit.id))
    )  # fmt: skip


def _materials() -> Any:  # noqa: ANN401 - a select of many columns
    return (
        select(
            col(MaterialUse.pack_id), col(MaterialUse.used_milli), col(MaterialLot.code),
            col(Material.code).label("material"), col(Material.unit),
        )
        .join(Unit, col(Unit.id) == col(MaterialUse.pack_id))
        .join(MaterialLot, col(MaterialLot.id) == col(MaterialUse.lot_id))
        .join(Material, col(Material.id) == col(MaterialLot.material_id))
        .order_by(col(MaterialUse.pack_id), col(MaterialLot.id))
    )  # fmt: skip


def _master_data(row: Row[Any], lost_g: int) -> dict[str, object]:
    """Say what is known of a new lot; what was lost on the way is nowhere in the standard."""
    said: dict[str, object] = {LOT_NUMBER: row.code}
    if row.kind == UnitKind.ROAST:
        said[own("shrinkKg")] = kg_from_grams(lost_g)
    elif row.kind == UnitKind.PACK:
        said[own("lotMark")] = row.lot_mark
        said[own("lossKg")] = kg_from_grams(lost_g)
        if row.best_before is not None:
            said[BEST_BEFORE] = row.best_before.isoformat()
    return said


def _own(row: Row[Any]) -> dict[str, object]:
    """Say in our own words what the vocabulary has no word for."""
    said = {"act": str(row.kind), "machine": row.machine, "style": row.style,
            "recipe": row.recipe, "product": row.sku}  # fmt: skip
    return {own(word): text for word, text in said.items() if text}
