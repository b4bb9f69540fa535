"""What cases are called on papers and pages, and what is said to be in them."""

from collections.abc import Mapping
from typing import Final

from app.sending.cases.tables import CaseKind
from app.shared.speech import N_, Speech, pair

CASES: Final[Mapping[str, str]] = {
    CaseKind.CASE: N_("case"),
    CaseKind.CRATE_LOAD: N_("crate with bags"),
    CaseKind.PALLET: N_("pallet"),
}
_BAGS: Final = pair("%(number)s bag, %(mass)s net", "%(number)s bags, %(mass)s net")


def case_name(kind: str, speech: Speech) -> str:
    """Name a kind of case at the beginning of a line."""
    said = speech.gettext(CASES[kind])
    return f"{said[:1].upper()}{said[1:]}"


def contents_text(bags: int, grams: int, speech: Speech) -> str:
    """Say how much is in a case."""
    told = {"number": speech.number(bags), "mass": speech.mass(grams)}
    return speech.ngettext(*_BAGS, bags) % told
