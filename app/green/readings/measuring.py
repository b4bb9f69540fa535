"""Turning what somebody read off an instrument into the value that is kept."""

from decimal import Decimal
from typing import Final, NamedTuple

from app.green.readings.rules import Basis
from app.green.readings.schemas import ReadingIn
from app.green.readings.tables import ReadingKind
from app.shared.problems import FieldRefused
from app.shared.shares import plain
from app.standards.moisture import half_up, replicates, wet_basis

_ABSOLUTE_ZERO_C: Final = Decimal("-273.15")

_SENSE: Final[dict[ReadingKind, tuple[Decimal, Decimal | None]]] = {
    ReadingKind.MOISTURE: (Decimal(0), Decimal(100)),
    ReadingKind.WATER_ACTIVITY: (Decimal(0), Decimal(1)),
    ReadingKind.DENSITY: (Decimal("0.001"), None),
    ReadingKind.TEMPERATURE: (_ABSOLUTE_ZERO_C, None),
    ReadingKind.RELATIVE_HUMIDITY: (Decimal(0), Decimal(100)),
}
"""What each kind of reading can be at all, ends included; a colour is what its scale says."""


class Measured(NamedTuple):
    """What is kept of the figures of a reading."""

    value: Decimal
    """Of moisture on wet basis."""
    given: Decimal | None
    """A moisture on dry basis as it was given."""
    basis: Basis | None


def measured(asked: ReadingIn) -> Measured:
    """Find the value of a reading: the mean of its single values, moisture on wet basis."""
    if asked.basis is not None and asked.kind is not ReadingKind.MOISTURE:
        raise FieldRefused("#/basis", f"a {asked.kind} has no basis: moisture alone has")
    for number, single in enumerate(asked.values or []):
        _refuse_nonsense(asked, single, f"#/values/{number}")
    value = _value(asked)
    _refuse_nonsense(asked, value, "#/value")
    if asked.basis is Basis.DRY:
        return Measured(half_up(wet_basis(value)), value, Basis.DRY)
    return Measured(value, None, Basis.WET if asked.kind is ReadingKind.MOISTURE else None)


def _value(asked: ReadingIn) -> Decimal:
    if asked.values is None:
        assert asked.value is not None  # noqa: S101 - the request was refused without it
        return asked.value
    mean = half_up(replicates(asked.values).mean)
    if asked.value is not None and asked.value != mean:
        raise FieldRefused(
            "#/value",
            f"{asked.value} is not the mean of the values, {plain(mean)}: leave it out",
        )
    return mean


def _refuse_nonsense(asked: ReadingIn, value: Decimal, pointer: str) -> None:
    if asked.kind not in _SENSE:
        return
    low, high = _SENSE[asked.kind]
    if asked.basis is Basis.DRY:
        high = None  # there can be more water than dry matter
    if value < low or (high is not None and value > high):
        wanted = f"{low} to {high}" if high is not None else f"{low} or more"
        raise FieldRefused(pointer, f"{value} is no {asked.kind}: it is {wanted}")
