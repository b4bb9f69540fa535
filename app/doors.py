"""The doors that need no token: is it alive, is it ready, what does it count, where to begin."""

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse, PlainTextResponse
from prometheus_client import CONTENT_TYPE_LATEST, generate_latest
from sqlalchemy.exc import DBAPIError

from app import __version__
from app.schema import lag
from app.shared.answers import Answer
from app.shared.problems import Refused

router = APIRouter(tags=["doors"])

_FRONT = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>Jutebook</title>
</head>
<body>
<main>
<h1>Jutebook</h1>
<p>The book of a roastery's coffee, from the sack on the rack to the bag at the customer's.</p>
<ul>
<li><a href="/api/docs">The API, to read and to try</a></li>
<li><a href="/api/openapi.json">Its OpenAPI document</a></li>
<li><a href="/problems/">Problems this service answers, explained</a></li>
</ul>
</main>
</body>
</html>
"""


@router.get("/", response_class=HTMLResponse, include_in_schema=False)
def front() -> HTMLResponse:
    """Show where to begin."""
    return HTMLResponse(_FRONT)


@router.head("/healthz", include_in_schema=False)
@router.get("/healthz")
def alive() -> Response:
    """Tell that the process answers."""
    return Answer({"status": "alive", "version": __version__})


@router.head("/readyz", include_in_schema=False)
@router.get("/readyz")
def ready(request: Request) -> Response:
    """Tell that the database is reachable and migrated."""
    try:
        behind = lag(request.app.state.engine)
    except DBAPIError as error:
        raise Refused("busy", "The database is out of reach.") from error
    if behind:
        raise Refused("busy", behind)
    return Answer({"status": "ready"})


@router.get("/metrics", response_class=PlainTextResponse)
def metrics() -> Response:
    """Answer the process's counters as Prometheus text."""
    return Response(generate_latest(), headers={"content-type": CONTENT_TYPE_LATEST})
