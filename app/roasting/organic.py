"""Organic loss of roasts: worked out when asked, from moistures read before they were made."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Literal, NamedTuple, TypeAlias

from sqlalchemy import select
from sqlmodel import Session, col

from app.green.instruments.rules import DOUBTFUL
from app.green.readings.rules import NO_METHOD, method_key
from app.green.readings.series import standing
from app.green.readings.tables import Reading, ReadingKind
from app.green.tables import Sack
from app.ledger.schemas import Told
from app.ledger.tables import Entry, Flow, Unit
from app.settings import Settings
from app.shared.db import Among, AnySelect, OverIds
from app.shared.mass import kg_from_grams as from_milli
from app.shared.numbers import NumberOut
from app.shared.shares import percent
from app.standards.roast_loss import Part, dry_loss

_ALL_WATER_MILLI = 100_000
_PLACES = 3


@OverIds
def _draws(among: Among) -> AnySelect:
    """What was drawn for roasts."""
    return (
        select(
            col(Flow.target_id),
            col(Flow.source_id),
            col(Flow.grams),
            col(Unit.code),
            col(Sack.lot_id),
        )
        .join(Sack, col(Sack.unit_id) == col(Flow.source_id))
        .join(Unit, col(Unit.id) == col(Flow.source_id))
        .where(among(col(Flow.target_id)))
        .order_by(col(Flow.target_id), col(Flow.source_id))
    )


@OverIds
def _moistures_read(among: Among) -> AnySelect:
    """Moistures of sacks and lots, in the order they were taken."""
    return (
        standing(
            col(Reading.unit_id),
            col(Reading.value_milli),
            col(Reading.method),
            col(Reading.calibration),
            col(Entry.happened_at),
        )
        .where(among(col(Reading.unit_id)))
        .where(col(Reading.kind) == ReadingKind.MOISTURE)
        .order_by(col(Entry.happened_at), col(Reading.id))
    )


class Charged(NamedTuple):
    """What is known of a roast itself."""

    unit_id: int
    end_g: int
    roasted_at: datetime
    moisture_milli: int | None
    """The moisture of the roasted coffee, where it was measured."""


class Drawn(NamedTuple):
    """Green that was drawn for a roast."""

    sack_id: int
    code: str
    lot_id: int
    grams: int


class OrganicOut(Told):
    """Loss of dry matter, apart from the water that went."""

    green_moisture_pct: NumberOut | None
    """Of what was drawn, by mass: each draw by the newest reading of its sack, else of its lot."""
    roasted_moisture_pct: NumberOut
    roasted_moisture: Literal["measured", "assumed"]
    organic_loss_pct: NumberOut | None
    """Of the dry matter of the charge."""
    water_share_pct: NumberOut | None
    """How much of the kilograms lost was water."""
    why_not: str | None
    """Why nothing can be said; null where something can."""


class _Moisture(NamedTuple):
    milli: int
    method: str | None


class _Draw(NamedTuple):
    sack: str
    grams: int
    moisture: _Moisture | None
    """None where nothing was read in time."""


def organic_of(
    session: Session, roasts: Sequence[Charged], settings: Settings
) -> dict[int, OrganicOut]:
    """Work out the organic loss of roasts, in two statements however many they are."""
    drawn: dict[int, list[Drawn]] = {roast.unit_id: [] for roast in roasts}
    for row in _draws.rows(session, drawn.keys()):
        drawn[row.target_id].append(Drawn(row.source_id, row.code, row.lot_id, row.grams))
    return organic_by(session, [(roast, drawn[roast.unit_id]) for roast in roasts], settings)


def organic_by(
    session: Session, roasts: Sequence[tuple[Charged, Sequence[Drawn]]], settings: Settings
) -> dict[int, OrganicOut]:
    """Work out the organic loss of roasts of which is known what was drawn, in one statement."""
    green = {
        unit_id for _, drawn in roasts for each in drawn for unit_id in (each.sack_id, each.lot_id)
    }
    read = _moistures(session, green)
    return {roast.unit_id: _organic(roast, drawn, read, settings) for roast, drawn in roasts}


class _Read(NamedTuple):
    at: datetime
    moisture: _Moisture


_Readings: TypeAlias = Mapping[int, Sequence[_Read]]
"""Of sacks and lots, each in the order they were taken."""


def _moistures(session: Session, unit_ids: Collection[int]) -> _Readings:
    """Read the moistures of sacks and lots that an instrument to be trusted showed, in order."""
    found: dict[int, list[_Read]] = {}
    for row in _moistures_read.rows(session, unit_ids):
        if row.calibration not in DOUBTFUL:
            read = _Read(row.happened_at, _Moisture(row.value_milli, row.method))
            found.setdefault(row.unit_id, []).append(read)
    return found


def _newest(read: _Readings, unit_id: int, at: datetime) -> _Moisture | None:
    in_time = (each for each in reversed(read.get(unit_id, ())) if each.at <= at)
    newest = next(in_time, None)
    return newest.moisture if newest else None


def _organic(
    roast: Charged, drawn: Iterable[Drawn], read: _Readings, settings: Settings
) -> OrganicOut:
    measured = roast.moisture_milli is not None
    roasted = settings.roasted_moisture_pct
    roasted_milli = roast.moisture_milli if measured else int(roasted * 1000)
    at = roast.roasted_at
    draws = [
        _Draw(code, grams, _newest(read, sack_id, at) or _newest(read, lot_id, at))
        for sack_id, code, lot_id, grams in drawn
    ]
    why_not = _why_not(draws)
    known = [(draw.grams, draw.moisture.milli) for draw in draws if draw.moisture]
    loss = None if why_not else dry_loss(known, roast.end_g, roasted_milli or 0)
    return OrganicOut(
        green_moisture_pct=_pct(loss.moisture) if loss else None,
        roasted_moisture_pct=from_milli(roasted_milli or 0),
        roasted_moisture="measured" if measured else "assumed",
        organic_loss_pct=_pct(loss.organic) if loss else None,
        water_share_pct=_pct(loss.water) if loss else None,
        why_not=why_not,
    )


def _pct(part: Part | None) -> Decimal | None:
    return None if part is None else percent(part.part, part.whole, _PLACES)


def _why_not(draws: Sequence[_Draw]) -> str | None:
    unread = [draw.sack for draw in draws if draw.moisture is None]
    if unread:
        return f"no moisture of {_named(unread)} was read, nor of the lot, before it was roasted"
    methods = {
        method_key(draw.moisture.method): draw.moisture.method or NO_METHOD
        for draw in draws
        if draw.moisture
    }
    if len(methods) > 1:
        return f"moistures by methods that do not compare: {', '.join(sorted(methods.values()))}"
    sodden = [
        draw.sack for draw in draws if draw.moisture and draw.moisture.milli == _ALL_WATER_MILLI
    ]
    return f"a moisture of 100 % leaves no dry matter: {_named(sodden)}" if sodden else None


def _named(sacks: Iterable[str]) -> str:
    named = list(sacks)
    more = f" and {len(named) - 3} more" if len(named) > 3 else ""  # noqa: PLR2004 - a sentence, no list
    return ", ".join(named[:3]) + more
