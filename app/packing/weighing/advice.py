"""What the weights say to whoever runs the line; our own rule, before any test of a sample."""

from collections.abc import Sequence
from enum import StrEnum

from app.standards.average_quantity import Check, Limits


class Advice(StrEnum):
    """What to do now."""

    GO_ON = "go_on"
    WARN = "warn"
    """Set the filler: the mean is below the label, or a bag is below T1."""
    STOP = "stop"
    """A bag is below T2: none of that kind may leave."""


def advise(check: Check, held_against: Limits, net_mg: Sequence[int]) -> Advice:
    """Tell whether to go on filling, by the mean of all bags so far and by each of them."""
    # The American rules know one limit and no T2.
    if check is not Check.US and min(net_mg) < held_against.t2_mg:
        return Advice.STOP
    under = sum(net_mg) < held_against.nominal_mg * len(net_mg)
    return Advice.WARN if under or min(net_mg) < held_against.t1_mg else Advice.GO_ON
