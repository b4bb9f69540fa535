"""What is charged for planned batches: which sacks to fetch, in the order of roasting.

Read for all of them at once, so that two batches of a morning are not sent for the same sack.
"""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, Final, NamedTuple

from sqlmodel import Session

from app.green.picking.queries import choices
from app.green.picking.rules import Choice, Draw, suggest
from app.roasting.batches.queries import Wanted, batch_page
from app.shared.mass import grams_from_kg
from app.shared.paging import Page
from app.web.shown import typed_mass

MOST: Final = 200
"""More batches are no day's work."""


class Charge(NamedTuple):
    """A batch that waits, and the sacks it can be drawn from."""

    batch: Mapping[str, Any]
    draws: Sequence[Draw]
    short_g: int
    """What is reserved and cannot be drawn: on hold, or outside the house."""

    @property
    def fields(self) -> dict[str, str]:
        """Name what the batch fills into the form of a roast."""
        filled = {"batch": str(self.batch["id"]), "machine": self.batch["machine"] or ""}
        for number, draw in enumerate(self.draws):
            filled[f"draws.{number}.sack"] = draw.sack.code
            filled |= typed_mass(f"draws.{number}.kg", draw.grams)
            if draw.grams == draw.sack.left_g:
                filled[f"draws.{number}.emptied"] = "true"
        return {name: value for name, value in filled.items() if value}


def waiting(session: Session, last: date) -> list[Charge]:
    """Read the batches that are planned until a day and not roasted, with their sacks."""
    batches, _more = batch_page(session, Page(MOST, 0), Wanted("planned", None, last))
    batches = sorted(batches, key=lambda each: (str(each["on"]), int(str(each["id"]))))
    lots = {part["lot"]: None for each in batches for part in _green(each)}
    there = {sack.code: sack for sack in choices(session, list(lots))} if lots else {}
    return [_charge(each, there) for each in batches]


def _green(batch: Mapping[str, Any]) -> Sequence[Mapping[str, Any]]:
    green: Sequence[Mapping[str, Any]] = batch["green"]
    return green


def _charge(batch: Mapping[str, Any], there: dict[str, Choice]) -> Charge:
    """Choose the sacks of one batch, and take off them what it draws."""
    draws: list[Draw] = []
    wanted_g = 0
    for part in _green(batch):
        grams = grams_from_kg(part["kg"])
        wanted_g += grams
        draws += suggest([sack for sack in there.values() if sack.lot == part["lot"]], grams)
    for draw in draws:
        left_g = there[draw.sack.code].left_g - draw.grams
        there[draw.sack.code] = draw.sack._replace(left_g=left_g, drawn=True)
    return Charge(batch, draws, wanted_g - sum(draw.grams for draw in draws))
