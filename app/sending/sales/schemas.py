"""What the API reads and answers about sales over the counter."""

from datetime import date

from pydantic import Field

from app.ledger.corrections.schemas import Correcting
from app.ledger.schemas import Party, Told
from app.sending.schemas import BagsOut, Lines
from app.shared.codes import NewCode
from app.shared.mass import KgOut
from app.shared.times import Day


class SaleIn(Correcting):
    code: NewCode | None = None
    shop: Party
    """A customer of the kind `consumers`."""
    sold_on: Day
    lines: Lines


class SaleOut(Told):
    code: str
    """The code of the dispatch that it is in traces and returns."""
    shop: str
    sold_on: date
    grams: KgOut = Field(alias="kg")
    left_g: KgOut = Field(alias="left_kg")
    """What has not come back."""
    voided: bool
    lines: list[BagsOut]
