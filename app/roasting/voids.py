"""Taking back what was recorded by mistake about machines and roasts."""

from enum import IntEnum

from app.ledger.cards import card_at
from app.ledger.corrections.acts import Act, void_act
from app.ledger.corrections.schemas import ActVoided, ActVoidIn
from app.ledger.posting import Pen
from app.ledger.queries import live, made_of, unit_by_code
from app.ledger.tables import Unit, UnitKind
from app.places.actions import LOCATIONS
from app.quality.rules import FREE, LIMITED
from app.quality.tables import Cupping
from app.roasting.colours.tables import RoastColour
from app.roasting.machines import MACHINES
from app.roasting.queries import dispositions_of
from app.roasting.silos.tables import PlaceCleanDown
from app.roasting.tables import CleanDown
from app.shared.problems import Refused


def void_colour(pen: Pen, code: str, number: int, asked: ActVoidIn) -> ActVoided:
    """Say that a colour was read or typed in by mistake; it stays to be read, marked.

    Raises:
        Refused: `not-voidable` for the colour that came with the roast: its gate went by it.
    """
    roast = live(unit_by_code(pen.session, code, UnitKind.ROAST))
    read = pen.session.get(RoastColour, (roast.id, number))
    if read is None:
        raise Refused("not-found", f"Roast {roast.code} has no colour {number}.")
    if read.entry_id == roast.born_entry_id:
        raise Refused(
            "not-voidable",
            f"Colour {number} was booked with {roast.code}, and its gate went by it: book the "
            "roast anew in its place, or taste it.",
            unit=roast.code,
        )
    act = Act("colour_entry_id", number, {"roast": roast.code}, read.entry_id)
    return void_act(pen, act, asked)


class _Use(IntEnum):
    """How freely a roast may be used."""

    NONE = 0
    LIMITED = 1
    FREE = 2


def void_clean_down(pen: Pen, code: str, number: int, asked: ActVoidIn) -> ActVoided:
    """Say that a machine was not cleaned then: what ran before may have touched what ran after."""
    machine = card_at(pen.session, MACHINES, code)
    cleaned = pen.session.get(CleanDown, number)
    if cleaned is None or cleaned.machine_id != machine.id:
        raise Refused("not-found", f"{machine.code} has no clean-down {number}.")
    of = {"machine": machine.code}
    return void_act(pen, Act("clean_down_id", number, of, cleaned.entry_id), asked)


def void_place_clean_down(pen: Pen, code: str, number: int, asked: ActVoidIn) -> ActVoided:
    """Say that a place was not cleaned then: what was in it before may have touched what came."""
    place = card_at(pen.session, LOCATIONS, code)
    cleaned = pen.session.get(PlaceCleanDown, number)
    if cleaned is None or cleaned.location_id != place.id:
        raise Refused("not-found", f"{place.code} has no clean-down {number}.")
    of = {"location": place.code}
    return void_act(pen, Act("place_clean_down_id", number, of, cleaned.entry_id), asked)


def void_cupping(pen: Pen, code: str, number: int, asked: ActVoidIn) -> ActVoided:
    """Say that a verdict was typed in by mistake: the one before it stands again.

    Raises:
        Refused: `has-dependants` where coffee was used that only this verdict let go.
    """
    roast = live(unit_by_code(pen.session, code, UnitKind.ROAST))
    cupping = pen.session.get(Cupping, number)
    if cupping is None or cupping.unit_id != roast.id:
        raise Refused("not-found", f"Roast {roast.code} has no cupping {number}.")
    use = _use(pen, roast)
    # One that was carried over was booked with the roast: what that adjusted is not its doing.
    booked = None if cupping.entry_id == roast.born_entry_id else cupping.entry_id
    act = Act("cupping_id", number, {"roast": roast.code}, booked)
    voided = void_act(pen, act, asked)
    if _use(pen, roast) < use:
        _refuse_used(pen, roast, number)
    return voided


def _use(pen: Pen, roast: Unit) -> _Use:
    disposition = dispositions_of(pen.session, [roast.id])[roast.id]
    if disposition in FREE:
        return _Use.FREE
    return _Use.LIMITED if disposition in LIMITED else _Use.NONE


def _refuse_used(pen: Pen, roast: Unit, number: int) -> None:
    made = made_of(pen.session, {roast.id})
    if made:
        raise Refused(
            "has-dependants",
            f"Cupping {number} cannot be voided: it let {roast.code} go, and {', '.join(made[:9])} "
            "came from it. Void those first, or record a stricter verdict.",
            dependants=made,
        )
