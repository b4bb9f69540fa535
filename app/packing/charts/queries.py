"""Reading the checks of weight that a chart shows."""

from functools import cache
from typing import Final

from sqlalchemy import select
from sqlmodel import Session, col

from app.ledger.cards import card_at
from app.ledger.corrections.tables import ActVoid
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import Entry, Unit, UnitKind
from app.packing.actions import PRODUCTS
from app.packing.charts.rules import Checked, PackChart, ProductChart, counted_once, product_chart
from app.packing.tables import Pack, Product
from app.packing.weighing.tables import CheckWeighing
from app.places.stays import Window
from app.shared.answers import read_json
from app.shared.db import AnySelect
from app.shared.problems import Refused
from app.standards.average_quantity import Check, limits

MOST_CHECKS: Final = 500
"""On one chart, the newest: more points than that are no picture any more."""


@cache
def _checks() -> AnySelect:
    return (
        select(
            col(CheckWeighing.id),
            col(Unit.code),
            col(Entry.happened_at),
            col(CheckWeighing.plan),
            col(CheckWeighing.net_mg),
        )
        .join(Unit, col(Unit.id) == col(CheckWeighing.pack_id))
        .join(Entry, col(Entry.id) == col(CheckWeighing.entry_id))
        .outerjoin(ActVoid, col(ActVoid.check_weighing_id) == col(CheckWeighing.id))
        .where(col(ActVoid.entry_id).is_(None))
        .order_by(col(CheckWeighing.id).desc())
        .limit(MOST_CHECKS)
    )


def _read(session: Session, statement: AnySelect) -> list[Checked]:
    """Read checks, the oldest first."""
    rows = session.execute(statement).all()[::-1]
    return counted_once([
        Checked(
            row.code, row.happened_at, Check(row.plan),
            [int(each) for each in read_json(row.net_mg)],
        )
        for row in rows
    ])  # fmt: skip


def pack_chart(session: Session, code: str) -> PackChart:
    """Read every weight of a pack."""
    unit = live(unit_by_code(session, code, UnitKind.PACK))
    pack = session.get_one(Pack, unit.id)
    product = session.get_one(Product, pack.product_id)
    checks = _read(session, _checks().where(col(CheckWeighing.pack_id) == unit.id))
    if not checks:
        raise Refused("not-found", f"No bag of {unit.code} was weighed: there is nothing to draw.")
    american = all(check.plan is Check.US for check in checks)
    held_against = limits(pack.nominal_g, Check.US if american else Check.DOUBLE)
    return PackChart(
        unit.code,
        product.sku,
        product.name,
        held_against,
        american,
        [check.net_mg for check in checks],
    )


def _refuse_backwards(window: Window) -> None:
    if window.since and window.until and window.since > window.until:
        said = "from is later than to"
        raise Refused("invalid", said, errors=[{"parameter": "from", "detail": said}])


def chart_of_product(session: Session, sku: str, window: Window) -> ProductChart:
    """Read the checks of a product's packs that stand."""
    product = card_at(session, PRODUCTS, sku)
    _refuse_backwards(window)
    statement = (
        _checks()
        .join(Pack, col(Pack.unit_id) == col(CheckWeighing.pack_id))
        .where(col(Pack.product_id) == product.id, col(Unit.voided_entry_id).is_(None))
    )
    if window.since is not None:
        statement = statement.where(col(Entry.happened_at) >= window.since)
    if window.until is not None:
        statement = statement.where(col(Entry.happened_at) <= window.until)
    checks = _read(session, statement)
    chart = product_chart(product.sku, product.name, product.nominal_g, checks)
    if not chart.points:
        raise Refused(
            "not-found", f"No two bags of {product.sku} were weighed then: nothing to draw."
        )
    return chart
