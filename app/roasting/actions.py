"""Charging a roaster and weighing what comes out."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from app.green.reservations.queries import sources_of
from app.ledger.corrections.replacing import happened, in_place_of
from app.ledger.posting import Birth, Pen, Posting
from app.ledger.queries import live, units_by_code
from app.ledger.rules import canonical
from app.ledger.tables import Reason, Unit, UnitKind
from app.places.successors import post
from app.quality.carried import carry_verdict
from app.quality.rules import Decision, Disposition
from app.roasting.batches.actions import to_roast
from app.roasting.batches.drawing import eaten, take_over
from app.roasting.colours.actions import write_colour
from app.roasting.colours.queries import Taken
from app.roasting.gate import Judged, RunOn, judge, refuse_slips
from app.roasting.machines import machine_for, record_run
from app.roasting.organic import Charged, Drawn, organic_by
from app.roasting.rules import emptied_difference, loss_pct
from app.roasting.schemas import (
    CheckOut,
    Draw,
    RoastIn,
    RoastOut,
)
from app.roasting.silos.tipping import place_id, tip
from app.roasting.styles.actions import style_named
from app.roasting.styles.tables import Style
from app.roasting.tables import Machine, MachineKind, Roast
from app.shared.mass import kg_from_grams, kg_text
from app.shared.problems import Refused


class _Made(NamedTuple):
    """A roast that was posted and judged."""

    born: Birth
    machine: Machine
    style: Style | None
    at: datetime
    entry_id: int
    drawn: Sequence[Drawn]
    judged: Judged
    carried: Decision | None
    """What was tasted of the roast that this one replaces."""
    held: bool
    batch: int | None

    @property
    def charge_g(self) -> int:
        return sum(each.grams for each in self.drawn)

    @property
    def disposition(self) -> Disposition:
        if self.carried:
            return self.carried.disposition
        return Disposition.PASSED if self.judged.passed else Disposition.SET_ASIDE


def roast(pen: Pen, asked: RoastIn) -> RoastOut:
    """Draw green, roast it and judge the roast.

    Raises:
        Refused: `wrong-machine`, `implausible-loss`, `emptied-beyond-tolerance`, what the charge
            and posting refuse.
    """
    machine = machine_for(pen, asked.machine, MachineKind.ROASTER)
    drawn = _drawn(asked)
    charge_g = sum(drawn.values())
    _refuse_charge(machine, charge_g, asked.end_g)
    refuse_slips(pen.settings, asked, charge_g)
    planned = to_roast(pen.session, asked)
    style = style_named(pen.session, planned.style if planned else asked.style)
    at = happened(pen, asked, asked.roasted_at, "#/roasted_at")
    found = units_by_code(pen.session, list(drawn), UnitKind.SACK)
    posting = in_place_of(pen, _posting(asked, at), asked, UnitKind.ROAST)
    born = pen.bear(posting, UnitKind.ROAST, asked.code, asked.end_g, place_id(pen, asked.to))
    _draw(pen, posting, born, found, asked)
    entry_id = post(pen, posting)
    tip(pen, entry_id, born)
    carried = carry_verdict(pen, posting, entry_id)
    judged = judge(pen, asked, RunOn(machine, charge_g, at), style)
    judged.warnings.extend(take_over(pen, planned, born, machine.code))
    sources = sources_of(pen.session, [sack.id for sack in found.values()])
    green = [
        Drawn(found[code].id, code, sources[found[code].id].lot_id, grams)
        for code, grams in drawn.items()
    ]
    judged.warnings.extend(eaten(pen.session, green, sources))
    record_run(pen, born, machine, at)
    made = _Made(
        born, machine, style, at, entry_id, green, judged, carried, bool(posting.held),
        planned.id if planned else None,
    )  # fmt: skip
    return _write(pen, asked, made)


def _write(pen: Pen, asked: RoastIn, made: _Made) -> RoastOut:
    """Write what is known of a roast beside its mass, and answer it."""
    style, judged, born = made.style, made.judged, made.born
    checks = [asdict(check) for check in judged.checks]
    named, version = (style.name, style.version) if style else (asked.style, None)
    moisture_milli = _milli(asked.roasted_moisture_pct)
    pen.write(Roast, [{
        "unit_id": born.id, "style": named, "charge_g": made.charge_g, "passed": judged.passed,
        "checks": canonical(checks), "style_id": style.id if style else None,
        "style_version": version, "warnings": canonical(judged.warnings),
        "roasted_moisture_milli": moisture_milli, "drop_milli": _milli(asked.drop_c),
        "total_s": asked.total_s,
    }])  # fmt: skip
    colours = []
    if judged.colour:
        taken = Taken(1, made.at, made.entry_id)
        of = (born.id, born.code)
        colours = [write_colour(pen, of, judged.colour, judged.meter, taken)]
    charged = Charged(born.id, asked.end_g, made.at, moisture_milli)
    return RoastOut(
        code=born.code,
        machine=made.machine.code,
        style=named,
        style_version=version,
        batch=made.batch,
        roasted_at=made.at,
        charge_g=made.charge_g,
        end_g=asked.end_g,
        loss_pct=loss_pct(made.charge_g, asked.end_g),
        disposition=made.disposition,
        checks=[CheckOut.model_validate(check) for check in checks],
        warnings=judged.warnings,
        draws=[Draw(sack=each.code, grams=each.grams) for each in made.drawn],
        location=asked.to,
        drop_c=asked.drop_c,
        total_s=asked.total_s,
        colours=colours,
        organic=organic_by(pen.session, [(charged, sorted(made.drawn))], pen.settings)[born.id],
        at_most_milli=made.carried.at_most_milli if made.carried else None,
        left_g=asked.end_g,
        held=made.held,
        voided=False,
    )


def _milli(value: Decimal | None) -> int | None:
    return None if value is None else int(value * 1000)


def _posting(asked: RoastIn, at: datetime) -> Posting:
    return Posting("roast", at, asked.model_dump(mode="json"))


def _draw(
    pen: Pen, posting: Posting, born: Birth, found: Mapping[str, Unit], asked: RoastIn
) -> None:
    """Let green flow out of sacks, with what the scale says of those that were used up."""
    emptied = {draw.sack for draw in asked.draws if draw.emptied}
    for code, grams in _drawn(asked).items():
        sack = live(found[code])
        posting.flow(sack.id, born, grams)
        if code in emptied:
            _book_difference(pen, posting, sack, grams)


def _drawn(asked: RoastIn) -> Counter[str]:
    """Add up the draws: two scoops from one sack are one draw."""
    drawn: Counter[str] = Counter()
    for draw in asked.draws:
        drawn[draw.sack] += draw.grams
    return drawn


def _refuse_charge(machine: Machine, charge_g: int, end_g: int) -> None:
    if machine.capacity_g is not None and charge_g > machine.capacity_g:
        raise Refused(
            "over-capacity",
            f"{machine.code} takes {kg_text(machine.capacity_g)}; the charge is "
            f"{kg_text(charge_g)}.",
            machine=machine.code,
            capacity_kg=kg_from_grams(machine.capacity_g),
            charge_kg=kg_from_grams(charge_g),
        )
    if end_g > charge_g:
        raise Refused(
            "mass-gained",
            f"{kg_text(end_g)} cannot come out of a charge of {kg_text(charge_g)}.",
            errors=[{
                "pointer": "#/end_kg",
                "detail": f"heavier than the charge of {kg_text(charge_g)}",
            }],
        )  # fmt: skip


def _book_difference(pen: Pen, posting: Posting, sack: Unit, drawn_g: int) -> None:
    tolerance_pct = pen.settings.emptied_tolerance_pct
    left_g = posting.left_of(sack)
    difference_g = emptied_difference(left_g, drawn_g, sack.made_g, tolerance_pct)
    if difference_g is None:
        raise Refused(
            "emptied-beyond-tolerance",
            f"Sack {sack.code} had {kg_text(left_g)} by the book and {kg_text(drawn_g)} "
            f"came out of it: more than {tolerance_pct} % of its net {kg_text(sack.made_g)} "
            "apart.",
            unit=sack.code,
            left_kg=kg_from_grams(left_g),
            drawn_kg=kg_from_grams(drawn_g),
        )
    if difference_g:
        posting.adjust(sack.id, difference_g, Reason.DRAW_DIFFERENCE)
