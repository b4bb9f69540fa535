"""What the stock is worth on a day, and what was expensed in a period."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Final, NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.green.tables import Condition, Sack
from app.ledger.happened import not_taken_back
from app.ledger.tables import Adjustment, Entry, Reason, Unit, UnitKind
from app.settings import Settings
from app.shared.days import begin_of, end_of
from app.shared.periods import Period
from app.standards.costing import CostMethod, Money, added, times
from app.value.flows import Costs, GreenUse, costs_of, green_use
from app.value.schemas import (
    AmountOut,
    ExpenseRow,
    ExpensesOut,
    ValuationOut,
    ValueRow,
)
from app.value.showing import amounts, unpriced_g
from app.value.stock import There, there_before

SWEEPINGS: Final = "sweepings"
CAUTION: Final = (
    "What the coffee cost, by what is known of its costs today, also for a day in the past; what "
    "it could be sold for may be less. Packing material, work and energy are not in it."
)


def valuation(session: Session, on: date, settings: Settings) -> ValuationOut:
    """Value everything that was in the house at the end of a day."""
    until = end_of(on)
    there = there_before(session, until)
    used = green_use(session, settings, until)
    known = costs_of(session, [each.unit_id for each in there], settings, used)
    rows = [*_green(there, known, used), *_made(there, known)]
    return ValuationOut(
        on=on,
        method=settings.cost_method,
        pooled_by=None if settings.cost_method is CostMethod.SPECIFIC else settings.cost_pool,
        items=rows,
        totals=_totals([row.costs for row in rows]),
        unpriced_green_g=sum(row.unpriced_green_g for row in rows),
        caution=CAUTION,
    )


def _green(there: Sequence[There], known: Costs, used: GreenUse) -> list[ValueRow]:
    """Value green: by lot, or by what is priced together."""
    worth = _by_lot(there, known)
    if used.pools:
        worth = {key: (pool.grams, pool.money) for key, pool in used.pools.items()}
    return [
        ValueRow(
            kind="green", key=key, grams=grams, costs=amounts(money),
            unpriced_green_g=unpriced_g(money),
        )
        for key, (grams, money) in sorted(worth.items())
        if grams
    ]  # fmt: skip


def _by_lot(there: Sequence[There], known: Costs) -> Mapping[str, tuple[int, Money]]:
    sacks = [
        each for each in there if each.kind == UnitKind.SACK and each.unit_id not in known.swept
    ]
    lots = {
        target: known.units[source].code
        for target, flows in known.flows.items()
        if known.units[target].kind == UnitKind.SACK
        for source, _ in flows
    }
    grams: Counter[str] = Counter()
    money: dict[str, Money] = defaultdict(dict)
    for sack in sacks:
        code = lots[sack.unit_id]
        grams[code] += sack.left_g
        money[code] = added(money[code], times(known.per_gram[sack.unit_id], sack.left_g))
    return {code: (grams[code], money[code]) for code in grams}


def _made(there: Sequence[There], known: Costs) -> list[ValueRow]:
    """Value what was roasted, blended, packed or sent back."""
    rows = []
    for each in there:
        if each.kind in {UnitKind.LOT, UnitKind.SACK}:
            continue
        money = times(known.per_gram[each.unit_id], each.left_g)
        rows.append(ValueRow.model_validate({
            "kind": each.kind.value, "key": each.code, "grams": each.left_g,
            "costs": amounts(money), "unpriced_green_g": unpriced_g(money),
        }))  # fmt: skip
    return rows


def _totals(rows: Sequence[Sequence[AmountOut]]) -> list[AmountOut]:
    """Add up what is shown, so that the rows add up for whoever checks them."""
    whole: dict[str, Decimal] = defaultdict(Decimal)
    for row in rows:
        for each in row:
            whole[each.currency] += each.amount
    return [AmountOut(currency=each, amount=whole[each]) for each in sorted(whole)]


class _Lost(NamedTuple):
    """What was adjusted: of a sack by its own number, since it may be priced with others."""

    number: int
    unit_id: int
    reason: str
    grams: int


def expenses(session: Session, period: Period, settings: Settings) -> ExpensesOut:
    """Add up by reason what was lost in a period, and what it had cost."""
    lost = _lost(session, period)
    swept = _swept(session, period)
    used = green_use(session, settings, end_of(period.last))
    units = {each.unit_id for each in lost} | swept.keys()
    known = costs_of(session, units, settings, used)
    grams: Counter[str] = Counter()
    money: dict[str, Money] = defaultdict(dict)
    for each in lost:
        if each.unit_id in known.swept:
            continue
        worth: Money | None = used.adjusted.get(each.number)
        if worth is None:
            worth = times(known.per_gram[each.unit_id], each.grams)
        grams[each.reason] -= each.grams
        money[each.reason] = added(money[each.reason], times(worth, -1))
    for lot_id, swept_g in swept.items():
        grams[SWEEPINGS] += swept_g
        worth = times(known.per_gram[lot_id], swept_g)
        money[SWEEPINGS] = added(money[SWEEPINGS], worth)
    rows = [
        ExpenseRow(
            reason=reason, grams=grams[reason], costs=amounts(money[reason]),
            unpriced_green_g=unpriced_g(money[reason]),
        )
        for reason in sorted(grams)
    ]  # fmt: skip
    totals = _totals([row.costs for row in rows])
    first, last = period
    return ExpensesOut(
        first=first, last=last, method=settings.cost_method, items=rows, totals=totals
    )


def _lost(session: Session, period: Period) -> list[_Lost]:
    """Read what was adjusted and stands; bags that came back are no loss."""
    rows = session.execute(
        select(
            col(Adjustment.id), col(Adjustment.unit_id), col(Adjustment.reason),
            col(Adjustment.grams),
        )
        .join(Unit, col(Unit.id) == col(Adjustment.unit_id))
        .join(Entry, col(Entry.id) == col(Adjustment.entry_id))
        .where(not_taken_back(), col(Adjustment.reason) != Reason.RETURNED)
        .where(col(Unit.voided_entry_id).is_(None))
        .where(col(Entry.happened_at) >= begin_of(period.first))
        .where(col(Entry.happened_at) < end_of(period.last))
    )  # fmt: skip
    return [_Lost(*row) for row in rows]


def _swept(session: Session, period: Period) -> Mapping[int, int]:
    """Add up by lot what was swept up on arrival."""
    rows = session.execute(
        select(col(Sack.lot_id), func.sum(col(Unit.made_g)))
        .join(Unit, col(Unit.id) == col(Sack.unit_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(col(Sack.condition) == Condition.SWEEPINGS, col(Unit.voided_entry_id).is_(None))
        .where(col(Entry.happened_at) >= begin_of(period.first))
        .where(col(Entry.happened_at) < end_of(period.last))
        .group_by(col(Sack.lot_id))
    )
    return {lot_id: int(grams) for lot_id, grams in rows}
