"""Decisions about arrivals: the order of work, what calls for a hold, which words to show."""

from collections.abc import Collection, Mapping
from enum import StrEnum
from typing import Final


class Step(StrEnum):
    """What is done with an arrived lot before it is released, in the order of work."""

    COUNT = "count"
    WEIGHT = "weight"
    INSPECTION = "inspection"
    SAMPLE = "sample"
    MOISTURE = "moisture"


def open_steps(done: Collection[Step]) -> list[Step]:
    """Name what is still to be done, in the order of work."""
    return [step for step in Step if step not in done]


SIGNS: Final[Mapping[str, str]] = {
    "musty_smell": "an earthy, musty or mouldy smell",
    "foreign_smell": "a foreign smell",
    "live_insects": "live insects",
    "wet_marks": "wet or stained sacks",
    "mould": "mould",
    "husks_or_pods": "husks or pods among the beans",
}
"""What calls for a hold, in words."""


def seen(inspection: object) -> list[str]:
    """Name in words what an inspection found."""
    return [words for sign, words in SIGNS.items() if getattr(inspection, sign)]


APART: Final = (
    "Hold it and keep it apart. Do not sort or blend it away. "
    "Wear a dust mask near mould, and decide with a competent person."
)
"""Shown where something calls for a hold (usual caution)."""

CLEAN: Final = (
    "Clean-looking coffee can still contain mould toxins: an inspection alone clears nothing."
)
"""Shown where nothing was found."""

TELLING: Final = frozenset({"wet", "mouldy", "tainted", "infested"})
"""Kinds of exceptions that are shown with the caution."""
