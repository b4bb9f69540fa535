"""Signing in and out."""

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool

from app.shared.db import writing
from app.shared.problems import Refused
from app.web import forms, sessions
from app.web.desk import Visiting, manner_of, read_fields, refuse_foreign
from app.web.forms import Form, Typed
from app.web.rendering import render
from app.web.texts import _, speak

router = APIRouter(include_in_schema=False)


class SignInIn(BaseModel):
    name: str
    password: str
    back: str = "/"


async def _typed(request: Request) -> Typed:
    """Read what a stranger sent, in the language of their browser."""
    request.state.visitor = await run_in_threadpool(sessions.find, request)
    speak(manner_of(request, request.state.visitor))
    if request.method != "POST":
        return {}
    refuse_foreign(request)
    return await read_fields(request)


TypedByStranger = Annotated[Typed, Depends(_typed)]


def _page(request: Request, form: Form[SignInIn], back: str) -> Response:
    return render(request, "sign_in.html", form.status, form=form, back=back)


def _inside(back: str) -> str:
    """Keep to this service: what is no path of it leads to the start page."""
    return back if back.startswith("/") and not back.startswith(("//", "/\\")) else "/"


@router.get("/sign-in")
def show_sign_in(request: Request, _: TypedByStranger, back: str = "/") -> Response:
    """Ask for name and password."""
    if request.state.visitor is not None:
        return RedirectResponse(_inside(back), 303)
    return _page(request, forms.blank(SignInIn), _inside(back))


@router.post("/sign-in")
def sign_in(request: Request, typed: TypedByStranger) -> Response:
    """Let somebody in and lead them to where they were going."""
    form = forms.sent(SignInIn, typed)
    back = _inside(form.asked.back if form.asked else "/")
    secret = None
    if form.asked is not None:
        try:
            secret = sessions.begin(request, form.asked.name.strip(), form.asked.password)
        except Refused as refused:
            form.refuse(refused)
        else:
            _say_no(form, secret)
    if secret is None:
        return _page(request, form, back)
    answer = RedirectResponse(back, 303)
    sessions.hand_cookie(request, answer, secret)
    return answer


def _say_no(form: Form[SignInIn], secret: str | None) -> None:
    """Say the same of a wrong name and a wrong password."""
    if secret is None:
        form.errors["password"] = _("Name and password do not go together.")


@router.post("/sign-out")
def sign_out(desk: Visiting) -> Response:
    """End the session, here and in the book, and let the browser forget what it kept."""
    with writing(desk.request.app.state.engine) as session:
        sessions.end(session, desk.visitor.session_id)
    answer = RedirectResponse("/sign-in", 303)
    answer.headers["Clear-Site-Data"] = '"cache"'
    sessions.take_cookie(desk.request, answer)
    return answer
