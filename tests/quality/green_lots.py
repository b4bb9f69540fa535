"""Reading the graded lots of the shared reference data, as their graders typed them."""

import csv
import json
import re
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from app.standards.defects import counted_elsewhere
from app.standards.grading import Found, Species

SAMPLE_G = 350
QUAKER_SAMPLE_G = 100
"""The masses in which such lots are graded: from memory, the file does not say."""

TASTERS = 3
"""A score of the file is the mean of several tasters, of three: from memory."""

_DEFECTS = re.compile(r"(\d+) full defects")
_MOISTURE = re.compile(r"(\d+(?:\.\d+)?) %")
_SCORE = re.compile(r"(?:Sample\s+)?(\d+(?:\.\d+)?)")


@dataclass(frozen=True)
class GradedLot:
    """One row; None is what nobody can read."""

    row_id: str
    species: Species
    country: str
    ico_number: str
    category_1: int | None
    category_2: int | None
    quakers: int | None
    moisture_pct: Decimal | None
    """As typed: 0 stands for not measured."""
    score: Decimal | None
    colour: str

    @property
    def measured_moisture_pct(self) -> Decimal | None:
        return self.moisture_pct or None

    def found(self) -> Found:
        """Put the row before a standard."""
        counted = None
        if self.category_1 is not None and self.category_2 is not None:
            counted = counted_elsewhere(self.category_1, self.category_2, "as typed")
        return Found(
            sample_g=SAMPLE_G,
            defects=counted,
            quakers=self.quakers,
            quaker_sample_g=QUAKER_SAMPLE_G,
            moisture_pct=self.measured_moisture_pct,
            species=self.species,
        )


def graded_lots(shared: Path) -> list[GradedLot]:
    """Read every row."""
    with (shared / "data/open/lots.csv").open(encoding="utf-8", newline="") as file:
        return [_lot(row) for row in csv.DictReader(file)]


def accepted_lots(shared: Path) -> list[GradedLot]:
    """Read the rows that the strict import takes."""
    with (shared / "data/open/rejects.csv").open(encoding="utf-8", newline="") as file:
        refused = {row["row_id"] for row in csv.DictReader(file)}
    return [lot for lot in graded_lots(shared) if lot.row_id not in refused]


def expected(shared: Path) -> dict[str, Any]:
    """Read the figures that stand beside the rows."""
    text = (shared / "data/open/EXPECTED.json").read_text(encoding="utf-8")
    figures: dict[str, Any] = json.loads(text, parse_float=Decimal)["figures"]
    return figures


def _lot(row: dict[str, str]) -> GradedLot:
    return GradedLot(
        row_id=row["row_id"],
        species=Species(row["species"].lower()),
        country=row["country"],
        ico_number=row["ico_number"],
        category_1=_whole(_DEFECTS, row["category_one_defects"]),
        category_2=_whole(_DEFECTS, row["category_two_defects"]),
        quakers=_whole(re.compile(r"(\d+)"), row["quakers"]),
        moisture_pct=_number(_MOISTURE, row["moisture"]),
        score=_number(_SCORE, row["total_cup_points"]),
        colour=row["color"].strip(),
    )


def _whole(form: re.Pattern[str], cell: str) -> int | None:
    read = form.fullmatch(cell.strip())
    return int(read[1]) if read else None


def _number(form: re.Pattern[str], cell: str) -> Decimal | None:
    read = form.fullmatch(cell.strip())
    return Decimal(read[1]) if read else None
