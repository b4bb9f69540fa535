"""Letting people and devices in, and out: what an administrator does, at pages and by command.

None of it is an entry of the journal, which is about coffee: the rows say when somebody came and
went.
"""

from collections.abc import Callable, Sequence
from datetime import date
from typing import Final, TypeVar

from sqlalchemy import select
from sqlmodel import Session, col

from app.shared.days import end_of
from app.shared.problems import FieldRefused, Refused
from app.shared.sign_in import (
    Token,
    User,
    add_token,
    add_user,
    close_user,
    join_roles,
    live_token,
    set_password,
    split_roles,
)
from app.shared.staff import Role
from app.shared.times import now

T = TypeVar("T")

LONGEST_NAME: Final = 100


def person(session: Session, number: int) -> User:
    """Find a person by the number of the row."""
    user = session.get(User, number)
    if user is None:
        raise Refused("not-found", f"There is no person {number}.")
    return user


def enter_person(session: Session, name: str, password: str, roles: Sequence[Role]) -> User:
    """Enter somebody who signs in with a name and a password."""
    named = _name(name)
    if session.scalars(select(User).where(col(User.name) == named)).first() is not None:
        raise FieldRefused(
            "#/name", f"{named} is taken: a name stays with one person", "name-taken"
        )
    return _with_password(lambda: add_user(session, named, password, [*roles]))


def give_roles(session: Session, user: User, roles: Sequence[Role]) -> None:
    """Say what somebody is from now on; signed in or not, it counts at once."""
    _refuse_closed(user)
    if Role.ADMIN not in roles:
        _refuse_last(session, user)
    user.roles = join_roles([*roles])


def give_password(user: User, password: str) -> None:
    """Give somebody another password, which ends their sessions."""
    _refuse_closed(user)
    _with_password(lambda: set_password(user, password))


def let_out(session: Session, user: User) -> None:
    """Let somebody in no more: their sessions end with it, the journal keeps the name."""
    _refuse_closed(user)
    _refuse_last(session, user)
    close_user(user)


def enter_token(session: Session, name: str, roles: Sequence[Role], last_day: date | None) -> str:
    """Make a token for a device or a script, and return it: nobody sees it again.

    It opens nothing any more after its last day.
    """
    named = _name(name)
    if last_day is not None and end_of(last_day) <= now():
        raise FieldRefused("#/last_day", "that day is over")
    live = select(Token).where(col(Token.name) == named, live_token())
    if session.scalars(live).first() is not None:
        raise FieldRefused(
            "#/name", f"there is a token {named} already: revoke it or choose another name",
            "name-taken",
        )  # fmt: skip
    ends = end_of(last_day) if last_day is not None else None
    return add_token(session, named, [*roles], ends)


def revoke(session: Session, number: int) -> Token:
    """End a token: from now on it opens nothing."""
    token = session.get(Token, number)
    if token is None:
        raise Refused("not-found", f"There is no token {number}.")
    if token.revoked_at is not None:
        raise Refused("already-done", f"Token {token.name} was revoked before.")
    token.revoked_at = now()
    return token


def _name(said: str) -> str:
    name = said.strip()
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise FieldRefused("#/name", "a name has 1 to 100 printable characters")
    return name


def _with_password(act: Callable[[], T]) -> T:
    try:
        return act()
    except ValueError as short:
        raise FieldRefused("#/secret_password", str(short)) from short


def _refuse_closed(user: User) -> None:
    if user.closed_at is not None:
        raise Refused("already-done", f"{user.name} may not sign in any more; that stands.")


def _refuse_last(session: Session, user: User) -> None:
    """Keep somebody who can let people in: the pen is held, so no two go at the same time."""
    others = session.scalars(
        select(col(User.roles)).where(col(User.closed_at).is_(None), col(User.id) != user.id)
    )
    if Role.ADMIN in split_roles(user.roles) and not any(
        Role.ADMIN in split_roles(roles) for roles in others
    ):
        raise FieldRefused(
            "#/roles",
            f"{user.name} is the last administrator who can sign in: make somebody else one first",
        )
