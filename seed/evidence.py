"""What the buyer files of where coffee grew: plots of invented farms, and statements."""

import json
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from functools import cache
from typing import Final

from app.green.evidence.actions import file_plots, record, set_role
from app.green.evidence.rules import FirmRole
from app.green.evidence.schemas import DueDiligenceIn, GivenPlots, RoleIn, StatementIn
from app.ledger.posting import Pen
from seed.roastery import SERRA, TORTUGA, WENZI, Coffee

PICKING: Final = timedelta(days=80)
"""How long before its end a harvest began."""
Corner = tuple[float, float]
"""Longitude and latitude, to the sixth decimal."""

FARMS: Final[Mapping[Coffee, Sequence[tuple[str, float, Sequence[Corner]]]]] = {
    SERRA: (
        ("Talhao do Sino Grande", 0, (
            (-46.571204, -21.243118), (-46.567931, -21.243405), (-46.567218, -21.246302),
            (-46.570655, -21.246871),
        )),
        ("Talhao da Nascente", 0, (
            (-46.563310, -21.240052), (-46.560874, -21.240311), (-46.561207, -21.242640),
        )),
    ),
    TORTUGA: (
        ("Lote La Tortuga Vieja", 0, (
            (-90.918402, 14.583910), (-90.915127, 14.583644), (-90.915390, 14.581022),
            (-90.918233, 14.581317),
        )),
    ),
    WENZI: (
        ("Almaz Borana", 1.2, ((38.204417, 6.121305),)),
        ("Dereje Wako", 0.8, ((38.206950, 6.123871),)),
        ("Tsige Halake", 1.7, ((38.201182, 6.119066),)),
    ),
}  # fmt: skip
"""Who grows it, on how many hectares where that is a point, and its corners; all of it invented."""
STATED: Final = frozenset({SERRA, WENZI})
"""Of these the importers named their statements; of the others they still owe them."""


@cache
def plots_of(coffee: Coffee) -> GivenPlots:
    """Draw the plots of a coffee as a file that names its producers."""
    features = []
    for producer, hectares, corners in FARMS[coffee]:
        known: dict[str, object] = {"ProducerName": producer, "ProducerCountry": coffee.origin}
        if hectares:
            known["Area"] = hectares
            geometry: dict[str, object] = {"type": "Point", "coordinates": corners[0]}
        else:
            geometry = {"type": "Polygon", "coordinates": [[*corners, corners[0]]]}
        features.append({"type": "Feature", "properties": known, "geometry": geometry})
    return GivenPlots.of(json.dumps({"type": "FeatureCollection", "features": features}).encode())


def say_role(pen: Pen, delivery: str) -> None:
    """Say that the roastery bought what importers had brought onto the market."""
    set_role(pen, delivery, RoleIn(role=FirmRole.TRADER, from_operator=True))


def file_evidence(pen: Pen, coffee: Coffee, lot: str, harvested: date) -> None:
    """File what is known of where and when a lot grew."""
    if coffee not in FARMS:
        return
    number = file_plots(pen, lot, plots_of(coffee)).id
    reference = f"{harvested:%y}XX{number:010d}"  # XX is no country
    statements = [StatementIn(reference=reference, verification=f"DEMO{number:04d}")]
    said = DueDiligenceIn(
        hs_code="090111",
        produced_from=harvested - PICKING,
        produced_to=harvested,
        statements=statements if coffee in STATED else [],
    )
    record(pen, lot, said)
