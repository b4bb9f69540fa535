"""What the API answers about the evidence behind lots and behind anything made of them."""

from datetime import date

from app.green.evidence.schemas import Hectares, LotStanding, StatementOut
from app.ledger.schemas import Told
from app.ledger.tables import UnitKind


class LotEvidence(LotStanding):
    """All that counts for one lot, what it lacks, and how long it is kept."""

    from_operator: bool | None
    plot_file: int | None
    plots: int
    area_ha: Hectares
    statements: list[StatementOut]
    hs_code: str | None
    produced_from: date | None
    produced_to: date | None
    not_available: str | None
    placed_on_market_on: date | None
    """The day of the first dispatch of anything of it."""
    retained_until: date | None
    """Five years later, unless the roastery keeps it longer; null while nothing was sent."""
    last_dispatched_on: date | None
    last_retained_until: date | None
    """The same counted from the last dispatch: until then something of it is to be shown."""
    applies_on: date
    cut_off_on: date
    notices: list[str]
    caution: str


class UnitIs(Told):
    code: str
    kind: UnitKind


class UnitEvidence(Told):
    """The lots behind a unit: its evidence is complete if that of every one of them is."""

    of: UnitIs
    complete: bool
    lots: list[LotStanding]
    without_evidence: list[str]
    """Codes of the lots whose evidence is not complete."""
    possible_contact: list[LotStanding] | None
    """Only with `carry_over`: lots that may have left a rest on a machine or in a place."""
    caution: str
