"""Charging a roaster and weighing what comes out."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict
from decimal import Decimal

from app.ledger.posting import Birth, Pen, Posting
from app.ledger.queries import live, units_by_code
from app.ledger.rules import canonical
from app.ledger.tables import Reason, Unit, UnitKind
from app.roasting.batches.actions import to_roast
from app.roasting.batches.drawing import eaten, take_over
from app.roasting.machines import machine_for, record_run
from app.roasting.rules import (
    Check,
    check_colour,
    check_loss,
    check_profile,
    check_share,
    emptied_difference,
    loss_pct,
)
from app.roasting.schemas import (
    CheckOut,
    Draw,
    RoastIn,
    RoastOut,
)
from app.roasting.styles.actions import Targets, style_named, targets
from app.roasting.styles.tables import Style
from app.roasting.tables import Machine, MachineKind, Roast
from app.shared.mass import kg_from_grams, kg_text
from app.shared.problems import FieldRefused, Refused


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
    planned = to_roast(pen.session, asked.batch, asked.style)
    style = style_named(pen.session, planned.style if planned else asked.style)
    at = pen.moment(asked.roasted_at, "#/roasted_at")
    found = units_by_code(pen.session, list(drawn), UnitKind.SACK)
    posting = Posting("roast", at, asked.model_dump(mode="json"))
    born = pen.bear(posting, UnitKind.ROAST, asked.code, asked.end_g)
    _draw(pen, posting, born, found, asked)
    pen.post(posting)
    checks = _judge(pen, asked, charge_g, style)
    passed = all(check.passed for check in checks)
    warnings = _warnings(pen, machine, charge_g, style)
    warnings += take_over(pen, planned, born, machine.code)
    warnings += eaten(pen.session, {found[code].id: grams for code, grams in drawn.items()})
    record_run(pen, born, machine, at)
    pen.write(Roast, [{
        "unit_id": born.id, "style": style.name if style else asked.style, "charge_g": charge_g,
        "passed": passed, "checks": canonical([asdict(check) for check in checks]),
        "style_id": style.id if style else None, "style_version": style.version if style else None,
        "warnings": canonical(warnings),
    }])  # fmt: skip
    return RoastOut(
        code=born.code,
        machine=machine.code,
        style=style.name if style else asked.style,
        style_version=style.version if style else None,
        batch=asked.batch,
        roasted_at=at,
        charge_g=charge_g,
        end_g=asked.end_g,
        loss_pct=loss_pct(charge_g, asked.end_g),
        disposition="passed" if passed else "set_aside",
        checks=[CheckOut(**asdict(check)) for check in checks],
        warnings=warnings,
        draws=[Draw(sack=code, grams=grams) for code, grams in drawn.items()],
        left_g=asked.end_g,
        held=False,
        voided=False,
    )


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


def _judge(pen: Pen, asked: RoastIn, charge_g: int, style: Style | None) -> list[Check]:
    """Ask the questions of the gate; what a style says stands, the rest is the roast's own."""
    held_to = targets(style, pen.settings) if style else Targets(None, None, None)
    if style:
        _refuse_other_targets(asked, style, held_to)
    loss_range = held_to.loss_range or asked.loss_range_pct or pen.settings.loss_range_pct
    colour = _first(held_to.colour, asked.colour_target)
    tolerance = _first(held_to.colour_tolerance, asked.colour_tolerance)
    return [
        check_profile(asked.profile_hit),
        check_loss(charge_g, asked.end_g, loss_range),
        check_colour(
            asked.colour, colour, pen.settings.colour_tolerance if tolerance is None else tolerance
        ),
    ]


def _first(*said: Decimal | None) -> Decimal | None:
    return next((each for each in said if each is not None), None)


def _refuse_other_targets(asked: RoastIn, style: Style, held_to: Targets) -> None:
    """Refuse a roast that would be judged by other figures than its style's."""
    said = {
        "loss_range_pct": (asked.loss_range_pct, held_to.loss_range),
        "colour_target": (asked.colour_target, held_to.colour),
        "colour_tolerance": (asked.colour_tolerance, held_to.colour_tolerance),
    }
    for name, (own, styles) in said.items():
        if own is not None and styles is not None and own != styles:
            figures = " to ".join(map(str, styles)) if isinstance(styles, tuple) else styles
            raise FieldRefused(
                f"#/{name}",
                f"style {style.name}, version {style.version}, says {figures}: leave it out, or "
                "roast without a style",
            )


def _warnings(pen: Pen, machine: Machine, charge_g: int, style: Style | None) -> list[str]:
    share = check_share(charge_g, machine.capacity_g, pen.settings.usual_charge_pct)
    found = [share] if share else []
    if style and style.machine and style.machine != machine.code:
        found.append(f"style {style.name} is made for {style.machine}, not {machine.code}")
    return found
