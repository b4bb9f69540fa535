"""The roast gate: profile, end weight and colour, each met, missed or missing."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from app.shared.shares import plain
from app.standards.moisture import half_up, replicates


@dataclass(frozen=True)
class Check:
    """One question the gate asks, and its answer in words."""

    check: str
    passed: bool
    detail: str


def loss_pct(charge_g: int, end_g: int) -> Decimal:
    """Weight loss in per cent of the charge, to two decimals, half to even."""
    return (Decimal(100 * (charge_g - end_g)) / charge_g).quantize(Decimal("0.01"))


def check_loss(charge_g: int, end_g: int, limits: tuple[Decimal, Decimal]) -> Check:
    """Hold the loss against its range, ends included, without rounding it first."""
    low, high = limits
    loss_g = 100 * (charge_g - end_g)
    passed = low * charge_g <= loss_g <= high * charge_g
    shown = loss_pct(charge_g, end_g)
    return Check("end_weight", passed, f"loss {shown} % against {low} to {high} %")


def is_plausible(charge_g: int, end_g: int, limits: tuple[Decimal, Decimal]) -> bool:
    """Tell whether a roast can have lost that much at all, ends included."""
    low, high = limits
    return low * charge_g <= 100 * (charge_g - end_g) <= high * charge_g


class ColourForm(StrEnum):
    """What a colour was read of; whole beans and ground coffee are not compared."""

    WHOLE = "whole"
    GROUND = "ground"


class Shade(NamedTuple):
    """A colour as it was read: one value, or repeats of one sample."""

    values: Sequence[Decimal]
    scale: str | None = None
    form: ColourForm | None = None

    @property
    def words(self) -> str:
        """Say the value, or the mean with its repeats, and how it was read."""
        if len(self.values) == 1:
            return f"colour {self.values[0]}{_manner(self.scale, self.form)}"
        mean = plain(half_up(replicates(self.values).mean))
        repeats = ", ".join(map(str, self.values))
        return f"colour {mean}{_manner(self.scale, self.form)} (mean of {repeats})"


class ShadeTarget(NamedTuple):
    """The colour that is aimed at; None where nothing says."""

    value: Decimal | None
    tolerance: Decimal
    scale: str | None = None
    form: ColourForm | None = None


def _manner(scale: str | None, form: ColourForm | None) -> str:
    return (f" {form}" if form else "") + (f" on {scale}" if scale else "")


def check_colour(shade: Shade | None, target: ShadeTarget) -> Check:
    """Hold a colour reading against its target, tolerance included; no reading is a miss.

    Repeats are judged by their exact mean. A target on a scale, or of a form, is met by a reading
    on that scale and of that form alone: instruments disagree, and so do bean and powder.
    """
    if shade is None:
        return Check("colour", passed=False, detail="no colour reading")
    if target.value is None:
        return Check("colour", passed=False, detail=f"{shade.words} without a target")
    aim = f"{target.value} ± {target.tolerance}{_manner(target.scale, target.form)}"
    if not _comparable(shade, target):
        detail = f"{shade.words} cannot be compared with {aim}"
        return Check("colour", passed=False, detail=detail)
    times = len(shade.values)  # not divided, so that nothing is rounded
    off = abs(sum(shade.values) - times * target.value)
    return Check("colour", off <= times * target.tolerance, f"{shade.words} against {aim}")


def _comparable(shade: Shade, target: ShadeTarget) -> bool:
    if target.form is not None and shade.form is not target.form:
        return False
    return target.scale is None or _folded(shade.scale) == _folded(target.scale)


def _folded(scale: str | None) -> str | None:
    return None if scale is None else " ".join(scale.split()).casefold()


class Figure(NamedTuple):
    """A figure of the profile: what it is called, its unit, what it was and what it should be."""

    name: str
    unit: str
    measured: Decimal | int | None
    target: Decimal | int
    tolerance: Decimal | int

    @property
    def met(self) -> bool | None:
        """Whether it was met, tolerance included; None where it was not measured."""
        if self.measured is None:
            return None
        return abs(Decimal(self.measured) - Decimal(self.target)) <= Decimal(self.tolerance)

    @property
    def words(self) -> str:
        """Say what it was against what it should be."""
        if self.measured is None:
            return f"no {self.name}"
        aim = f"{self.target} ± {self.tolerance} {self.unit}"
        return f"{self.name} {self.measured} against {aim}"


def profile_by_figures(figures: Sequence[Figure]) -> bool | None:
    """Tell by its figures whether a profile was hit; None where they leave that open."""
    met = [figure.met for figure in figures]
    if False in met:
        return False
    return True if met and None not in met else None


def check_profile(said: bool | None, figures: Sequence[Figure] = ()) -> Check:
    """Ask whether the roast followed its profile: by word, else by figures; not said is a miss."""
    shown = "; ".join(figure.words for figure in figures if said is None or figure.met is not None)
    if said is None and figures:
        return Check("profile", profile_by_figures(figures) is True, shown)
    if said is None:
        return Check("profile", passed=False, detail="not said whether the profile was hit")
    word = "profile hit" if said else "profile missed"
    return Check("profile", said, f"{word}; {shown}" if shown else word)


def check_share(
    charge_g: int, capacity_g: int | None, usual: tuple[Decimal, Decimal]
) -> str | None:
    """Point out a charge that fills unusually little or much of the drum; ends are usual."""
    if capacity_g is None:
        return None
    low, high = usual
    if low * capacity_g <= 100 * charge_g <= high * capacity_g:
        return None
    share = (Decimal(100 * charge_g) / capacity_g).quantize(Decimal("0.1"))
    return f"the charge fills {share} % of the drum; {low} to {high} % is usual here"


def emptied_difference(left_g: int, drawn_g: int, net_g: int, tolerance_pct: Decimal) -> int | None:
    """What to book when a sack was used up: scale less book in grams, None beyond the tolerance.

    Positive when more came out than the book knew of.
    """
    difference_g = drawn_g - left_g
    return difference_g if abs(difference_g) * 100 <= tolerance_pct * net_g else None
