"""The gate of a roast when it is booked: what it is held to, by whose figures, what is missed."""

from collections.abc import Iterator
from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from app.green.instruments.rules import DOUBTFUL
from app.ledger.posting import Pen
from app.roasting.colours.actions import Meter, meter_of
from app.roasting.colours.schemas import ColourReadingIn
from app.roasting.rules import (
    Check,
    ColourForm,
    Shade,
    ShadeTarget,
    check_colour,
    check_loss,
    check_profile,
    check_share,
    is_plausible,
    loss_pct,
    profile_by_figures,
)
from app.roasting.schemas import RoastIn
from app.roasting.styles.actions import Targets, targets
from app.roasting.styles.tables import Style
from app.roasting.tables import Machine
from app.settings import Settings
from app.shared.mass import kg_from_grams, kg_text
from app.shared.problems import FieldRefused, Refused
from app.shared.shares import plain
from app.standards.moisture import half_up, replicates

_OPEN = Targets(None, ShadeTarget(None, Decimal(0)), None, [])
"""What a roast without a style is held to by others."""


class RunOn(NamedTuple):
    """A charge in a drum, and when."""

    machine: Machine
    charge_g: int
    at: datetime


class Judged(NamedTuple):
    """What the gate found."""

    checks: list[Check]
    warnings: list[str]
    colour: ColourReadingIn | None
    """The colour reading that came with the roast."""
    meter: Meter | None
    """The card of the instrument it was read with."""

    @property
    def passed(self) -> bool:
        return all(check.passed for check in self.checks)


def refuse_slips(settings: Settings, asked: RoastIn, charge_g: int) -> None:
    """Refuse a loss that no roast has, unless the roast says what it expected or is confirmed."""
    limits = settings.plausible_loss_pct
    if asked.loss_range_pct or asked.end_confirmed or is_plausible(charge_g, asked.end_g, limits):
        return
    lost = loss_pct(charge_g, asked.end_g)
    raise Refused(
        "implausible-loss",
        f"{kg_text(charge_g)} charged and {kg_text(asked.end_g)} out is a loss of {lost} %; "
        f"{limits[0]} to {limits[1]} % is plausible here. Weigh again.",
        charge_kg=kg_from_grams(charge_g),
        end_kg=kg_from_grams(asked.end_g),
        loss_pct=lost,
        plausible_pct=list(limits),
        errors=[{
            "pointer": "#/end_kg",
            "detail": f"a loss of {lost} %, outside {limits[0]} to {limits[1]} %",
        }],
    )  # fmt: skip


def judge(pen: Pen, asked: RoastIn, on: RunOn, style: Style | None) -> Judged:
    """Ask the questions of the gate; what a style says stands, the rest is the roast's own."""
    held_to = targets(style, pen.settings, asked.drop_c, asked.total_s) if style else _OPEN
    if style:
        _refuse_other_targets(asked, style, held_to)
    _refuse_other_profile(asked, held_to)
    loss_range = held_to.loss_range or asked.loss_range_pct or pen.settings.loss_range_pct
    colour = colour_of(asked)
    shade = Shade(colour.values, colour.scale, colour.form) if colour else None
    checks = [
        check_profile(asked.profile_hit, held_to.profile),
        check_loss(on.charge_g, asked.end_g, loss_range),
        check_colour(shade, _aim(asked, held_to, shade, pen.settings)),
    ]
    meter = None
    if colour:
        meter = meter_of(pen, colour.instrument, on.at, "#/colour_reading/instrument")
    return Judged(checks, list(_warnings(pen, asked, on, style, meter)), colour, meter)


def colour_of(asked: RoastIn) -> ColourReadingIn | None:
    """Take the colour reading of a roast, or the bare figure as one; refuse two that differ."""
    read = asked.colour_reading
    if asked.colour is None:
        return read
    if read is None:
        return ColourReadingIn(values=[asked.colour])
    mean = half_up(replicates(read.values).mean)
    if asked.colour != mean:
        raise FieldRefused(
            "#/colour",
            f"{asked.colour} is not the mean of colour_reading, {plain(mean)}: leave it out",
        )
    return read


def _aim(asked: RoastIn, held_to: Targets, shade: Shade | None, settings: Settings) -> ShadeTarget:
    by_form = {
        None: settings.colour_tolerance,
        ColourForm.GROUND: settings.colour_tolerance_ground,
        ColourForm.WHOLE: settings.colour_tolerance_whole,
    }
    default = by_form[held_to.shade.form or (shade.form if shade else None)]
    tolerance = _first(held_to.colour_tolerance, asked.colour_tolerance, default)
    value = _first(held_to.shade.value, asked.colour_target)
    return held_to.shade._replace(value=value, tolerance=tolerance or Decimal(0))


def _first(*said: Decimal | None) -> Decimal | None:
    return next((each for each in said if each is not None), None)


def _refuse_other_targets(asked: RoastIn, style: Style, held_to: Targets) -> None:
    """Refuse a roast that would be judged by other figures than its style's."""
    said = {
        "loss_range_pct": (asked.loss_range_pct, held_to.loss_range),
        "colour_target": (asked.colour_target, held_to.shade.value),
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


def _refuse_other_profile(asked: RoastIn, held_to: Targets) -> None:
    """Refuse a word on the profile that its figures contradict."""
    by_figures = profile_by_figures(held_to.profile)
    if asked.profile_hit is not None and by_figures not in {None, asked.profile_hit}:
        figures = "; ".join(figure.words for figure in held_to.profile)
        word = "hit" if by_figures else "missed"
        raise FieldRefused(
            "#/profile_hit",
            f"by its figures the profile was {word}: {figures}. Leave the word out, or "
            "look at the figures again",
        )


def _warnings(
    pen: Pen, asked: RoastIn, on: RunOn, style: Style | None, meter: Meter | None
) -> Iterator[str]:
    settings, drum = pen.settings, on.machine
    share = check_share(on.charge_g, drum.capacity_g, settings.usual_charge_pct)
    if share:
        yield share
    if style and style.machine and style.machine != drum.code:
        yield f"style {style.name} is made for {style.machine}, not {drum.code}"
    low, high = settings.plausible_loss_pct
    if asked.end_confirmed and not is_plausible(on.charge_g, asked.end_g, (low, high)):
        yield f"the end weight was confirmed; a loss of {low} to {high} % is plausible here"
    if meter and meter.calibration in DOUBTFUL:
        yield f"the colour is by {meter.card.code}, whose calibration was {meter.calibration}"
