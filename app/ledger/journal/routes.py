"""Proofs of the journal, and its export."""

from threading import Lock
from typing import Annotated, Final

from fastapi import Query, Response
from fastapi.responses import StreamingResponse

from app.ledger.clerk import Clerk, Reader, allowed
from app.ledger.journal import proving
from app.ledger.journal.exporting import export
from app.ledger.journal.reading import head
from app.ledger.journal.schemas import CheckOut, ProofOut
from app.shared.answers import Answer
from app.shared.problems import Refused
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("book")

Exporter = Annotated[Clerk, allowed(Permission.JOURNAL)]

_ONE_CHECK: Final = Lock()
"""A check reads the whole book: one at a time leaves a hand free for everybody else."""


class JsonLines(StreamingResponse):
    """JSON texts, one a line."""

    media_type = "application/x-ndjson"


@router.get("/journal/proof", response_model=ProofOut)
def prove_journal(
    clerk: Reader,
    first: Annotated[
        int, Query(alias="from", ge=1, le=2**31 - 1, description="The first entry to verify")
    ] = 1,
    limit: Annotated[int, Query(ge=1, le=100_000, description="How many at the most")] = 50_000,
) -> Response:
    """Verify the chain of hashes, and tell the head of the journal that stands for all of it."""
    return Answer(clerk.read(proving.proof, first, limit))


@router.get("/journal/check", response_model=CheckOut)
def check_book(clerk: Reader) -> Response:
    """Verify the whole chain and recompute every balance from it, as `jutebook check` does.

    It reads the whole book, so it takes its time on a large one, and there is one at a time.
    """
    if not _ONE_CHECK.acquire(blocking=False):
        raise Refused("busy", "The book is being checked already; ask again when that is done.")
    try:
        return Answer(clerk.read(proving.check))
    finally:
        _ONE_CHECK.release()


@router.get("/journal/export", response_class=JsonLines)
def export_journal(clerk: Exporter) -> Response:
    """Take the whole journal out, as the very bytes that its hashes cover.

    One JSON text a line; the last line holds how many entries there are and the hash of the last.
    `openapi-notes/verify_journal.py` verifies it. Prices are in it as everything that was said.
    """
    ends = clerk.read(head)
    name = f'attachment; filename="journal-{ends.entry}.jsonl"'
    return JsonLines(export(clerk.read, ends), headers={"Content-Disposition": name})
