"""What somebody chooses for themselves: language, masses, password."""

from typing import Literal

from fastapi import Response
from pydantic import BaseModel, Field

from app.shared.db import reading, writing
from app.shared.problems import Refused
from app.shared.sign_in import User, knows_password, set_password
from app.web import forms, sessions
from app.web.desk import Desk, Visiting
from app.web.forms import Form
from app.web.routing import page_router
from app.web.texts import _

router = page_router()


class MannerIn(BaseModel):
    language: Literal["en", "de"] | None = None
    mass_unit: Literal["kg", "lb"] = "kg"


class PasswordIn(BaseModel):
    current: str = Field(alias="secret_current")
    new: str = Field(alias="secret_new")


def _page(
    desk: Desk, manners: Form[MannerIn] | None = None, passwords: Form[PasswordIn] | None = None
) -> Response:
    chosen = desk.visitor
    return desk.show(
        "account.html",
        form=manners or passwords,
        manners=manners
        or forms.blank(MannerIn, language=chosen.language, mass_unit=chosen.mass_unit),
        passwords=passwords or forms.blank(PasswordIn),
        roles=", ".join(sorted(desk.staff.roles)),
    )


@router.get("/account")
def show_account(desk: Visiting) -> Response:
    """Show who is signed in and what they chose."""
    return _page(desk)


@router.post("/account/manner")
def choose_manner(desk: Visiting) -> Response:
    """Keep language and unit of mass, for every device of this person."""
    form = desk.sent(MannerIn)
    if form.asked is None:
        return _page(desk, manners=form)
    with writing(desk.request.app.state.engine) as session:
        user = session.get_one(User, desk.visitor.user_id)
        user.language, user.mass_unit = form.asked.language, form.asked.mass_unit
    return desk.onward("/account", _("Kept."))


@router.post("/account/password")
def change_password(desk: Visiting) -> Response:
    """Change the password, which ends every session, and begin a new one here."""
    form = desk.sent(PasswordIn)
    if form.asked is not None and _changed(desk, form):
        secret = sessions.begin(desk.request, desk.staff.name, form.asked.new)
        answer = desk.onward("/account", _("You have another password."))
        if secret is not None:
            sessions.hand_cookie(desk.request, answer, secret)
        return answer
    return _page(desk, passwords=form)


def _changed(desk: Desk, form: Form[PasswordIn]) -> bool:
    """Check the password until now as one that is guessed, then change it."""
    asked, state = form.asked, desk.request.app.state
    assert asked is not None  # noqa: S101 - looked at before
    address = desk.request.client.host if desk.request.client else ""
    try:
        state.guesses.refuse_more(desk.staff.name, address)
    except Refused as refused:
        form.refuse(refused)
        return False
    with reading(state.engine) as session:
        user = session.get_one(User, desk.visitor.user_id)
    if not knows_password(user, asked.current):
        state.guesses.wrong(desk.staff.name, address)
        form.errors["secret_current"] = _("That is not your password.")
        return False
    try:
        with writing(state.engine) as session:
            set_password(session.get_one(User, desk.visitor.user_id), asked.new)
    except ValueError as short:
        form.errors["secret_new"] = f"{short}."
        return False
    return True
