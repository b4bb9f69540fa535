"""Adjusting coffee that has mixed: all of it, in proportion to what is left of each."""

from app.ledger import actions as ledger
from app.ledger.cards import card_at
from app.ledger.posting import Pen, Posting
from app.ledger.queries import heavier_than_made, unit_by_code
from app.ledger.schemas import Adjusting, AdjustmentIn, AdjustmentOut
from app.places.actions import LOCATIONS
from app.places.mixing import mixed_in, refuse_apart
from app.roasting.silos.schemas import AdjustedPart, PlaceAdjustmentOut
from app.roasting.silos.sharing import poured
from app.shared.mass import kg_from_grams, kg_text
from app.shared.problems import FieldRefused, Refused


def adjust(pen: Pen, asked: AdjustmentIn) -> AdjustmentOut:
    """Make a unit lighter or heavier, unless it has mixed with others.

    Raises:
        Refused: `mixed`, and what the ledger refuses.
    """
    refuse_apart(pen.session, unit_by_code(pen.session, asked.unit))
    return ledger.adjust(pen, asked)


def adjust_place(pen: Pen, code: str, asked: Adjusting) -> PlaceAdjustmentOut:
    """Make all that has mixed in a place lighter or heavier, each by its part.

    Raises:
        Refused: `insufficient-stock` for more than is in it; `invalid` for a place where coffee
            does not mix and for one with nothing in it.
    """
    place = card_at(pen.session, LOCATIONS, code)
    units = mixed_in(pen.session, place)
    at = pen.moment(asked.happened_at, "#/happened_at")
    left_g = [unit.left_g for unit in units]
    if not units:
        raise FieldRefused("#/kg", f"nothing stands in {place.code}")
    if -asked.grams > sum(left_g):
        raise Refused(
            "insufficient-stock",
            f"{place.code} has {kg_text(sum(left_g))} in it; {kg_text(-asked.grams)} were asked.",
            place=place.code,
            asked_kg=kg_from_grams(-asked.grams),
            left_kg=kg_from_grams(sum(left_g)),
        )
    sign = 1 if asked.grams > 0 else -1
    said = {"location": place.code, **asked.model_dump(mode="json")}
    posting = Posting("adjustment", at, said)
    parts = [
        (unit, sign * grams)
        for unit, grams in zip(units, poured(abs(asked.grams), left_g), strict=True)
        if grams
    ]
    for unit, grams in parts:
        posting.adjust(unit.id, grams, asked.reason, asked.note)
    entry_id = pen.post(posting)
    return PlaceAdjustmentOut(
        location=place.code,
        grams=asked.grams,
        reason=asked.reason,
        note=asked.note,
        units=[AdjustedPart(unit=unit.code, grams=grams) for unit, grams in parts],
        happened_at=at,
        warnings=heavier_than_made(pen.session, [unit.id for unit, _ in parts])
        if asked.grams > 0
        else [],
        entry=entry_id,
    )
