"""Refusals as pages: the same problem document, said in words to whoever looks at a browser."""

from collections.abc import Callable
from contextlib import suppress

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import RedirectResponse
from sqlalchemy.exc import DBAPIError
from starlette.exceptions import HTTPException

from app.shared.answers import read_json
from app.shared.problems import Refused
from app.web import sessions
from app.web.desk import manner_of, with_fields
from app.web.plain import words_of
from app.web.rendering import for_people, render, tell_next
from app.web.sessions import Visitor
from app.web.texts import _, speak

Handler = Callable[[Request, Exception], Response]


def tell_people(app: FastAPI) -> None:
    """Answer browsers with pages where scripts are answered with problem documents."""
    for kind in (RequestValidationError, HTTPException, Refused, DBAPIError, Exception):
        app.add_exception_handler(kind, _in_words(app.exception_handlers[kind]))  # type: ignore[arg-type]


def _in_words(handler: Handler) -> Handler:
    def tell(request: Request, error: Exception) -> Response:
        answer = handler(request, error)
        if not for_people(request):
            return answer
        visitor = _visitor(request, error)
        speak(manner_of(request, visitor))
        document = read_json(bytes(answer.body))
        slug = document["type"].rpartition("/")[2]
        if slug in {"unauthorized", "form-outdated"}:
            return _again(request, slug)
        page = render(
            request, "problem.html", answer.status_code,
            problem=document, words=words_of(slug), slug=slug,
        )  # fmt: skip
        for name in ("allow", "retry-after"):
            if name in answer.headers:
                page.headers[name] = answer.headers[name]
        return page

    return tell


def _visitor(request: Request, error: Exception) -> Visitor | None:
    """Tell who is there, also where no page was that had asked; not of a database that is gone."""
    if not hasattr(request.state, "visitor") and not isinstance(error, DBAPIError):
        with suppress(DBAPIError):  # gone or damaged meanwhile: what was refused is refused
            request.state.visitor = sessions.find(request)
    visitor: Visitor | None = getattr(request.state, "visitor", None)
    return visitor


def _again(request: Request, slug: str) -> Response:
    """Send somebody to where they can go on, with what they typed."""
    typed = getattr(request.state, "typed", {})
    back = with_fields(request.url.path, typed or _asked(request))
    if slug == "unauthorized":
        onward = RedirectResponse(with_fields("/sign-in", {"back": [back]}), 303)
        if typed:
            tell_next(onward, _("Nothing was booked yet. Sign in; what you typed is kept."))
        return onward
    onward = RedirectResponse(back, 303)
    tell_next(onward, _("You signed in again after this form was opened. Look at it and send it."))
    return onward


def _asked(request: Request) -> dict[str, list[str]]:
    return {name: request.query_params.getlist(name) for name in request.query_params}
