"""Sessions: begun by a password, found by a cookie, ended by sign-out, by rest or by age.

The cookie holds 256 random bits, the database their SHA-256. The token that every form carries is
made of the same secret, so it is worth as much as the session and needs no room of its own.
"""

import secrets
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from typing import Final, Literal

from fastapi import Request, Response
from limits import RateLimitItemPerMinute, storage, strategies
from sqlalchemy import ColumnElement, bindparam, delete, or_, select, update
from sqlalchemy.exc import OperationalError
from sqlmodel import Session, col

from app.settings import Settings
from app.shared.db import AnySelect, look_up, reading, writing
from app.shared.patience import if_it_opens
from app.shared.people import LONGEST_NAME
from app.shared.problems import Refused
from app.shared.sign_in import Staff, User, digest, knows_password, live_user, split_roles
from app.shared.times import now
from app.web.tables import WebSession

_SEEN_EVERY: Final = timedelta(minutes=5)
_GUESSING_MINUTES: Final = 15


@dataclass(frozen=True)
class Visitor:
    """Who is signed in at a browser, and how they like to see things."""

    staff: Staff
    user_id: int
    session_id: int
    form_token: str
    language: str | None
    mass_unit: Literal["kg", "lb"]


class Guesses:
    """Counts wrong passwords by name and by address, in this process's memory."""

    def __init__(self, settings: Settings) -> None:
        self._kept = strategies.MovingWindowRateLimiter(storage.MemoryStorage())
        self._limits = {
            "name": RateLimitItemPerMinute(settings.guesses_per_name, _GUESSING_MINUTES),
            "address": RateLimitItemPerMinute(settings.guesses_per_address, _GUESSING_MINUTES),
        }

    def refuse_more(self, name: str, address: str) -> None:
        """Refuse to look at another password after too many wrong ones."""
        by = _counted_by(name, address)
        if not all(self._kept.test(self._limits[each], each, by[each]) for each in by):
            raise Refused(
                "too-many-guesses",
                f"There were too many wrong passwords; try again in {_GUESSING_MINUTES} minutes.",
            )

    def wrong(self, name: str, address: str) -> None:
        """Count a wrong password."""
        for each, said in _counted_by(name, address).items():
            self._kept.hit(self._limits[each], each, said)


def _counted_by(name: str, address: str) -> dict[str, str]:
    """Say what a guess is counted by: a name that nobody can have is not kept in memory."""
    by = {"address": address}
    return by if len(name) > LONGEST_NAME else by | {"name": name}


def begin(request: Request, name: str, password: str) -> str | None:
    """Let somebody in: returns the secret for the cookie, or None when that is nobody.

    A name that is not known takes as long as a wrong password. No pen is held while hashing.

    Raises:
        Refused: `too-many-guesses`.
    """
    state = request.app.state
    address = request.client.host if request.client else ""
    state.guesses.refuse_more(name, address)
    with reading(state.engine) as session:
        user = live_user(session, name) if len(name) <= LONGEST_NAME else None
    if not knows_password(user, password) or user is None or user.id is None:
        state.guesses.wrong(name, address)
        return None
    secret = secrets.token_urlsafe(32)
    at = now()
    with writing(state.engine) as session:
        session.execute(delete(WebSession).where(_over()), _ends(state.settings))
        session.add(WebSession(sha256=digest(secret), user_id=user.id, began_at=at, seen_at=at))
    return secret


def _over() -> ColumnElement[bool]:
    return or_(
        col(WebSession.seen_at) < bindparam("idle_since"),
        col(WebSession.began_at) < bindparam("begun_before"),
    )


def _ends(settings: Settings) -> dict[str, datetime]:
    """Give `_over` its moments."""
    at = now()
    return {
        "idle_since": at - timedelta(minutes=settings.session_idle_minutes),
        "begun_before": at - timedelta(hours=settings.session_hours),
    }


@cache
def _who_is_there() -> AnySelect:
    return (
        select(
            col(WebSession.id),
            col(WebSession.seen_at),
            col(WebSession.user_id),
            col(User.name),
            col(User.roles),
            col(User.language),
            col(User.mass_unit),
        )
        .join(User, col(User.id) == col(WebSession.user_id))
        .where(
            col(WebSession.sha256) == bindparam("sha256"),
            ~_over(),
            col(User.closed_at).is_(None),
            or_(
                col(User.password_set_at).is_(None),
                col(User.password_set_at) <= col(WebSession.began_at),
            ),
        )
    )


def find(request: Request) -> Visitor | None:
    """Find out whose cookie it is: one statement, and now and then one that says they were seen."""
    secret = request.cookies.get(cookie_name(request))
    if not secret:
        return None
    state = request.app.state
    engines = [state.engine, state.read_engine]
    there = look_up(engines, _who_is_there(), sha256=digest(secret), **_ends(state.settings))
    if there is None:
        return None
    if now() - there.seen_at > _SEEN_EVERY:
        # Whoever reads while the database is gone is let in by its replica, which takes no notes.
        with (
            suppress(OperationalError),
            if_it_opens(state.engine),
            writing(state.engine) as session,
        ):
            session.execute(
                update(WebSession).where(col(WebSession.id) == there.id).values(seen_at=now())
            )
    return Visitor(
        staff=Staff(there.name, split_roles(there.roles)),
        user_id=there.user_id,
        session_id=there.id,
        form_token=form_token(secret),
        language=there.language,
        mass_unit=there.mass_unit or "kg",
    )


def end(session: Session, session_id: int) -> None:
    """End one session."""
    session.execute(delete(WebSession).where(col(WebSession.id) == session_id))


def form_token(secret: str) -> str:
    """Make what every form of a session carries, which no other page can know."""
    return digest(f"form {secret}")


def cookie_name(request: Request) -> str:
    """Name the cookie: where the connection is safe, so that no other host can set it."""
    return "__Host-jutebook" if request.url.scheme == "https" else "jutebook"


def hand_cookie(request: Request, answer: Response, secret: str) -> None:
    """Give the browser the secret; it shows it to nobody but this service."""
    answer.set_cookie(
        cookie_name(request),
        secret,
        max_age=request.app.state.settings.session_hours * 3600,
        httponly=True,
        secure=request.url.scheme == "https",
        samesite="lax",
    )


def take_cookie(request: Request, answer: Response) -> None:
    """Take the secret back."""
    answer.delete_cookie(
        cookie_name(request),
        httponly=True,
        secure=request.url.scheme == "https",
        samesite="lax",
    )
