"""The doors that need no token: is it alive, is it ready, what does it count."""

from fastapi import APIRouter, Request, Response
from fastapi.responses import PlainTextResponse
from prometheus_client import CONTENT_TYPE_LATEST
from sqlalchemy.exc import DBAPIError

from app import __version__, metrics
from app.revision import lag
from app.shared.answers import Answer
from app.shared.book_file import only_reads
from app.shared.problems import ONLY_READ, Refused, flaw_of_file
from app.shared.routing import short_name

router = APIRouter(tags=["doors"], generate_unique_id_function=short_name)


@router.head("/healthz", include_in_schema=False)
@router.get("/healthz")
async def alive() -> Response:
    """Tell that the process answers."""
    # From the loop of events, not from a thread: all of those may wait for a database that hangs.
    return Answer({"status": "alive", "version": __version__})


@router.head("/readyz", include_in_schema=False)
@router.get("/readyz")
def ready(request: Request) -> Response:
    """Tell that the database is reachable and migrated, and a file of SQLite can be written."""
    try:
        behind = lag(request.app.state.engine)
    except DBAPIError as error:
        why = flaw_of_file(error) or "The database is out of reach."
        raise Refused("busy", why) from error
    if behind:
        raise Refused("busy", behind)
    if only_reads(request.app.state.engine):
        raise Refused("busy", ONLY_READ)
    return Answer({"status": "ready"})


@router.get("/metrics", response_class=PlainTextResponse)
def count(request: Request) -> Response:
    """Answer counters as Prometheus text: requests, entries, the book's last check, the replica."""
    state = request.app.state
    told = metrics.told(state.engine, state.read_engine)
    return Response(told, headers={"content-type": CONTENT_TYPE_LATEST})
