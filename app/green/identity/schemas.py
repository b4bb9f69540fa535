"""What the API reads and answers about what a lot is by its papers."""

from datetime import date
from decimal import Decimal
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints, model_validator

from app.green.identity.rules import AltitudeUnit, Light, Species, metres
from app.ledger.schemas import Asked, Told
from app.shared.numbers import NumberOut
from app.shared.shares import plain
from app.standards.ico_marks import coffee_year_label, read_coffee_year

HIGHEST_M = 9000
"""Nothing grows higher; a figure beyond it has the wrong unit."""


def _in_small_letters(value: object) -> object:
    return value.strip().lower() if isinstance(value, str) else value


def _coffee_year(said: str) -> str:
    year = read_coffee_year(said)
    if year is None:
        raise ValueError(f"{said} is no coffee year: two years that follow, such as 2025/26")
    return coffee_year_label(year)


CoffeeYear = Annotated[str, Field(max_length=20), AfterValidator(_coffee_year)]
KnownSpecies = Annotated[Species, BeforeValidator(_in_small_letters)]
Words = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
Altitude = Annotated[int, Field(ge=0, le=30_000, strict=True)]


class AltitudeIn(Asked):
    """Where it grew, in the unit of the papers."""

    lowest: Altitude = Field(alias="from")
    highest: Altitude | None = Field(default=None, alias="to")
    unit: AltitudeUnit

    @model_validator(mode="after")
    def _upward(self) -> Self:
        if self.highest is not None and self.highest < self.lowest:
            raise ValueError("to is lower than from")
        if metres(self.highest or self.lowest, self.unit) > HIGHEST_M:
            raise ValueError(f"no coffee grows above {HIGHEST_M} m: is the unit right?")
        return self


class AltitudeOut(Told):
    """An altitude as it was given, and in metres to the last digit."""

    lowest: int = Field(alias="from")
    highest: int | None = Field(alias="to")
    unit: AltitudeUnit
    lowest_m: NumberOut = Field(alias="from_m")
    highest_m: NumberOut | None = Field(alias="to_m")


def altitude_out(lowest: int, highest: int | None, unit: AltitudeUnit) -> AltitudeOut:
    """Answer an altitude."""
    top: Decimal | None = None if highest is None else plain(metres(highest, unit))
    bottom = plain(metres(lowest, unit))
    return AltitudeOut(lowest=lowest, highest=highest, unit=unit, lowest_m=bottom, highest_m=top)


class CropYearsOut(Told):
    """The calendar years in which the harvest began and ended."""

    start: int
    end: int


class CropAgeOut(Told):
    """A hint, which never blocks anything."""

    light: Light
    since: date
    counted_from: Literal["harvest_ended_on", "received_at"]
