"""The porter stands before everything: numbers requests, counts them, notes them in the log.

Turned away here is a head that can be read in two ways: a proxy may read it in the other.

What stands in no log: bodies, headers, and what follows the `?` of an address. Tokens come in a
header, and people type names into searches.
"""

import logging
import re
import secrets
from collections.abc import Iterable, Mapping, Sequence
from time import perf_counter
from typing import Final

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app import metrics
from app.shared.days import days_in
from app.shared.numbered import REQUEST_ID
from app.shared.problems import problem

_LOG: Final = logging.getLogger("jutebook.requests")
_OTHERS_NUMBER: Final = re.compile(r"[A-Za-z0-9._-]{1,64}")
_BROKEN: Final = 500
_ONCE: Final = {
    b"authorization": "Authorization",
    b"content-type": "Content-Type",
    b"idempotency-key": "Idempotency-Key",
}
"""Headers of which the one who reads the first and the one who reads the last would differ."""
_HOST: Final = re.compile(rb"(?:[\w.~!$&'()*+,;=%-]*|\[[0-9A-Fa-f:.]+\])(?::[0-9]*)?", re.ASCII)
"""What names a host (RFC 3986, 3.2.2 and 3.2.3)."""

HEADERS: Final = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
"""What an answer says to browsers unless it says otherwise: it is data of this house alone."""
_DOCS_POLICY: Final = (
    "default-src 'self'; script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data:; frame-ancestors 'none'"
)
"""The pages that show the API are the library's own, with a script inside."""
_SAFE_CONNECTIONS: Final = (b"strict-transport-security", b"max-age=%d" % (365 * 24 * 3600))


def _raw(headers: Mapping[str, str]) -> Sequence[tuple[bytes, bytes]]:
    """Write headers as they go over the wire."""
    return [(name.lower().encode(), value.encode()) for name, value in headers.items()]


_RAW_HEADERS: Final = _raw(HEADERS)
_DOCS_HEADERS: Final = _raw(HEADERS | {"Content-Security-Policy": _DOCS_POLICY})


class Porter:
    """Sees every request come and every answer go, also what nothing here could answer."""

    def __init__(self, app: ASGIApp, at_once: int) -> None:
        """Stand before an app; no more than `at_once` requests are let in at a time."""
        self._app = app
        self._at_once = at_once
        self._inside = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request (ASGI)."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        number = _number(scope)
        said = REQUEST_ID.set(number)
        came, status = perf_counter(), 0

        async def tell(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                _label(message, scope, number)
            await send(message)

        broken: Exception | None = None
        self._inside += 1
        try:
            zone = scope["app"].state.settings.time_zone
            with metrics.IN_PROGRESS.track_inprogress(), days_in(zone):
                await self._let_in(scope, receive, tell)
        except Exception as error:
            broken = error
            if not status:
                raise
        finally:
            self._inside -= 1
            _note(scope, status or _BROKEN, perf_counter() - came, broken)
            REQUEST_ID.reset(said)

    async def _let_in(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Tell whoever comes when too many wait to come again: a queue without end serves nobody.

        Whether the service is alive is answered all the same.
        """
        flaw = _flaw(scope)
        if flaw:
            # What else comes on that line may be what was hidden in the one request or the other.
            await problem("bad-request", flaw, {"Connection": "close"})(scope, receive, send)
            return
        if self._inside <= self._at_once or scope["path"] in {"/healthz", "/metrics"}:
            await self._app(scope, receive, send)
            return
        full = problem("busy", "Too many requests wait already.", {"Retry-After": "2"})
        await full(scope, receive, send)


def _flaw(scope: Scope) -> str | None:
    """Say what makes a head ambiguous: whom it asks, who asks, what its body is or its key."""
    hosts, seen = [], set()
    for name, value in scope["headers"]:
        if name == b"host":
            hosts.append(value)
        elif name in _ONCE:
            if name in seen:
                return f"The header {_ONCE[name]} is there more than once (RFC 9110, 5.3)."
            seen.add(name)
    if len(hosts) != 1 and (hosts or scope["http_version"] != "1.0"):
        return "The request does not name one host (RFC 9112, 3.2)."
    if hosts and not _HOST.fullmatch(hosts[0]):
        return "The header Host names no host (RFC 9112, 3.2)."
    return None


def _number(scope: Scope) -> str:
    """Take the number that a proxy gave, where it is one that can stand in a log."""
    given = Headers(scope=scope).get("x-request-id", "")
    return given if _OTHERS_NUMBER.fullmatch(given) else secrets.token_hex(8)


def _label(message: Message, scope: Scope, number: str) -> None:
    said = {name for name, _ in message["headers"]}
    message["headers"] = [
        *message["headers"],
        *(header for header in _headers_for(scope) if header[0] not in said),
        (b"x-request-id", number.encode()),
    ]


def _headers_for(scope: Scope) -> Iterable[tuple[bytes, bytes]]:
    yield from _DOCS_HEADERS if scope["path"].startswith("/api/docs") else _RAW_HEADERS
    if scope["scheme"] == "https":
        yield _SAFE_CONNECTIONS


def _note(scope: Scope, status: int, took_s: float, broken: Exception | None) -> None:
    # By its name, as the description of the API has it: a path would hold codes.
    operation = getattr(scope.get("route"), "name", "none")
    metrics.count(scope["method"], operation, status, took_s)
    _LOG.log(
        logging.ERROR if status >= _BROKEN and broken else logging.INFO,
        "%s %s %s",
        scope["method"],
        scope["path"].encode("unicode_escape").decode("ascii"),
        status,
        exc_info=broken,
        extra={
            "method": scope["method"],
            "operation": operation,
            "status": status,
            "ms": round(took_s * 1000, 1),
            "who": scope.get("state", {}).get("who"),
        },
    )
