"""Reading colours of roasts back."""

import json
from datetime import datetime
from fractions import Fraction
from functools import cache
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.green.instruments.rules import CalibrationStatus
from app.green.instruments.tables import Instrument
from app.ledger.corrections.tables import ActVoid
from app.ledger.queries import unit_by_code
from app.ledger.tables import Entry, UnitKind
from app.roasting.colours.schemas import ColourOut
from app.roasting.colours.tables import RoastColour
from app.roasting.rules import ColourForm
from app.shared.db import AnySelect
from app.shared.mass import kg_from_grams as from_milli
from app.shared.paging import Page, PageOf, turn_page
from app.standards.moisture import half_up


class Taken(NamedTuple):
    """Which reading of its roast a colour is, when it was taken and in which entry it stands."""

    number: int
    at: datetime
    entry_id: int


class Written(NamedTuple):
    """A colour on its way into the book: the columns of its row."""

    unit_id: int
    number: int
    scale: str | None
    form: ColourForm | None
    shades: str
    instrument: str | None
    instrument_id: int | None
    calibration: CalibrationStatus | None
    entry_id: int


def colour_out(  # noqa: PLR0917 - a row's members
    roast: str,
    row: RoastColour | Written,
    card: str | None,
    at: datetime,
    who: str,
    void_reason: str | None = None,
) -> ColourOut:
    """Write a colour as it is answered."""
    shades: list[int] = json.loads(row.shades)
    return ColourOut(
        roast=roast,
        number=row.number,
        scale=row.scale,
        form=row.form,
        values=[from_milli(shade) for shade in shades],
        mean=from_milli(int(half_up(Fraction(sum(shades), len(shades)), 0))),
        spread=from_milli(max(shades) - min(shades)),
        instrument=row.instrument,
        instrument_card=card,
        calibration=row.calibration,
        taken_at=at,
        taken_by=who,
        voided=void_reason is not None,
        void_reason=void_reason,
    )


@cache
def _colours() -> AnySelect:
    return (
        select(
            col(RoastColour.number),
            RoastColour,
            col(Instrument.code).label("card"),
            col(Entry.happened_at),
            col(Entry.who),
            col(ActVoid.reason).label("void_reason"),
        )
        .join(Entry, col(Entry.id) == col(RoastColour.entry_id))
        .outerjoin(Instrument, col(Instrument.id) == col(RoastColour.instrument_id))
        .outerjoin(ActVoid, col(ActVoid.colour_entry_id) == col(RoastColour.entry_id))
    )


def _shown(roast: str, row: Any) -> ColourOut:  # noqa: ANN401 - a row of `_colours`
    return colour_out(roast, row.RoastColour, row.card, row.happened_at, row.who, row.void_reason)


def colours_of(session: Session, unit_id: int, code: str) -> list[ColourOut]:
    """Read every colour of one roast, in the order they were booked."""
    rows = session.execute(
        _colours().where(col(RoastColour.unit_id) == unit_id).order_by(col(RoastColour.number))
    )
    return [_shown(code, row) for row in rows]


def colour_page(session: Session, page: Page, code: str) -> PageOf:
    """Read the colours of a roast in the order they were booked."""
    unit = unit_by_code(session, code, UnitKind.ROAST)
    statement = _colours().where(col(RoastColour.unit_id) == unit.id)
    rows, following = turn_page(session, statement, col(RoastColour.number), page)
    return [_shown(unit.code, row).model_dump() for row in rows], following
