"""What open rules say of withdrawals and recalls: whose duty begins when, classes, checks, notices.

Regulation (EC) 178/2002, Article 19, as the United Kingdom's food standards agency explains it, is
the base; classes are those of the United States. The business and its authority decide.
"""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final

US: Final = "US"


class UsClass(StrEnum):
    """Classes of the United States' food and drug administration, by how grave the hazard is."""

    I = "I"  # noqa: E741 - the name of the class
    II = "II"
    III = "III"


class Harm(StrEnum):
    """How grave a hazard is."""

    PROBABLE_AND_SERIOUS = "probable_and_serious"
    TEMPORARY_OR_REVERSIBLE = "temporary_or_reversible"
    SERIOUS_BUT_REMOTE = "serious_but_remote"
    UNLIKELY = "unlikely"


US_CLASSES: Final[Mapping[Harm, UsClass]] = {
    Harm.PROBABLE_AND_SERIOUS: UsClass.I,
    Harm.TEMPORARY_OR_REVERSIBLE: UsClass.II,
    Harm.SERIOUS_BUT_REMOTE: UsClass.II,
    Harm.UNLIKELY: UsClass.III,
}

NOTICE_SAYS: Final = (
    "which product it is, with its lot marks",
    "to stop using and selling it at once",
    "to pass the notice on to whoever was sent any of it",
    "what to do with the bags that are left",
)
"""What a notice of a recall tells whoever was sent the product."""


IN_THE_HOUSE: Final = (
    "Nothing has left the house: block it and record that. The duty to withdraw begins when food "
    "has left the control of the business."
)
AT_BUSINESSES: Final = "Withdraw it and tell the competent authority at once."
AT_CONSUMERS: Final = (
    f"{AT_BUSINESSES} It reached consumers: tell them why, and recall it where nothing less "
    "protects them."
)
PERHAPS_AT_CONSUMERS: Final = (
    f"{AT_BUSINESSES} If it may have reached consumers: tell them why, and recall it where nothing "
    "less protects them."
)


def duty(*, left_the_house: bool, at_consumers: bool | None) -> str:
    """Say what Article 19 asks, by where unsafe food is; None where nobody knows of consumers."""
    if not left_the_house:
        return IN_THE_HOUSE
    if at_consumers is None:
        return PERHAPS_AT_CONSUMERS
    return AT_CONSUMERS if at_consumers else AT_BUSINESSES


def to_check(level: str, consignees: int) -> int:
    """Tell how many consignees are checked at a level A to E (21 CFR 7.42, from memory).

    Level B is more than a tenth and below all, which leaves the number open: the least is answered.
    """
    if level == "A":
        return consignees
    if level == "B":
        return min(consignees // 10 + 1, consignees)
    share = {"C": 10, "D": 2, "E": 0}[level]
    return -(-consignees * share // 100)
