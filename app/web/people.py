"""The administrator's desk: who may come in, people with passwords and tokens for devices."""

from collections.abc import Sequence
from enum import StrEnum
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Path, Response
from pydantic import BaseModel, Field
from sqlalchemy import select
from sqlmodel import Session, col

from app.shared import people
from app.shared.db import writing
from app.shared.problems import Refused
from app.shared.sign_in import Token, User, split_roles
from app.shared.staff import Permission, Role
from app.shared.times import Day, now
from app.web.desk import Desk, may
from app.web.forms import Form
from app.web.routing import page_router
from app.web.tasks import Room, Task
from app.web.texts import N_, _, options

router = page_router()

TASKS = (
    Task("/people", N_("People"), Room.OFFICE, Permission.ADMIN),
    Task("/tokens", N_("Tokens of devices"), Room.OFFICE, Permission.ADMIN),
)

Administrator = Annotated[Desk, may(Permission.ADMIN)]
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
Roles = Annotated[list[Role], Field(min_length=1)]

ROLES: Final = {
    Role.WAREHOUSE: N_("warehouse: receives, moves, packs, sends"),
    Role.ROASTER: N_("roaster: plans and roasts, blends, packs"),
    Role.QUALITY: N_("quality: tastes, releases holds, works recalls"),
    Role.BUYER: N_("buyer: contracts, prices, customers, takes the journal out"),
    Role.ADMIN: N_("administrator: everything, and who may do what"),
}


class PersonIn(BaseModel):
    name: str
    password: str = Field(alias="secret_password")
    roles: Roles


class RolesIn(BaseModel):
    roles: Roles


class PasswordIn(BaseModel):
    password: str = Field(alias="secret_password")


class ClosingIn(BaseModel):
    """Nothing is asked: the button says it."""


class TokenIn(BaseModel):
    name: str
    roles: Roles
    last_day: Day | None = None


class Change(StrEnum):
    """What is changed about a person, by the end of its page's address."""

    ROLES = "roles"
    PASSWORD = "password"  # noqa: S105 - the end of an address
    CLOSE = "close"


_BODIES: Final[dict[Change, type[BaseModel]]] = {
    Change.ROLES: RolesIn,
    Change.PASSWORD: PasswordIn,
    Change.CLOSE: ClosingIn,
}


class Line(NamedTuple):
    """A person or a token in a list."""

    row: Any
    roles: list[str]
    live: bool


def _roles(said: str) -> list[str]:
    return sorted(split_roles(said))


def _named(said: str) -> list[str]:
    """Call roles by their names, without what they do."""
    return [_(ROLES[Role(role)]).partition(":")[0] for role in _roles(said)]


def _everybody(session: Session) -> Sequence[User]:
    return session.scalars(select(User).order_by(col(User.name))).all()


@router.get("/people")
def list_people(desk: Administrator) -> Response:
    """List everybody who may sign in or once did."""
    rows = desk.read_beside(_everybody)
    lines = [Line(row, _named(row.roles), row.closed_at is None) for row in rows]
    return desk.show("people.html", lines=lines)


def _choices() -> list[tuple[str, str]]:
    return options(ROLES)


@router.get("/people/new")
def show_new_person(desk: Administrator) -> Response:
    """Ask for a name, a first password and roles."""
    return desk.show("person_new.html", desk.blank(PersonIn), roles=_choices())


@router.post("/people/new")
def enter_person(desk: Administrator) -> Response:
    """Let somebody in."""
    form = desk.sent(PersonIn)
    if (asked := form.asked) is not None:
        try:
            with writing(desk.request.app.state.engine) as session:
                user = people.enter_person(session, asked.name, asked.password, asked.roles)
                name = user.name
        except Refused as refused:
            form.refuse(refused)
        else:
            return desk.onward("/people", _("%(name)s may sign in now.") % {"name": name})
    return desk.show("person_new.html", form, roles=_choices())


@router.get("/people/{number}/{change}")
def show_change(desk: Administrator, number: Number, change: Change) -> Response:
    """Ask for what is changed about a person."""
    user = desk.read_beside(people.person, number)
    filled = {"roles": _roles(user.roles)} if change is Change.ROLES else {}
    return _change_page(desk, number, change, desk.blank(_BODIES[change], **filled))


def _change_page(desk: Desk, number: int, change: Change, form: Form[Any]) -> Response:
    user = desk.read_beside(people.person, number)
    return desk.show(
        "person_change.html", form, person=user, change=str(change), roles=_choices()
    )  # fmt: skip


@router.post("/people/{number}/{change}")
def change_person(desk: Administrator, number: Number, change: Change) -> Response:
    """Change it, at once and for every session."""
    form = desk.sent(_BODIES[change])
    if form.asked is not None:
        try:
            with writing(desk.request.app.state.engine) as session:
                said = _changed(session, people.person(session, number), change, form.asked)
        except Refused as refused:
            form.refuse(refused)
        else:
            return desk.onward("/people", said)
    return _change_page(desk, number, change, form)


def _changed(session: Session, user: User, change: Change, asked: Any) -> str:  # noqa: ANN401 - a body
    if change is Change.ROLES:
        people.give_roles(session, user, asked.roles)
        return _("%(name)s has other roles now.") % {"name": user.name}
    if change is Change.PASSWORD:
        people.give_password(user, asked.password)
        return _("%(name)s has another password; sessions with the old one are over.") % {
            "name": user.name
        }
    people.let_out(session, user)
    return _("%(name)s may not sign in any more.") % {"name": user.name}


def _latest_tokens(session: Session) -> Sequence[Token]:
    return session.scalars(select(Token).order_by(col(Token.id).desc()).limit(500)).all()


@router.get("/tokens")
def list_tokens(desk: Administrator) -> Response:
    """List tokens, without the tokens themselves."""
    rows = desk.read_beside(_latest_tokens)
    at = now()
    lines = [
        Line(
            row,
            _named(row.roles),
            row.revoked_at is None and (row.expires_at is None or row.expires_at > at),
        )
        for row in rows
    ]
    return desk.show("tokens.html", lines=lines)


@router.get("/tokens/new")
def show_new_token(desk: Administrator) -> Response:
    """Ask what a token is for."""
    return desk.show("token_new.html", desk.blank(TokenIn), roles=_choices(), secret=None)


@router.post("/tokens/new")
def make_token(desk: Administrator) -> Response:
    """Make a token and show it, this once."""
    form, secret = desk.sent(TokenIn), None
    if (asked := form.asked) is not None:
        try:
            with writing(desk.request.app.state.engine) as session:
                secret = people.enter_token(session, asked.name, asked.roles, asked.last_day)
        except Refused as refused:
            form.refuse(refused)
    page = desk.show("token_new.html", form, roles=_choices(), secret=secret)
    page.headers["Cache-Control"] = "no-store"
    return page


@router.get("/tokens/{number}/revoke")
def show_revoke(desk: Administrator, number: Number) -> Response:
    """Ask whether a token is to end."""
    return _revoke_page(desk, number, desk.blank(ClosingIn))


def _token(session: Session, number: int) -> Token | None:
    return session.get(Token, number)


def _revoke_page(desk: Desk, number: int, form: Form[ClosingIn]) -> Response:
    token = desk.read_beside(_token, number)
    if token is None:
        raise Refused("not-found", f"There is no token {number}.")
    return desk.show("token_revoke.html", form, token=token)


@router.post("/tokens/{number}/revoke")
def revoke_token(desk: Administrator, number: Number) -> Response:
    """End a token."""
    form = desk.sent(ClosingIn)
    try:
        with writing(desk.request.app.state.engine) as session:
            name = people.revoke(session, number).name
    except Refused as refused:
        form.refuse(refused)
        return _revoke_page(desk, number, form)
    return desk.onward("/tokens", _("The token %(name)s opens nothing any more.") % {"name": name})
