"""Reading the colour of a roast, with the roast itself or later."""

import json
from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from sqlalchemy import func, select
from sqlmodel import col

from app.green.instruments.queries import status_on
from app.green.instruments.rules import CalibrationStatus
from app.green.instruments.shelf import INSTRUMENTS
from app.green.instruments.tables import Instrument
from app.green.readings.tables import ReadingKind
from app.ledger.cards import find
from app.ledger.posting import Pen
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import UnitKind
from app.roasting.colours.queries import Taken, Written, colour_out
from app.roasting.colours.schemas import ColourIn, ColourOut, ColourReadingIn
from app.roasting.colours.tables import RoastColour
from app.shared.days import day_of
from app.shared.problems import FieldRefused


class Meter(NamedTuple):
    """What a colour was read with."""

    card: Instrument
    calibration: CalibrationStatus


def meter_of(pen: Pen, said: str | None, at: datetime, pointer: str) -> Meter | None:
    """Find the card of the instrument, if what was said is the code of one."""
    card = find(pen.session, INSTRUMENTS, said) if said else None
    if card is None:
        return None
    if ReadingKind.COLOUR not in card.kinds.split(","):
        raise FieldRefused(
            pointer, f"{card.code} takes readings of {card.kinds.replace(',', ', ')}, not of colour"
        )
    return Meter(card, status_on(pen.session, card, day_of(at)))


def write_colour(
    pen: Pen,
    roast: tuple[int, str],
    read: ColourReadingIn,
    meter: Meter | None,
    taken: Taken,
) -> ColourOut:
    """Write a colour of a roast, given by number and code, as part of an entry already written."""
    unit_id, code = roast
    row = Written(
        unit_id, taken.number, read.scale, read.form, json.dumps(_milli(read.values)),
        read.instrument, meter.card.id if meter else None, meter.calibration if meter else None,
        taken.entry_id,
    )  # fmt: skip
    pen.write(RoastColour, [row._asdict()])
    return colour_out(code, row, meter.card.code if meter else None, taken.at, pen.who)


def _milli(values: Sequence[Decimal]) -> list[int]:
    return [int(value * 1000) for value in values]


def read_colour(pen: Pen, code: str, asked: ColourIn) -> ColourOut:
    """Read the colour of a roast again; what its gate found stays, tasting decides."""
    unit = live(unit_by_code(pen.session, code, UnitKind.ROAST))
    at = pen.moment(asked.taken_at, "#/taken_at")
    meter = meter_of(pen, asked.instrument, at, "#/instrument")
    entry_id = pen.note("colour", {"roast": unit.code, **asked.model_dump(mode="json")}, at)
    last = pen.session.scalar(
        select(func.max(col(RoastColour.number))).where(col(RoastColour.unit_id) == unit.id)
    )
    taken = Taken((last or 0) + 1, at, entry_id)
    return write_colour(pen, (unit.id, unit.code), asked, meter, taken)
