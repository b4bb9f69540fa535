"""Telling what left and what came back: dispatches, sales over a counter, returns."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator
from typing import Any

from sqlalchemy import Row, func, select
from sqlmodel import Session, col

from app.epcis.book import Book
from app.epcis.corrected import Corrections
from app.epcis.telling import Rank, Told
from app.ledger.tables import Unit
from app.sending.cases.tables import Case, CaseChange, CaseLine, DispatchCase
from app.sending.orders.tables import CustomerOrder
from app.sending.sales.tables import Sale
from app.sending.tables import Customer, Dispatch, DispatchLine, Returned
from app.shared.db import among
from app.standards.epcis import events
from app.standards.epcis.events import own


class Sending:
    """Dispatches of some entries, with their bags and cases."""

    def __init__(self, session: Session, entry_ids: Collection[int]) -> None:
        self._sent = session.execute(
            select(
                col(Unit.id), col(Unit.code), col(Unit.kind), col(Unit.born_entry_id),
                col(Customer.id).label("customer"), col(Customer.name), col(Dispatch.reference),
                col(CustomerOrder.code).label("order"), col(Sale.sold_on),
            )
            .join(Dispatch, col(Dispatch.unit_id) == col(Unit.id))
            .join(Customer, col(Customer.id) == col(Dispatch.customer_id))
            .outerjoin(CustomerOrder, col(CustomerOrder.id) == col(Dispatch.order_id))
            .outerjoin(Sale, col(Sale.dispatch_id) == col(Unit.id))
            .where(among(session, col(Unit.born_entry_id), entry_ids))
            .order_by(col(Unit.id))
        ).all()  # fmt: skip
        ids = [row.id for row in self._sent]
        self._lines: dict[int, list[tuple[int, int]]] = defaultdict(list)
        for dispatch, pack, bags in session.execute(
            select(col(DispatchLine.dispatch_id), col(DispatchLine.pack_id), col(DispatchLine.bags))
            .where(among(session, col(DispatchLine.dispatch_id), ids))
            .order_by(col(DispatchLine.dispatch_id), col(DispatchLine.pack_id))
        ):
            self._lines[dispatch].append((pack, bags))
        self._boxes: dict[int, list[str]] = defaultdict(list)
        for dispatch, code in session.execute(
            select(col(DispatchCase.dispatch_id), col(Case.code))
            .join(Case, col(Case.id) == col(DispatchCase.case_id))
            .where(among(session, col(DispatchCase.dispatch_id), ids), col(DispatchCase.named))
            .order_by(col(Case.id))
        ):
            self._boxes[dispatch].append(code)
        self._cased = _cased(session, ids)
        self._corrections = Corrections(session, ids)

    def units(self) -> Iterator[int]:
        """Name the units that are told of."""
        for row in self._sent:
            yield row.id
            yield from (pack for pack, _ in self._lines[row.id])

    def entries(self) -> Iterator[int]:
        """Name the entries that voided any of them."""
        yield from self._corrections.entries()

    def tell(self, book: Book) -> Iterator[Told]:
        """Tell of each dispatch: cases by their own number, loose bags by the lot."""
        for row in self._sent:
            cased = self._cased[row.id]
            loose = [
                book.coffee.bags(pack, bags - cased[pack])
                for pack, bags in self._lines[row.id]
                if bags > cased[pack]
            ]
            sold = row.sold_on is not None
            papers = [events.paper("desadv", book.naming.paper("desadv", row.code))]
            if row.order is not None:
                papers.append(events.paper("po", book.naming.paper("po", row.order)))
            event = events.object_event(
                book.journal.begin(row.born_entry_id, str(row.kind)), "OBSERVE",
                "retail_selling" if sold else "shipping",
                disposition="retail_sold" if sold else "in_transit",
                epcList=[book.naming.box(code) for code in self._boxes[row.id]],
                quantityList=events.merged(loose), readPoint=book.house,
                bizTransactionList=papers,
                **events.handed_over(book.firm, book.party("customer", row.customer, row.name)),
                **self._corrections.replaced(book.journal, row.id),
                **({own("reference"): row.reference} if row.reference else {}),
            )  # fmt: skip
            units = frozenset([row.id, *(pack for pack, _ in self._lines[row.id])])
            wrong = self._corrections.wrong(book.journal, row.id)
            yield Told(row.born_entry_id, Rank.SENT, row.id, event, units, wrong)


def _cased(session: Session, dispatch_ids: Collection[int]) -> dict[int, Counter[int]]:
    """Count the bags of each pack that left in cases, by dispatch."""
    rows = session.execute(
        select(col(DispatchCase.dispatch_id), col(CaseLine.pack_id), func.sum(col(CaseLine.count)))
        .join(Unit, col(Unit.id) == col(DispatchCase.dispatch_id))
        .join(CaseChange, col(CaseChange.case_id) == col(DispatchCase.case_id))
        .join(CaseLine, col(CaseLine.change_id) == col(CaseChange.id))
        .where(among(session, col(DispatchCase.dispatch_id), dispatch_ids))
        # What is in a case changes after its dispatch only where that was voided.
        .where(col(CaseLine.pack_id).is_not(None))
        .where(col(CaseChange.entry_id) < col(Unit.born_entry_id))
        .group_by(col(DispatchCase.dispatch_id), col(CaseLine.pack_id))
    )
    found: dict[int, Counter[int]] = defaultdict(Counter)
    for dispatch, pack, bags in rows:
        found[dispatch][pack] = int(bags)
    return found


class Returns:
    """Bags that came back in some entries."""

    def __init__(self, session: Session, entry_ids: Collection[int]) -> None:
        self._back: dict[int, list[Row[Any]]] = defaultdict(list)
        for row in session.execute(
            select(
                col(Unit.id), col(Unit.code), col(Unit.kind), col(Unit.born_entry_id),
                col(Returned.bags), col(Returned.reason), col(Returned.pack_id),
                col(Returned.dispatch_id), col(Customer.id).label("customer"), col(Customer.name),
            )
            .join(Returned, col(Returned.unit_id) == col(Unit.id))
            .join(Dispatch, col(Dispatch.unit_id) == col(Returned.dispatch_id))
            .join(Customer, col(Customer.id) == col(Dispatch.customer_id))
            .where(among(session, col(Unit.born_entry_id), entry_ids))
            .order_by(col(Unit.id))
        ):  # fmt: skip
            self._back[row.born_entry_id].append(row)
        units = [row.id for rows in self._back.values() for row in rows]
        self._corrections = Corrections(session, units)

    def units(self) -> Iterator[int]:
        """Name the units that are told of."""
        for rows in self._back.values():
            for row in rows:
                yield from (row.id, row.pack_id)

    def entries(self) -> Iterator[int]:
        """Name the entries that voided any of them."""
        yield from self._corrections.entries()

    def tell(self, book: Book) -> Iterator[Told]:
        """Tell of each return; bags keep the name of their pack on the road and back."""
        for entry, rows in self._back.items():
            first = rows[0]
            customer = book.party("customer", first.customer, first.name)
            event = events.object_event(
                book.journal.begin(entry, str(first.kind)), "OBSERVE", "receiving",
                disposition="returned", readPoint=book.house,
                quantityList=events.merged(book.coffee.bags(row.id, row.bags) for row in rows),
                bizTransactionList=[events.paper("rma", book.naming.paper("rma", first.code))],
                **events.handed_over(customer, book.firm, "possessing_party"),
                **self._corrections.replaced(book.journal, first.id),
                **{own("reason"): first.reason},
            )  # fmt: skip
            units = frozenset(
                unit for row in rows for unit in (row.id, row.pack_id, row.dispatch_id)
            )
            wrong = self._corrections.wrong(book.journal, first.id)
            yield Told(entry, Rank.SENT, first.id, event, units, wrong)


class Cases:
    """What was put into cases and onto pallets in some entries, or taken out."""

    def __init__(self, session: Session, entry_ids: Collection[int]) -> None:
        inner = select(col(Case.id), col(Case.code)).subquery()
        self._changes: dict[int, list[Row[Any]]] = defaultdict(list)
        for row in session.execute(
            select(
                col(CaseChange.id), col(CaseChange.entry_id), col(CaseChange.reason),
                col(Case.code), col(Case.kind), col(CaseLine.pack_id),
                col(CaseLine.count).label("change"), inner.c.code.label("inner"),
                inner.c.id.label("inner_id"),
            )
            .join(Case, col(Case.id) == col(CaseChange.case_id))
            .join(CaseLine, col(CaseLine.change_id) == col(CaseChange.id))
            .outerjoin(inner, inner.c.id == col(CaseLine.inner_id))
            .where(among(session, col(CaseChange.entry_id), entry_ids))
            .order_by(col(CaseChange.id), col(CaseLine.number))
        ):  # fmt: skip
            self._changes[row.id].append(row)
        inside = {row.inner_id for rows in self._changes.values() for row in rows if row.inner_id}
        self._packs: dict[int, set[int]] = defaultdict(set)
        for case, pack in session.execute(
            select(col(CaseChange.case_id), col(CaseLine.pack_id))
            .join(CaseLine, col(CaseLine.change_id) == col(CaseChange.id))
            .where(among(session, col(CaseChange.case_id), inside))
            .where(col(CaseLine.pack_id).is_not(None))
        ):
            self._packs[case].add(pack)

    def units(self) -> Iterator[int]:
        """Name the units that are told of."""
        for rows in self._changes.values():
            yield from (row.pack_id for row in rows if row.pack_id is not None)

    def entries(self) -> Iterator[int]:
        """Name the entries that voided any of it: what was put in is taken out again."""
        yield from ()

    def tell(self, book: Book) -> Iterator[Told]:
        """Tell of each change: what went in, and what came out."""
        for number, rows in self._changes.items():
            units = frozenset(
                unit
                for row in rows
                for unit in ([row.pack_id] if row.pack_id else self._packs[row.inner_id])
            )
            for action, sign in (("ADD", 1), ("DELETE", -1)):
                some = [row for row in rows if row.change * sign > 0]
                if not some:
                    continue
                word = "packing" if sign > 0 else "unpacking"
                first = some[0]
                event = events.aggregation(
                    book.journal.begin(first.entry_id, word, number), action,
                    book.naming.box(first.code), readPoint=book.house,
                    childEPCs=[book.naming.box(row.inner) for row in some if row.inner],
                    childQuantityList=events.merged(
                        book.coffee.bags(row.pack_id, abs(row.change))
                        for row in some
                        if row.pack_id
                    ),
                    **({own("reason"): first.reason} if first.reason else {}),
                    **{own("kind"): str(first.kind)},
                )  # fmt: skip
                yield Told(first.entry_id, Rank.CASED, number, event, units)
