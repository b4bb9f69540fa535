"""What leaves, or goes into a case: rows of bags and cases, whose field takes either code."""

from collections.abc import Mapping, Sequence
from datetime import date

from sqlalchemy import select
from sqlmodel import Session, col

from app.packing.tables import Product
from app.sending.cases.tables import Case
from app.sending.crates.tables import CrateKind
from app.sending.picking.rules import Stock, why_not
from app.sending.picking.stock import stocks
from app.sending.tables import Customer, CustomerKind
from app.shared.days import day_of
from app.shared.times import now
from app.web.forms import Typed
from app.web.parts import codes_in


def by_what_leaves(session: Session, typed: Typed, rows: str) -> dict[str, Sequence[str]]:
    """Let a row that holds the code of a case or pallet name that: it goes with all its bags."""
    said = codes_in(typed, rows, "pack")
    cases = set(session.scalars(select(col(Case.code)).where(col(Case.code).in_(said.values()))))
    whole = {name.removesuffix("pack") for name, code in said.items() if code in cases}
    return {
        f"{row}case" if (row := name.removesuffix("pack")) in whole else name: values
        for name, values in typed.items()
        if not (name.endswith(".bags") and name.removesuffix("bags") in whole)
    }


def without_blank_rows(typed: Typed, rows: str) -> dict[str, Sequence[str]]:
    """Leave out the rows of packs of which no bags were named."""
    blank = {
        name.removesuffix("bags")
        for name, values in typed.items()
        if name.endswith(".bags") and not "".join(values).strip()
    }
    return {
        name: values
        for name, values in typed.items()
        if not (name.startswith(f"{rows}.") and name.rpartition(".")[0] + "." in blank)
    }


def customers(session: Session, kind: CustomerKind) -> Sequence[tuple[str, str]]:
    """Name the customers of a kind, as choices."""
    names = session.scalars(
        select(col(Customer.name)).where(col(Customer.kind) == kind).order_by(col(Customer.name))
    )
    return [(name, name) for name in names]


def crate_kinds(session: Session) -> Sequence[tuple[str, str]]:
    """Name the kinds of crates, as choices."""
    names = session.scalars(select(col(CrateKind.name)).order_by(col(CrateKind.name)))
    return [(name, name) for name in names]


def free_bags(session: Session, skus: Sequence[str]) -> Mapping[str, int]:
    """Count the bags by product that may go out: none held, kept, rejected or past its date."""
    ids = session.scalars(select(col(Product.id)).where(col(Product.sku).in_(skus))).all()
    moment = now()
    free: dict[str, int] = {}
    for stock in stocks(session, [each for each in ids if each], moment):
        free[stock.sku] = free.get(stock.sku, 0) + _free(stock, day_of(moment))
    return free


def _free(stock: Stock, today: date) -> int:
    return stock.free if why_not(stock, today) is None else 0
