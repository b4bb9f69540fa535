"""A trace as a table to be sorted elsewhere."""

import io
from collections.abc import Mapping
from typing import Any, Final

from app.shared.cells import write_csv

UNIT: Final = (
    "code", "kind", "happened_at", "made_kg", "left_kg", "suspect_kg", "green_kg", "share_pct",
    "location", "held",
)  # fmt: skip
"""The members of a unit of a trace that a table shows."""


def units_csv(answer: Mapping[str, Any]) -> bytes:
    """Write the units of a trace, a row each."""
    file = io.StringIO(newline="")
    write_csv(file, UNIT, ([unit[name] for name in UNIT] for unit in answer["units"]))
    return file.getvalue().encode()
