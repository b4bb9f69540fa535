"""Refusals in the roastery's words, and the one table that gives each its place in HTTP.

A refusal is raised where the rule lives and knows nothing of HTTP; `KINDS` holds title, status
and explanation, and the service serves the explanation under `/problems/<slug>` (RFC 9457).
"""

import logging
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from http import HTTPStatus
from typing import Any, Final

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as NoConnectionError
from starlette.exceptions import HTTPException
from starlette.routing import Match

from app.shared.answers import Answer
from app.shared.book_file import NoBookError, code_of
from app.shared.kinds import KINDS
from app.shared.numbered import REQUEST_ID

_LOG: Final = logging.getLogger("jutebook.database")
_DAMAGED: Final = (
    "The file of the book is damaged; nothing was booked. Tell whoever runs the service: "
    "`jutebook check` looks through it, `jutebook restore` brings a backup back."
)
ONLY_READ: Final = (
    "The file of the book can only be read; nothing was booked. Tell whoever runs the service: "
    "it goes on by itself as soon as file and folder can be written."
)
_FLAWS_OF_FILES: Final[Mapping[int, str]] = {
    sqlite3.SQLITE_CORRUPT: _DAMAGED,
    sqlite3.SQLITE_NOTADB: _DAMAGED,
    sqlite3.SQLITE_READONLY: ONLY_READ,
    sqlite3.SQLITE_CANTOPEN: "The file of the book, or its log beside it, cannot be opened; "
    "nothing was booked. Tell whoever runs the service.",
    # Perhaps while it committed.
    sqlite3.SQLITE_IOERR: "The disk of the book answers with errors; booked is all of it or "
    "nothing. Sent again with the same Idempotency-Key it is booked once. Tell whoever runs the "
    "service.",
}
"""What is told of a file by what SQLite found."""
_MOST_FLAWS: Final = 100
"""So many flaws of a request are named; nobody mends more at once."""


class Refused(Exception):  # noqa: N818 - a refusal is an answer, not an error
    """A rule said no. Nothing is stored; the figures go out as members of the problem."""

    def __init__(self, slug: str, detail: str, **figures: object) -> None:
        super().__init__(detail)
        self.slug = slug
        self.detail = detail
        self.figures = figures


class FieldRefused(Refused):
    """A refusal that points at a field, though it took the database to find it."""

    def __init__(self, pointer: str, detail: str, slug: str = "invalid") -> None:
        super().__init__(slug, detail, errors=[{"pointer": pointer, "detail": detail}])


class ParameterRefused(Refused):
    """A refusal that points at a parameter of an address."""

    def __init__(self, parameter: str, detail: str, slug: str = "invalid") -> None:
        super().__init__(slug, detail, errors=[{"parameter": parameter, "detail": detail}])


class MemberError(ValueError):
    """Found in a body as a whole, and the fault of one member of it."""

    def __init__(self, member: str, detail: str) -> None:
        super().__init__(detail)
        self.member = member


def problem(
    slug: str, detail: str, headers: Mapping[str, str] | None = None, **members: object
) -> Response:
    """Write a problem document (RFC 9457); extension members never hide the standard ones."""
    kind = KINDS[slug]
    body = members | {
        "type": f"/problems/{slug}",
        "title": kind.title,
        "status": kind.status,
        "detail": detail,
    }
    answer = Answer(body, kind.status, headers)
    answer.headers["content-type"] = "application/problem+json"
    return answer


def pointer(location: Sequence[str | int]) -> str:
    """Write where a field stands as a JSON Pointer (RFC 6901) in a URI fragment: `#/lots/0`.

    The whole body is `#`; a slash after it would name a member without a name.
    """
    steps = (str(step).replace("~", "~0").replace("/", "~1") for step in location)
    return "".join(["#", *(f"/{step}" for step in steps)])


def _members(steps: Sequence[str | int], body: Any, kind: str) -> list[str | int]:  # noqa: ANN401 - JSON
    """Name the members that lead to a flaw, without the types Pydantic tried there in turn.

    Where a member may be of one of several types it names, as a step of the way, the one that did
    not fit: `lines`, 0, `BagsIn`, `bags`. No body has a member of that name.
    """
    members = []
    for at, step in enumerate(steps, 1):
        if _has(body, step):
            body = body[step]
        elif kind != "missing" or at < len(steps):
            continue
        members.append(step)
    return members


def _has(body: object, step: str | int) -> bool:
    if isinstance(body, Mapping):
        return step in body
    return isinstance(body, list) and isinstance(step, int) and step < len(body)


def _is_json(request: Request) -> bool:
    media_type = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    return media_type == "application/json" or media_type.endswith("+json")


def _invalid(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)  # noqa: S101 - registered for it alone
    found, errors = error.errors(), []
    for flaw in found[:_MOST_FLAWS]:
        if flaw["type"] == "model_attributes_type" and not _is_json(request):
            return problem("unsupported-media-type", "The body is not `application/json`.")
        place, *steps = flaw["loc"]
        if place == "body":
            steps = _members(steps, error.body, flaw["type"])
        cause = flaw.get("ctx", {}).get("error")
        said = str(cause) if isinstance(cause, Exception) else flaw["msg"]
        if isinstance(cause, MemberError):
            steps = [*steps, cause.member]
        if flaw["type"] == "json_invalid":
            # The one step is not a field but how far into the text the parser came.
            steps, said = [], f"no JSON that this service reads: {cause}"
        elif flaw["type"] == "model_attributes_type":
            said = "a JSON object is wanted"
        known = {"pointer": pointer(steps)} if place == "body" else {"parameter": str(steps[0])}
        errors.append(known | {"detail": said})
    where = errors[0].get("pointer") or errors[0].get("parameter")
    detail = f"{where}: {errors[0]['detail']}"
    more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
    if len(found) > len(errors):
        return problem("invalid", detail + more, errors=errors, flaws=len(found))
    return problem("invalid", detail + more, errors=errors)


_BY_STATUS = {
    HTTPStatus.BAD_REQUEST: "bad-request",
    HTTPStatus.NOT_FOUND: "not-found",
    HTTPStatus.REQUEST_TIMEOUT: "too-slow",
    HTTPStatus.METHOD_NOT_ALLOWED: "method-not-allowed",
    HTTPStatus.REQUEST_ENTITY_TOO_LARGE: "too-large",
    HTTPStatus.UNSUPPORTED_MEDIA_TYPE: "unsupported-media-type",
}


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # noqa: S101 - registered for it alone
    slug = _BY_STATUS.get(HTTPStatus(error.status_code), "bad-request")
    detail = f"{request.method} {request.url.path}: {error.detail}"
    headers = dict(error.headers or {})
    if error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
        headers["Allow"] = ", ".join(_methods_at(request))
    return problem(slug, detail, headers)


def _methods_at(request: Request) -> Iterator[str]:
    """Name the methods of a path; the router names those of the first route there alone."""
    for method in ("GET", "HEAD", "POST", "PATCH"):
        scope = {**request.scope, "method": method}
        if any(route.matches(scope)[0] is Match.FULL for route in request.app.router.routes):
            yield method


def _refused(_: Request, refusal: Exception) -> Response:
    assert isinstance(refusal, Refused)  # noqa: S101 - registered for it alone
    headers = {"Retry-After": "1"} if refusal.slug in {"busy", "request-in-flight"} else None
    if refusal.slug == "too-many-requests":
        headers = {"Retry-After": "60"}
    if refusal.slug == "unauthorized":
        headers = {"WWW-Authenticate": str(refusal.figures.pop("challenge"))}
    if refusal.slug == "forbidden":
        challenge = f'Bearer error="insufficient_scope", scope="{refusal.figures["permission"]}"'
        headers = {"WWW-Authenticate": challenge}
    return problem(refusal.slug, refusal.detail, headers, **refusal.figures)


def _database(_: Request, error: Exception) -> Response:
    """Answer for a database that is locked, full, gone or damaged; all else is our fault."""
    assert isinstance(error, DBAPIError)  # noqa: S101 - registered for it alone
    if flaw := flaw_of_file(error):
        # Coming again will not help before somebody looks.
        return problem("busy", flaw, {"Retry-After": "60"})
    if "no such table" in str(error.orig) or "UndefinedTable" in type(error.orig).__name__:
        return problem(
            "busy",
            "The database has no tables of this service yet: `jutebook migrate` makes them.",
            {"Retry-After": "60"},
        )
    if "interrupted" in str(error.orig) or "QueryCanceled" in type(error.orig).__name__:
        return problem(
            "busy",
            "The database worked on it for too long and was told to stop; nothing was booked. "
            "Ask for less at a time.",
            {"Retry-After": "30"},
        )
    if error.connection_invalidated:
        # Perhaps while it committed: then only asking again tells what came of it.
        return problem(
            "busy",
            "The connection to the database was lost: booked is all of it or nothing. Sent again "
            "with the same Idempotency-Key it is booked once.",
            {"Retry-After": "2"},
        )
    if type(error).__name__ == "OperationalError":
        return problem(
            "busy",
            "The database did not take the request; nothing was booked.",
            {"Retry-After": "2"},
        )
    raise error  # to the one place that answers 500 and lets the server log what happened


def _none_free(_: Request, __: Exception) -> Response:
    """Answer whoever waited for a connection for as long as the pool lets anybody wait."""
    return problem(
        "busy",
        "All connections to the database were taken for too long; nothing was booked.",
        {"Retry-After": "2"},
    )


def flaw_of_file(error: DBAPIError) -> str | None:
    """Note what is wrong with the file of a SQLite book, and tell it; None where nothing is."""
    if isinstance(error.orig, NoBookError):
        _LOG.error("%s", error.orig)
        return error.orig.told
    said = _FLAWS_OF_FILES.get(code_of(error.orig))
    if said is not None:
        _LOG.error("%s: %s", said.partition(";")[0], error.orig)
    return said


def _broken(_: Request, __: Exception) -> Response:
    number = REQUEST_ID.get()
    said = f"An unforeseen error, in the log under {number}; nothing was booked."
    return problem("internal", said, request=number)


def explain_refusals(app: FastAPI) -> None:
    """Make every refusal of the service one shape."""
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(Refused, _refused)
    app.add_exception_handler(DBAPIError, _database)
    app.add_exception_handler(NoConnectionError, _none_free)
    app.add_exception_handler(Exception, _broken)
