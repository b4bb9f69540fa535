"""Deliveries that are expected: contracts of which not all has come."""

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from sqlalchemy import or_, select
from sqlmodel import Session, col

from app.green.contracts.received import RECEIVED_G
from app.green.contracts.shelf import terms_of
from app.green.contracts.tables import PurchaseContract
from app.green.tables import Supplier
from app.settings import Settings
from app.shared.days import today_here
from app.standards.buying import Standing, accepted


class Expected(NamedTuple):
    """A contract, and what is still to come of it."""

    reference: str
    supplier: str
    origin: str | None
    quantity_g: int
    received_g: int
    expected_on: date | None

    @property
    def open_g(self) -> int:
        """What is still to come by the quantity agreed on."""
        return max(0, self.quantity_g - self.received_g)


def expected(session: Session, settings: Settings) -> Sequence[Expected]:
    """Name contracts of which less came than is accepted, the first to be expected first.

    Of those that were ended nothing is.
    """
    ended_on = col(PurchaseContract.ended_on)
    rows = session.execute(
        select(PurchaseContract, col(Supplier.name), RECEIVED_G)
        .join(Supplier, col(Supplier.id) == col(PurchaseContract.supplier_id))
        .where(or_(ended_on.is_(None), ended_on > today_here()))
        .order_by(col(PurchaseContract.expected_on), col(PurchaseContract.id))
    ).all()
    found = [
        (
            contract,
            Expected(
                contract.reference, supplier, contract.origin, contract.quantity_g,
                int(received_g), contract.expected_on,
            ),
        )
        for contract, supplier, received_g in rows
    ]  # fmt: skip
    open_ones = [
        each
        for contract, each in found
        if accepted(contract.quantity_g, terms_of(contract, settings).tolerance_pct).standing(
            each.received_g
        )
        is Standing.UNDER
    ]
    # Those without a day come last, in every database.
    return sorted(open_ones, key=lambda each: (each.expected_on is None, each.expected_on))
