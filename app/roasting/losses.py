"""Reading what roasts of each style lost of late."""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Subquery, func, select
from sqlmodel import Session, col

from app.ledger.tables import Entry, Unit
from app.quality.rules import FREE
from app.roasting.queries import DISPOSITION
from app.roasting.styles.tables import Style
from app.roasting.tables import Roast
from app.roasting.yields import WHOLE_MILLI, Basis, Yield, by_house, by_target
from app.settings import Settings


def yields_of(
    session: Session, styles: Iterable[Style], settings: Settings, at: datetime
) -> Mapping[int, Yield]:
    """Say what each style gives: measured, else as it aims, else by the house's range."""
    return yields_by(
        styles, measured(session.execute(select(losses_until(at, settings)))), settings
    )


def yields_by(
    styles: Iterable[Style], measured: Mapping[int, Yield], settings: Settings
) -> Mapping[int, Yield]:
    """Say what each style gives by what was measured, else as it aims or by the house's range."""
    found = {}
    for style in styles:
        assert style.id is not None  # noqa: S101 - read from the database
        aimed = style.loss_milli
        if style.id in measured:
            found[style.id] = measured[style.id]
        elif aimed is not None and aimed < WHOLE_MILLI:
            found[style.id] = by_target(aimed)
        else:
            found[style.id] = by_house(settings.loss_range_pct)
    return found


def losses_until(at: datetime, settings: Settings) -> Subquery:
    """Add up charges and end weights of roasts that may be packed, by style, in a statement."""
    since = at - timedelta(days=settings.loss_window_days)
    return (
        select(
            col(Roast.style_id),
            func.sum(col(Roast.charge_g)).label("charge_g"),
            func.sum(col(Unit.made_g)).label("end_g"),
            func.count().label("roasts"),
        )
        .join(Unit, col(Unit.id) == col(Roast.unit_id))
        .join(Entry, col(Entry.id) == col(Unit.born_entry_id))
        .where(col(Unit.voided_entry_id).is_(None))
        .where(col(Entry.happened_at) >= since, col(Entry.happened_at) <= at)
        .where(DISPOSITION.in_(FREE))
        .where(col(Roast.style_id).is_not(None))
        .group_by(col(Roast.style_id))
        .subquery()
    )


def measured(rows: Iterable[Any]) -> Mapping[int, Yield]:
    """Take the losses of styles that were measured as `losses_until` adds them up."""
    return {
        style_id: Yield(int(end_g), int(charge_g), Basis.MEASURED, roasts)
        for style_id, charge_g, end_g, roasts in rows
        if style_id is not None
    }
