"""What a blend or a pack is filled from: units by name, or whatever is in a silo, hopper or tray.

Coffee in such a place has mixed. What is poured out of it comes from every unit in it, so that a
trace of any of them reaches what was filled, and one that must not go on stops all of it.
"""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from sqlalchemy import bindparam, or_, select
from sqlmodel import Session, col

from app.ledger.posting import Posting
from app.ledger.queries import live, on_hold, units_by_code
from app.ledger.tables import Unit
from app.packing.schemas import BlendPartIn, PartIn
from app.places.mixing import LOOSE
from app.places.tables import MIXING, Location
from app.places.tree import STANDING
from app.roasting.silos.sharing import poured
from app.shared.codes import some
from app.shared.mass import kg_from_grams, kg_text
from app.shared.problems import FieldRefused, Refused

# Built once: putting a statement together takes several times as long as running it.
_PLACES = select(Location).where(
    or_(
        col(Location.code).in_(bindparam("codes", expanding=True)),
        col(Location.id).in_(bindparam("ids", expanding=True)),
    )
)
_IN_THEM = (
    select(Unit, on_hold(col(Unit.id)).label("held"))
    .where(col(Unit.location_id).in_(bindparam("places", expanding=True)))
    .where(col(Unit.kind).in_(LOOSE))
    .where(or_(STANDING, col(Unit.id).in_(bindparam("given_back", expanding=True))))
    .where(col(Unit.id).not_in(bindparam("voided", expanding=True)))
    .order_by(col(Unit.id))
    # What is left is what counts: never that of a unit somebody read before, in the same session.
    .execution_options(populate_existing=True)
)


class Scoop(NamedTuple):
    """So much of one unit, as the part with that number of the body says."""

    part: int
    unit: str
    grams: int
    component: str | None


class Filling(NamedTuple):
    """Everything that is to be filled."""

    scoops: Sequence[Scoop]
    units: Mapping[str, Unit]
    """By code; those too that stand where something is poured and give nothing."""

    @property
    def parts(self) -> Counter[str]:
        """Add up by unit: two scoops from one unit are one part."""
        parts: Counter[str] = Counter()
        for scoop in self.scoops:
            parts[scoop.unit] += scoop.grams
        return parts


class _There(NamedTuple):
    """A place of a body and, where coffee mixes there, what is in it."""

    place: Location
    units: Sequence[Unit]
    left_g: Sequence[int]
    """What is left of each, with what is given back in the same entry."""
    held: Sequence[str]
    given_g: Sequence[int]
    """What each gives back of an act that is replaced. It is in no place: what came into this one
    since did not mix with it, and a hold since then found it gone."""


def fill_from(session: Session, posting: Posting, asked: Sequence[PartIn], member: str) -> Filling:
    """Find the units that the parts of a body name, by themselves or by where they are.

    What the posting gives back of an act that this one replaces is there to be poured again, and
    before anything else: so what came into a place later is in nothing that was filled before.

    Raises:
        Refused: `unknown-code`, `wrong-kind`, `voided`; `unknown-reference` and `invalid` for a
            place that cannot be poured from; `mixed` for a unit that is in one with others;
            `on-hold` and `insufficient-stock` for what is in one.
    """
    codes = [part.unit for part in asked if part.unit is not None]
    units = units_by_code(session, codes, *LOOSE) if codes else {}
    named = _named(asked)
    mixed = _mixed(session, posting, asked, named, [live(unit) for unit in units.values()])
    scoops: list[Scoop] = []
    pours: defaultdict[str, list[int]] = defaultdict(list)
    for number, part in enumerate(asked):
        if part.place is not None:
            pours[part.place].append(number)
        elif part.unit is not None:
            unit = units[part.unit]
            if named[part.unit] > posting.given_back[unit.id]:
                _refuse_mixed(unit, mixed, f"#/{member}/{number}/unit")
            scoops.append(Scoop(number, part.unit, part.grams, _component(part)))
    for code, numbers in pours.items():
        there = _pourable(code, mixed, f"#/{member}/{numbers[0]}/place")
        if sum(asked[number].grams for number in numbers) <= sum(there.given_g):
            there = _given_alone(there)
        _refuse_held(there)
        scoops += _pour(there, asked, numbers, member)
        units |= {unit.code: unit for unit in there.units}
    return Filling(scoops, units)


def _named(asked: Sequence[PartIn]) -> Counter[str]:
    """Add up what is asked of units by name."""
    named: Counter[str] = Counter()
    for part in asked:
        if part.unit is not None:
            named[part.unit] += part.grams
    return named


def _given_alone(there: _There) -> _There:
    """Leave of a place what gives back alone: nothing else in it is touched."""
    giving = [
        (unit, given_g)
        for unit, given_g in zip(there.units, there.given_g, strict=True)
        if given_g > 0
    ]
    given_g = [grams for _, grams in giving]
    return _There(there.place, [unit for unit, _ in giving], given_g, [], given_g)


def _mixed(
    session: Session,
    posting: Posting,
    asked: Sequence[PartIn],
    named: Mapping[str, int],
    units: Sequence[Unit],
) -> Mapping[str, _There]:
    """Read the places that the parts name or that units of theirs are in, by code."""
    codes = {part.place for part in asked if part.place is not None}
    ids = {unit.location_id for unit in units if unit.location_id is not None}
    if not codes and not ids:
        return {}
    places = session.scalars(_PLACES, {"codes": list(codes), "ids": list(ids)}).all()
    mixing = [place.id for place in places if place.kind in MIXING]
    there: defaultdict[int | None, list[tuple[Unit, bool]]] = defaultdict(list)
    if mixing:
        given = {"given_back": list(posting.given_back), "voided": posting.voided}
        for unit, held in session.execute(_IN_THEM, {"places": mixing} | given):
            there[unit.location_id].append((unit, held))
    return {
        place.code: _There(
            place,
            [unit for unit, _ in there[place.id]],
            [posting.left_of(unit) for unit, _ in there[place.id]],
            [unit.code for unit, held in there[place.id] if held],
            [max(posting.given_back[unit.id] - named[unit.code], 0) for unit, _ in there[place.id]],
        )
        for place in places
    }


def _refuse_mixed(unit: Unit, mixed: Mapping[str, _There], pointer: str) -> None:
    """Refuse to tell a unit apart from what it has mixed with."""
    for there in mixed.values():
        others = [other.code for other in there.units if other.id != unit.id]
        if others and there.place.id == unit.location_id:
            raise FieldRefused(
                pointer,
                f"{unit.code} has mixed with {some(others)} in {there.place.code}: name the "
                "place instead",
                "mixed",
            )


def _pourable(code: str, mixed: Mapping[str, _There], pointer: str) -> _There:
    there = mixed.get(code)
    if there is None:
        raise FieldRefused(
            pointer, f"there is no location {code}: enter it first", "unknown-reference"
        )
    if there.place.kind not in MIXING:
        raise FieldRefused(
            pointer,
            f"{code} is a {there.place.kind}, where coffee does not mix: name the unit instead",
        )
    return there


def _refuse_held(there: _There) -> None:
    if there.held:
        code = there.place.code
        raise Refused(
            "on-hold",
            f"On hold: {some(there.held)}, mixed with all that is in {code}.",
            units=list(there.held),
            place=code,
        )


def _pour(
    there: _There, asked: Sequence[PartIn], numbers: Sequence[int], member: str
) -> list[Scoop]:
    """Pour what some parts ask of one place together: twice from one place adds up."""
    wanted_g = sum(asked[number].grams for number in numbers)
    standing_g = there.left_g
    code = there.place.code
    if wanted_g > sum(standing_g):
        raise Refused(
            "insufficient-stock",
            f"{code} has {kg_text(sum(standing_g))} in it; {kg_text(wanted_g)} were asked.",
            place=code,
            asked_kg=kg_from_grams(wanted_g),
            left_kg=kg_from_grams(sum(standing_g)),
        )
    components = {_component(asked[number]) for number in numbers}
    if len(components) > 1:
        raise FieldRefused(
            f"#/{member}/{numbers[-1]}/component", f"what is in {code} has mixed: it is one thing"
        )
    [component] = components
    return [
        Scoop(numbers[0], unit.code, grams, component)
        for unit, grams in zip(there.units, _shares(wanted_g, there), strict=True)
        if grams
    ]


def _shares(wanted_g: int, there: _There) -> list[int]:
    """Split what is poured: first what is given back, then of all that stands there."""
    again_g = min(wanted_g, sum(there.given_g))
    rest_g = [left_g - given_g for left_g, given_g in zip(there.left_g, there.given_g, strict=True)]
    both = zip(_poured(again_g, there.given_g), _poured(wanted_g - again_g, rest_g), strict=True)
    return [given_g + more_g for given_g, more_g in both]


def _poured(total_g: int, there_g: Sequence[int]) -> list[int]:
    """Pour out of what is more than nothing."""
    shares = iter(poured(total_g, [grams for grams in there_g if grams]) if total_g else ())
    return [next(shares, 0) if grams else 0 for grams in there_g]


def _component(part: PartIn) -> str | None:
    return part.component if isinstance(part, BlendPartIn) else None
