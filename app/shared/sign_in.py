"""People, tokens, and the check at the door.

A token is 256 random bits and is shown once; the book keeps its SHA-256 alone, which is
enough for a secret nobody can guess. Passwords are argon2 hashes by argon2-cffi.
"""

import hashlib
import re
import secrets
from dataclasses import dataclass
from datetime import datetime

from argon2 import PasswordHasher
from fastapi import Request
from sqlalchemy import select
from sqlmodel import Field, Session, SQLModel, col

from app.shared.db import reading
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


class Token(SQLModel, table=True):
    """A key for a scanner, a script or a person's device."""

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(max_length=100)
    """Stands in the journal as who did it."""
    roles: str
    sha256: str = Field(max_length=64, unique=True)
    created_at: datetime = Field(sa_type=UtcDateTime)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


@dataclass(frozen=True)
class Staff:
    """The person or device behind a request."""

    name: str
    roles: frozenset[Role]

    def may(self, permission: Permission) -> bool:
        """Tell whether any of the roles has the permission."""
        return permission in permissions_of(self.roles)


def _join(roles: list[Role]) -> str:
    return ",".join(sorted(roles))


def _split(roles: str) -> frozenset[Role]:
    return frozenset(Role(role) for role in roles.split(","))


def add_user(session: Session, name: str, password: str, roles: list[Role]) -> User:
    """Enter a person; ValueError when the name is taken or the password is short."""
    if len(password) < 12:  # noqa: PLR2004 - the figure stands in the message
        raise ValueError("a password has at least 12 characters")
    if session.scalars(select(User).where(col(User.name) == name)).first():
        raise ValueError(f"there is already a user named {name}")
    user = User(
        name=name,
        roles=_join(roles),
        password_hash=PasswordHasher().hash(password),
        created_at=now(),
    )
    session.add(user)
    return user


def add_token(session: Session, name: str, roles: list[Role]) -> str:
    """Make a token and return it: the only time anybody sees it."""
    secret = "jb_" + secrets.token_urlsafe(32)
    session.add(Token(name=name, roles=_join(roles), sha256=_digest(secret), created_at=now()))
    return secret


def revoke_tokens(session: Session, name: str) -> int:
    """Revoke every live token of that name; returns how many there were."""
    live = session.scalars(
        select(Token).where(col(Token.name) == name, col(Token.revoked_at).is_(None))
    ).all()
    for token in live:
        token.revoked_at = now()
    return len(live)


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def identify(request: Request) -> Staff:
    """Find out who sends the request; refuse what carries no live token (RFC 6750)."""
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
    with reading(request.app.state.engine) as session:
        token = session.scalars(
            select(Token).where(
                col(Token.sha256) == _digest(secret.strip()), col(Token.revoked_at).is_(None)
            )
        ).first()
    if token is None:
        raise Refused(
            "unauthorized",
            "That token is not known or was revoked.",
            challenge='Bearer error="invalid_token"',
        )
    return Staff(token.name, _split(token.roles))
