"""Where the cards of instruments stand."""

from typing import Final

from app.green.instruments.schemas import InstrumentOut
from app.green.instruments.tables import Instrument
from app.ledger.cards import Shelf

INSTRUMENTS: Final = Shelf("instrument", Instrument, InstrumentOut, key="code", folded="code")
