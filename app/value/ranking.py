"""What is used for most money: lots or origins sorted into A, B and C."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.green.tables import GreenLot, Sack
from app.ledger.tables import Entry, Flow, Unit, UnitKind
from app.settings import Settings
from app.shared.days import begin_of, end_of
from app.shared.db import among
from app.shared.periods import Period
from app.standards.costing import Money, abc, added, shown, times
from app.value.landed import landed_costs
from app.value.schemas import AbcOfCurrency, AbcOut, AbcRow
from app.value.showing import currencies, unpriced_g


def ranking(session: Session, period: Period, by: str, settings: Settings) -> AbcOut:
    """Sort lots or origins by the landed cost of what was drawn into roasts."""
    rows = session.execute(
        select(col(GreenLot.unit_id), col(GreenLot.origin), func.sum(col(Flow.grams)))
        .join(Sack, col(Sack.lot_id) == col(GreenLot.unit_id))
        .join(Flow, col(Flow.source_id) == col(Sack.unit_id))
        .join(Unit, col(Unit.id) == col(Flow.target_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(col(Unit.kind) == UnitKind.ROAST, col(Unit.voided_entry_id).is_(None))
        .where(col(Entry.happened_at) >= begin_of(period.first))
        .where(col(Entry.happened_at) < end_of(period.last))
        .group_by(col(GreenLot.unit_id), col(GreenLot.origin))
    ).all()
    lots = [row[0] for row in rows]
    landed = landed_costs(session, lots)
    codes = _codes(session, lots)
    grams: Counter[tuple[str, str]] = Counter()
    money: dict[str, Money] = defaultdict(dict)
    for lot_id, origin, used_g in rows:
        key = codes[lot_id] if by == "lot" else origin
        worth = times(landed[lot_id].per_gram, int(used_g))
        money[key] = added(money[key], worth)
        grams.update({(currency, key): int(used_g) for currency in worth})
    whole = added(*money.values())
    first, last = period
    return AbcOut.model_validate({
        "first": first, "last": last, "by": by, "unpriced_g": unpriced_g(whole),
        "currencies": [_ranked(each, grams, money, settings) for each in currencies(whole)],
    })  # fmt: skip


def _codes(session: Session, ids: Sequence[int]) -> Mapping[int, str]:
    rows = session.execute(
        select(col(Unit.id), col(Unit.code)).where(among(session, col(Unit.id), ids))
    )
    return {row[0]: row[1] for row in rows}


def _ranked(
    currency: str,
    grams: Mapping[tuple[str, str], int],
    money: Mapping[str, Money],
    settings: Settings,
) -> AbcOfCurrency:
    values = {key: each[currency] for key, each in money.items() if currency in each}
    return AbcOfCurrency(
        currency=currency,
        items=[
            AbcRow.model_validate({
                "key": one.key, "used_g": grams[currency, one.key], "value": shown(one.value, 2),
                "cumulative_pct": shown(one.cumulative, 2), "letter": one.letter,
            })
            for one in abc(values, settings.abc_cuts_pct)
        ],
    )  # fmt: skip
