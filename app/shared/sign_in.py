"""People, tokens, and the check at the door.

A token is 256 random bits and is shown once; the book keeps its SHA-256 alone, which is
enough for a secret nobody can guess. Passwords are argon2 hashes by argon2-cffi.
"""

import hashlib
import re
import secrets
import threading
from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Literal

from argon2 import PasswordHasher
from argon2.exceptions import VerificationError
from fastapi import Request
from limits import RateLimitItemPerMinute, storage, strategies
from sqlalchemy import ColumnElement, String, bindparam, or_, select
from sqlmodel import Field, Session, SQLModel, col

from app.shared.db import look_up
from app.shared.problems import Refused
from app.shared.staff import Permission, Role, permissions_of
from app.shared.times import UtcDateTime, now


class User(SQLModel, table=True):
    """Somebody who signs in with a name and a password."""

    __tablename__ = "user_account"

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(max_length=100, unique=True)
    roles: str
    """Comma-separated role names."""
    password_hash: str
    created_at: datetime = Field(sa_type=UtcDateTime)
    password_set_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    """When it was changed, which ended every session begun before."""
    closed_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    """Since when nobody signs in by this name any more; the name stays in the journal."""
    language: str | None = Field(default=None, max_length=10)
    """The language of the pages; what the browser asks for when nothing was chosen."""
    mass_unit: Literal["kg", "lb"] | None = Field(default=None, sa_type=String(2))
    """What the pages show and take masses in; kilograms when nothing was chosen."""


class Token(SQLModel, table=True):
    """A key for a scanner, a script or a person's device."""

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(max_length=100)
    """Stands in the journal as who did it."""
    roles: str
    sha256: str = Field(max_length=64, unique=True)
    created_at: datetime = Field(sa_type=UtcDateTime)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    expires_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    """From when on it opens nothing; None without an end."""


def live_token() -> ColumnElement[bool]:
    """Tell in a statement whether a token opens anything at the moment the statement is run."""
    moment = bindparam(None, callable_=now, type_=UtcDateTime())
    return col(Token.revoked_at).is_(None) & or_(
        col(Token.expires_at).is_(None), col(Token.expires_at) > moment
    )


_AT_THE_DOOR = select(col(Token.name), col(Token.roles)).where(
    col(Token.sha256) == bindparam("sha256"), live_token()
)
"""Built once: putting a statement together takes several times as long as running it."""


class TokenCounts:
    """Counts the requests of each token, in this process's memory, so that none crowds out all.

    The kept counter starts a thread whenever it counts, which costs as much as reading a sack. So
    it is told of a handful of requests at a time, a hundredth of what a minute may have.
    """

    def __init__(self, most_a_minute: int) -> None:
        self._kept = strategies.SlidingWindowCounterRateLimiter(storage.MemoryStorage())
        self._most = RateLimitItemPerMinute(most_a_minute)
        self._handful = max(1, most_a_minute // 100)
        self._in_hand: Counter[str] = Counter()
        self._lock = threading.Lock()

    def count(self, sha256: str, name: str) -> None:
        """Count one more request of a token; `too-many-requests` beyond the limit."""
        with self._lock:
            self._in_hand[sha256] += 1
            if self._in_hand[sha256] < self._handful:
                return
            # A handful that is refused is not let go, so whoever is beyond the limit stays there.
            self._in_hand[sha256] -= 1
            if self._kept.hit(self._most, sha256, cost=self._handful):
                self._in_hand[sha256] = 0
                return
        raise Refused(
            "too-many-requests",
            f"The token {name} sent more than {self._most.amount} requests in a minute.",
        )


@dataclass(frozen=True)
class Staff:
    """The person or device behind a request."""

    name: str
    roles: frozenset[Role]

    def may(self, permission: Permission) -> bool:
        """Tell whether any of the roles has the permission."""
        return permission in permissions_of(self.roles)

    def refuse_without(self, permission: Permission) -> None:
        """Refuse (`forbidden`) where none of the roles has the permission."""
        if not self.may(permission):
            raise Refused(
                "forbidden",
                f"{self.name} may not do this: the permission {permission} is missing.",
                permission=permission,
            )


def join_roles(roles: list[Role]) -> str:
    """Write roles as they are kept."""
    return ",".join(sorted(roles))


def split_roles(roles: str) -> frozenset[Role]:
    """Read roles as they are kept."""
    return frozenset(Role(role) for role in roles.split(","))


def add_user(session: Session, name: str, password: str, roles: list[Role]) -> User:
    """Enter a person; ValueError when the name is taken or the password is short."""
    _refuse_short(password)
    if session.scalars(select(User).where(col(User.name) == name)).first():
        raise ValueError(f"there is already a user named {name}")
    user = User(
        name=name,
        roles=join_roles(roles),
        password_hash=PasswordHasher().hash(password),
        created_at=now(),
    )
    session.add(user)
    return user


def _refuse_short(password: str) -> None:
    if len(password) < 12:  # noqa: PLR2004 - the figure stands in the message
        raise ValueError("a password has at least 12 characters")


def live_user(session: Session, name: str) -> User | None:
    """Find who may sign in by that name."""
    return session.scalars(
        select(User).where(col(User.name) == name, col(User.closed_at).is_(None))
    ).first()


def set_password(user: User, password: str) -> None:
    """Give a person another password, which ends their sessions; ValueError when it is short."""
    _refuse_short(password)
    user.password_hash = PasswordHasher().hash(password)
    user.password_set_at = now()


def close_user(user: User) -> None:
    """Let nobody in by that name any more, and end its sessions."""
    user.closed_at = now()


def knows_password(user: User | None, password: str) -> bool:
    """Tell whether the password is theirs; for nobody it takes as long to say no."""
    try:
        return PasswordHasher().verify(user.password_hash if user else _nobody(), password)
    except VerificationError:
        return False


@cache
def _nobody() -> str:
    return PasswordHasher().hash(secrets.token_urlsafe())


def add_token(
    session: Session, name: str, roles: list[Role], expires_at: datetime | None = None
) -> str:
    """Make a token and return it: the only time anybody sees it."""
    secret = "jb_" + secrets.token_urlsafe(32)
    session.add(Token(
        name=name, roles=join_roles(roles), sha256=digest(secret), created_at=now(),
        expires_at=expires_at,
    ))  # fmt: skip
    return secret


def revoke_tokens(session: Session, name: str) -> int:
    """Revoke every live token of that name; returns how many there were."""
    live = session.scalars(
        select(Token).where(col(Token.name) == name, col(Token.revoked_at).is_(None))
    ).all()
    for token in live:
        token.revoked_at = now()
    return len(live)


def digest(secret: str) -> str:
    """Make of a secret nobody can guess what is kept of it."""
    return hashlib.sha256(secret.encode()).hexdigest()


def identify(request: Request) -> Staff:
    """Find out, once, who sends the request; refuse what carries no live token (RFC 6750)."""
    if not hasattr(request.state, "staff"):
        sha256, staff = _token(request)
        request.app.state.token_counts.count(sha256, staff.name)
        request.state.staff, request.state.who = staff, staff.name
    return staff_of(request)


def staff_of(request: Request) -> Staff:
    """Tell who was found to send the request; nobody was, nobody is let in."""
    staff: Staff | None = getattr(request.state, "staff", None)
    if staff is None:
        raise Refused("unauthorized", "Nobody was asked for a token.", challenge="Bearer")
    return staff


def identify_again(request: Request) -> None:
    """Refuse whose token came to an end while their body came."""
    _token(request)


def _token(request: Request) -> tuple[str, Staff]:
    header = request.headers.get("authorization", "")
    scheme, _, secret = header.partition(" ")
    if not header:
        raise Refused("unauthorized", "The request carries no token.", challenge="Bearer")
    if scheme.lower() != "bearer":
        raise Refused(
            "unauthorized", "The Authorization header is not `Bearer <token>`.", challenge="Bearer"
        )
    if not re.fullmatch(r"[A-Za-z0-9._~+/-]+=*", secret.strip()):
        raise Refused(
            "unauthorized",
            "The Authorization header is not `Bearer <token>`.",
            challenge='Bearer error="invalid_token"',
        )
    state = request.app.state
    sha256 = digest(secret.strip())
    token = look_up([state.engine, state.read_engine], _AT_THE_DOOR, sha256=sha256)
    if token is None:
        raise Refused(
            "unauthorized",
            "That token is not known, was revoked or is over.",
            challenge='Bearer error="invalid_token"',
        )
    return sha256, Staff(token.name, split_roles(token.roles))
