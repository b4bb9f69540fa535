"""What was scanned."""

from fastapi import Response

from app.ledger.clerk import Reader
from app.scans import queries
from app.scans.schemas import ScanIn, ScanOut
from app.shared.answers import Answer
from app.shared.routing import api_router
from app.shared.turns import reads

router = api_router("scans")


@router.post("/scans", response_model=ScanOut)
@reads
def scan(clerk: Reader, asked: ScanIn) -> Response:
    """Tell what a scanner read: a code of the house, a GS1 barcode or link, an ICO mark.

    Nothing is booked. What is well formed and names nothing here is answered with an empty `found`;
    what claims to be of GS1 and breaks a rule of it is refused, and the rule is named.
    """
    return Answer(clerk.read(queries.scan, asked))
