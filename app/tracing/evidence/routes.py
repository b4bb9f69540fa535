"""Is the evidence complete: of a lot, and of everything made from lots."""

from fastapi import Response

from app.ledger.clerk import Reader
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.routing import api_router
from app.tracing.evidence import queries
from app.tracing.evidence.schemas import LotEvidence, UnitEvidence

router = api_router("trace")


@router.get("/lots/{code}/evidence", response_model=LotEvidence)
def lot_evidence(clerk: Reader, code: Code) -> Response:
    """Show what is on record about where a lot grew, what lacks, and until when it is kept."""
    return Answer(clerk.read(queries.lot_evidence, code, clerk.settings))


@router.get("/evidence/{code}", response_model=UnitEvidence)
def unit_evidence(clerk: Reader, code: Code, carry_over: bool = False) -> Response:
    """Tell whether the evidence behind any unit is complete, and name the lots without it.

    One lot without evidence makes everything it went into incomplete, however small its part. With
    `carry_over` lots that may have touched it on a machine are listed apart.
    """
    return Answer(clerk.read(queries.unit_evidence, code, clerk.settings, carry_over=carry_over))
