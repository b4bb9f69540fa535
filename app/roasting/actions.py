"""Charging a roaster and weighing what comes out."""

from collections import Counter
from dataclasses import asdict
from datetime import datetime

from app.ledger.cards import Shelf, card_at, named
from app.ledger.posting import Birth, Pen, Posting
from app.ledger.queries import live, units_by_code
from app.ledger.rules import canonical
from app.ledger.tables import Reason, Unit, UnitKind
from app.roasting.rules import (
    Check,
    check_colour,
    check_loss,
    check_profile,
    emptied_difference,
    loss_pct,
)
from app.roasting.schemas import (
    CheckOut,
    CleanDownIn,
    CleanDownOut,
    Draw,
    MachineOut,
    RoastIn,
    RoastOut,
)
from app.roasting.tables import CleanDown, Machine, MachineKind, MachineRun, Roast
from app.shared.mass import kg_from_grams, kg_text
from app.shared.problems import Refused

MACHINES = Shelf("machine", Machine, MachineOut, key="code", folded="code")


def machine_for(pen: Pen, code: str, kind: MachineKind) -> Machine:
    """Find the machine a body names and refuse one that does other work."""
    machine = named(pen.session, MACHINES, code, "#/machine")
    if machine.kind != kind:
        raise Refused(
            "wrong-machine",
            f"{machine.code} is a {machine.kind}; this needs a {kind}.",
            machine=machine.code,
            kind=machine.kind,
            wanted=kind,
        )
    return machine


def record_run(pen: Pen, born: Birth, machine: Machine, at: datetime) -> None:
    """Record which machine a unit came off."""
    pen.write(MachineRun, [{"unit_id": born.id, "machine_id": machine.id, "ran_at": at}])


def clean_down(pen: Pen, code: str, asked: CleanDownIn) -> CleanDownOut:
    """Record that a machine was emptied and cleaned."""
    machine = card_at(pen.session, MACHINES, code)
    assert machine.id is not None  # noqa: S101 - read from the database
    at = pen.moment(asked.cleaned_at, "#/cleaned_at")
    said = {"machine": machine.code, **asked.model_dump(mode="json")}
    entry_id = pen.note("clean-down", said, at)
    pen.session.add(
        CleanDown(machine_id=machine.id, cleaned_at=at, note=asked.note, entry_id=entry_id)
    )
    return CleanDownOut(machine=machine.code, cleaned_at=at, note=asked.note, cleaned_by=pen.who)


def roast(pen: Pen, asked: RoastIn) -> RoastOut:
    """Draw green, roast it and judge the roast.

    Raises:
        Refused: `wrong-machine`, `over-capacity`, `mass-gained`, `emptied-beyond-tolerance`,
            and what posting refuses.
    """
    machine = machine_for(pen, asked.machine, MachineKind.ROASTER)
    drawn = _drawn(asked)
    charge_g = sum(drawn.values())
    _refuse_charge(machine, charge_g, asked.end_g)
    at = pen.moment(asked.roasted_at, "#/roasted_at")
    found = units_by_code(pen.session, list(drawn), UnitKind.SACK)
    posting = Posting("roast", at, asked.model_dump(mode="json"))
    born = pen.bear(posting, UnitKind.ROAST, asked.code, asked.end_g)
    emptied = {draw.sack for draw in asked.draws if draw.emptied}
    for code, grams in drawn.items():
        sack = live(found[code])
        posting.flow(sack.id, born, grams)
        if code in emptied:
            _book_difference(pen, posting, sack, grams)
    pen.post(posting)
    checks = _judge(pen, asked, charge_g)
    passed = all(check.passed for check in checks)
    record_run(pen, born, machine, at)
    pen.write(Roast, [{
        "unit_id": born.id, "style": asked.style, "charge_g": charge_g,
        "passed": passed, "checks": canonical([asdict(check) for check in checks]),
    }])  # fmt: skip
    return RoastOut(
        code=born.code,
        machine=machine.code,
        style=asked.style,
        roasted_at=at,
        charge_g=charge_g,
        end_g=asked.end_g,
        loss_pct=loss_pct(charge_g, asked.end_g),
        disposition="passed" if passed else "set_aside",
        checks=[CheckOut(**asdict(check)) for check in checks],
        draws=[Draw(sack=code, grams=grams) for code, grams in drawn.items()],
        left_g=asked.end_g,
        held=False,
        voided=False,
    )


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
    difference_g = emptied_difference(sack.left_g, drawn_g, sack.made_g, tolerance_pct)
    if difference_g is None:
        raise Refused(
            "emptied-beyond-tolerance",
            f"Sack {sack.code} had {kg_text(sack.left_g)} by the book and {kg_text(drawn_g)} "
            f"came out of it: more than {tolerance_pct} % of its net {kg_text(sack.made_g)} "
            "apart.",
            unit=sack.code,
            left_kg=kg_from_grams(sack.left_g),
            drawn_kg=kg_from_grams(drawn_g),
        )
    if difference_g:
        posting.adjust(sack.id, difference_g, Reason.DRAW_DIFFERENCE)


def _judge(pen: Pen, asked: RoastIn, charge_g: int) -> list[Check]:
    tolerance = asked.colour_tolerance
    if tolerance is None:
        tolerance = pen.settings.colour_tolerance
    return [
        check_profile(asked.profile_hit),
        check_loss(charge_g, asked.end_g, asked.loss_range_pct or pen.settings.loss_range_pct),
        check_colour(asked.colour, asked.colour_target, tolerance),
    ]
