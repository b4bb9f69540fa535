"""Gross, tare and net: what a scale says of sacks, in any of the ways people weigh them."""

from typing import Annotated, NamedTuple

from pydantic import Field

from app.ledger.schemas import Asked
from app.shared.mass import KgIn, kg_text
from app.standards.buying import tare_g


class TareSample(Asked):
    """Empty sacks of a lot, weighed together."""

    empties: Annotated[int, Field(ge=1, le=5000, strict=True)]
    sample_g: KgIn = Field(alias="kg")

    def of(self, sacks: int = 1) -> int:
        """Reckon the tare of so many sacks, rounded half up to the gram."""
        return tare_g(self.sample_g, self.empties, sacks)


class Weights(NamedTuple):
    """The weights of something; net is gross less tare wherever gross is known."""

    net_g: int
    gross_g: int | None = None
    tare_g: int | None = None


def weigh(net_g: int | None, gross_g: int | None, tare_g: int | None) -> Weights | None:
    """Complete what was given of the three; None where only the tare is wanting.

    Raises:
        ValueError: where the three contradict each other, or say nothing of the net weight.
    """
    if gross_g is None:
        if tare_g is not None:
            raise ValueError("tare_kg goes with gross_kg")
        if net_g is None:
            raise ValueError("give net_kg, or gross_kg with its tare")
        return Weights(net_g)
    if tare_g is None:
        if net_g is None:
            return None
        tare_g = gross_g - net_g
        if tare_g < 0:
            raise ValueError(f"net {kg_text(net_g)} is above gross {kg_text(gross_g)}")
    left_g = gross_g - tare_g
    if left_g <= 0:
        said = f"gross {kg_text(gross_g)} less tare {kg_text(tare_g)}"
        raise ValueError(f"{said} leaves nothing: a net weight must be above zero")
    if net_g is not None and net_g != left_g:
        said = f"net {kg_text(net_g)} is not gross {kg_text(gross_g)} less tare {kg_text(tare_g)}"
        raise ValueError(f"{said}, {kg_text(left_g)}")
    return Weights(left_g, gross_g, tare_g)
