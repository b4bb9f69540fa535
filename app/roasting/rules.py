"""The roast gate: profile, end weight and colour, each met, missed or missing."""

from dataclasses import dataclass
from decimal import Decimal


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


def check_colour(colour: Decimal | None, target: Decimal | None, tolerance: Decimal) -> Check:
    """Hold a colour reading against its target, tolerance included; no reading is a miss."""
    if colour is None:
        return Check("colour", passed=False, detail="no colour reading")
    if target is None:
        return Check("colour", passed=False, detail=f"colour {colour} without a target")
    passed = abs(colour - target) <= tolerance
    return Check("colour", passed, f"colour {colour} against {target} ± {tolerance}")


def check_profile(hit: bool | None) -> Check:
    """Ask whether the roast followed its profile; not said is a miss."""
    if hit is None:
        return Check("profile", passed=False, detail="not said whether the profile was hit")
    return Check("profile", hit, "profile hit" if hit else "profile missed")


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
