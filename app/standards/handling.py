"""Lifting sacks: the words of caution, and from which mass on they are said.

Great Britain sets no limit in law; its safety authority asks food firms to bring sacks down to
25 kg and to assess even those (food and drink manual handling pages, and Food Information Sheet
31). No figure is harmless to everybody, so nothing here says that one is. The words are ours.
"""

from typing import Final

HEAVY: Final = "Heavy: use mechanical help or two trained people; assess first"
"""What a heavy sack says."""

ABOVE_SHOULDER: Final = (
    "Heavy and above shoulder level: put sacks like this lower, or use a lifting aid; "
    "local rules and an assessment come first"
)
"""What is said when a heavy sack goes up high."""

IN_PARTS: Final = (
    "Heavy sack: the whole of it need not be lifted; scoop what is drawn into bins, "
    "in parts that your assessment allows"
)
"""What is said where less than the whole sack is wanted."""

PALLET: Final = (
    "Heavy: move it with a pallet truck or another lifting aid; "
    "local rules and an assessment come first"
)
"""What a heavy pallet says."""

IN_LOADS: Final = (
    "Heavy together: fetch them in loads that your assessment allows, or use mechanical help"
)
"""What is said of many bags that are fetched."""


def is_heavy(grams: int, over_g: int) -> bool:
    """Tell whether a sack gets a caution: above the limit and not at it."""
    return grams > over_g


def sack_caution(there_g: int, over_g: int) -> str | None:
    """Say what a sack says when it is to be lifted as it is: what is in it now decides."""
    return HEAVY if is_heavy(there_g, over_g) else None


def pick_caution(there_g: int, drawn_g: int, over_g: int) -> str | None:
    """Choose the caution for drawing from a sack: lifting the whole or scooping a part."""
    if not is_heavy(there_g, over_g):
        return None
    return HEAVY if drawn_g == there_g else IN_PARTS


def case_caution(there_g: int, over_g: int, *, pallet: bool) -> str | None:
    """Say what a case or a pallet says when it is to be lifted as it is."""
    if not is_heavy(there_g, over_g):
        return None
    return PALLET if pallet else HEAVY


def load_caution(fetched_g: int, over_g: int) -> str | None:
    """Say what is said of bags that are fetched one by one."""
    return IN_LOADS if is_heavy(fetched_g, over_g) else None
