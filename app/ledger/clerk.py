"""The clerk takes a request to the book: one read, or one write with the pen.

A whole write, from taking the pen to the commit and the bytes of its answer, happens in one
call on one thread. So nobody can hold the pen while waiting for a thread, and an answer exists
only after the commit it speaks of.
"""

import hashlib
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import Annotated, Concatenate, ParamSpec, TypeVar

from fastapi import Depends, Header, Request, Security
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer, SecurityScopes
from pydantic import BaseModel
from sqlalchemy import bindparam, select
from sqlmodel import Session, col

from app.ledger.posting import Pen
from app.ledger.replica import reading_all_booked, reading_beside
from app.ledger.rules import canonical
from app.ledger.tables import Entry, KeyedAnswer
from app.settings import Settings
from app.shared.answers import Answer, to_json
from app.shared.db import ask_in, glancing, writing
from app.shared.problems import Refused
from app.shared.sign_in import Staff, staff_of
from app.shared.staff import Permission
from app.shared.versions import Versioned

P = ParamSpec("P")
R = TypeVar("R")


# Built once: each write asks it.
_ANSWERED = (
    select(
        col(Entry.fingerprint),
        col(KeyedAnswer.status),
        col(KeyedAnswer.body),
        col(KeyedAnswer.etag),
    )
    .join(KeyedAnswer, col(KeyedAnswer.entry_id) == col(Entry.id))
    .where(col(Entry.who) == bindparam("who"), col(Entry.idempotency_key) == bindparam("key"))
)


class Clerk:
    """Whoever is signed in, at the book."""

    def __init__(self, request: Request, staff: Staff, key: str | None = None) -> None:
        """Serve a request; a form brings its idempotency key itself, not in a header."""
        self.staff = staff
        self._request = request
        self._brought = key
        self._state = request.app.state

    @property
    def request(self) -> Request:
        """The request being served."""
        return self._request

    @property
    def settings(self) -> Settings:
        """What the roastery has set."""
        settings: Settings = self._state.settings
        return settings

    def read(
        self, query: Callable[Concatenate[Session, P], R], *args: P.args, **kwargs: P.kwargs
    ) -> R:
        """Run a query on one state of the book."""
        opened = partial(reading_all_booked, self._state.read_engine, self._state.engine)
        return ask_in(opened, query, *args, **kwargs)

    def read_beside(
        self, query: Callable[Concatenate[Session, P], R], *args: P.args, **kwargs: P.kwargs
    ) -> R:
        """Run a query on what stands beside the journal and is no entry."""
        opened = partial(reading_beside, self._state.engine, self._state.read_engine)
        return ask_in(opened, query, *args, **kwargs)

    def glance(
        self, query: Callable[Concatenate[Session, P], R], *args: P.args, **kwargs: P.kwargs
    ) -> R:
        """Run a query whose answer comes of one statement, and of what never changes."""
        if self._state.read_engine is not self._state.engine:
            return self.read(query, *args, **kwargs)
        return ask_in(partial(glancing, self._state.engine), query, *args, **kwargs)

    def write(
        self, action: Callable[Concatenate[Pen, P], BaseModel], *args: P.args, **kwargs: P.kwargs
    ) -> Answer:
        """Run an action in one transaction and answer what it made.

        With an `Idempotency-Key` the first answer is kept and given again (`Idempotency-Replayed`).

        Raises:
            Refused: what the action raises; `idempotency-key-reused`; `request-in-flight`.
        """
        status = self._request.scope["route"].status_code or 200
        key = self._brought or _key(self._request)
        if key is None:
            with writing(self._state.engine) as session:
                made = action(self._pen(session), *args, **kwargs)
                body = to_json(made)
            return _answer(body, status, made)
        fingerprint = self._fingerprint(args)
        with self._alone(key), writing(self._state.engine) as session:
            before = self._answered(session, key, fingerprint)
            if before is not None:
                return before
            pen = self._pen(session, key, fingerprint)
            made = action(pen, *args, **kwargs)
            body = to_json(made)
            pen.write(KeyedAnswer, [{
                "entry_id": pen.keyed_entry_id, "status": status, "body": body.decode(),
                "etag": made.etag if isinstance(made, Versioned) else None,
            }])  # fmt: skip
        return _answer(body, status, made)

    def _pen(self, session: Session, key: str | None = None, fingerprint: str | None = None) -> Pen:
        return Pen(session, self.staff.name, self._state.settings, key, fingerprint)

    def _fingerprint(self, args: tuple[object, ...]) -> str:
        said = [arg.model_dump_json() if isinstance(arg, BaseModel) else str(arg) for arg in args]
        whole = canonical([self._request.method, self._request.url.path, said])
        return hashlib.sha256(whole.encode()).hexdigest()

    @contextmanager
    def _alone(self, key: str) -> Iterator[None]:
        """Let one request with this key through at a time; its twin is told to come again.

        A twin at another server process waits for the pen instead and finds the answer.
        """
        mine = (self.staff.name, key)
        with self._state.in_flight_lock:
            if mine in self._state.in_flight:
                raise _in_flight(key)
            self._state.in_flight.add(mine)
        try:
            yield
        finally:
            with self._state.in_flight_lock:
                self._state.in_flight.discard(mine)

    def _answered(self, session: Session, key: str, fingerprint: str) -> Answer | None:
        asked = {"who": self.staff.name, "key": key}
        row = session.connection().execute(_ANSWERED, asked).first()
        if row is None:
            return None
        if row.fingerprint != fingerprint:
            raise Refused(
                "idempotency-key-reused",
                f"The Idempotency-Key {key} was used for another request.",
                key=key,
            )
        answer = Answer(row.body.encode(), row.status, {"Idempotency-Replayed": "true"})
        if row.etag:
            answer.headers["ETag"] = row.etag
        return answer


def _in_flight(key: str) -> Refused:
    return Refused(
        "request-in-flight",
        f"A request with the Idempotency-Key {key} is being worked on.",
        key=key,
    )


def _key(request: Request) -> str | None:
    """Read the key, written bare or as the quoted string of the draft standard."""
    header = request.headers.get("idempotency-key")
    if header is None or request.method != "POST":
        return None
    key = header[1:-1] if re.fullmatch(r'".*"', header) else header
    if not re.fullmatch(r"[\x21-\x7e]{1,255}", key):
        raise Refused("bad-request", "An Idempotency-Key has 1 to 255 visible ASCII characters.")
    return key


def _answer(body: bytes, status: int, made: BaseModel) -> Answer:
    answer = Answer(body, status)
    if isinstance(made, Versioned):
        answer.headers["ETag"] = made.etag
    return answer


_BEARER = HTTPBearer(auto_error=False, description="A token made by `jutebook tokens add`.")


async def _let_in(
    request: Request,
    needed: SecurityScopes,
    _: Annotated[HTTPAuthorizationCredentials | None, Depends(_BEARER)],
) -> Clerk:
    staff = staff_of(request)
    refuse_nul(request)
    for permission in needed.scopes:
        staff.refuse_without(Permission(permission))
    return Clerk(request, staff)


def refuse_nul(request: Request) -> None:
    """Refuse an address that no database can look up."""
    if "\0" in request.scope["path"] + "".join(request.query_params.values()):
        raise Refused("bad-request", "The address has a NUL character in it.")


async def _keyed(
    _: Annotated[
        str | None,
        Header(
            alias="Idempotency-Key",
            description="Makes a retry harmless: the same key and body "
            "are booked once and answered the same.",
        ),
    ] = None,
) -> None:
    """Name the header in the API description; `Clerk.write` reads it."""


def allowed(permission: Permission) -> object:
    """Let in whoever has the permission; the parameter's type says so in the signature."""
    return Security(_let_in, scopes=[permission])


Reader = Annotated[Clerk, allowed(Permission.READ)]
Keyed = Depends(_keyed)
"""Belongs among the `dependencies` of every POST that writes."""
