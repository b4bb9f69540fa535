"""The desk: whoever is signed in at a browser, with a form to fill in and a book to write into.

A page asks for it by its permission (`Mover = Annotated[Desk, may(Permission.MOVE)]`), reads with
`desk.read`, books with `desk.book` and answers with `desk.show` or `desk.onward`.
"""

from collections.abc import AsyncIterator, Callable, Sequence
from http import HTTPStatus
from typing import Annotated, Any, Final, TypeVar
from urllib.parse import parse_qsl, urlencode

from fastapi import Request, Response, Security
from fastapi.responses import RedirectResponse
from fastapi.security import SecurityScopes
from pydantic import BaseModel
from sqlalchemy.exc import OperationalError
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException, MultiPartParser

from app.ledger.clerk import Clerk, refuse_nul
from app.shared.answers import Answer, read_json, to_json
from app.shared.bodies import in_time, read_body, up_to
from app.shared.db import writing
from app.shared.problems import Refused, flaw_of_file, problem
from app.shared.staff import Permission
from app.web import forms, sessions
from app.web.forms import KEY_FIELD, LOOK, TOKEN_FIELD, Form, Typed
from app.web.rendering import for_people, render, tell_next
from app.web.sessions import Visitor
from app.web.texts import Manner, _, language_asked, speak

Body = TypeVar("Body", bound=BaseModel)

LARGEST_FORM: Final = 1_000_000
_MOST_FIELDS: Final = 10_000
MOST_FILES: Final = 6
"""So many files may be sent at once."""
_MOST_PARTS: Final = 100
"""So many are taken apart before they are counted."""
_MOST_FIELDS_BESIDE: Final = 20
"""So many fields stand beside files."""
SECRET: Final = "secret_"  # noqa: S105 - how names begin
"""How the name of a field begins that is never brought along and never shown again."""

_LATER: Final = {"Retry-After": "2"}
"""When to send a form again that the database did not take."""


class Desk(Clerk):
    """Whoever is signed in, at a page."""

    def __init__(self, request: Request, visitor: Visitor, typed: Typed) -> None:
        super().__init__(request, visitor.staff)
        self.visitor = visitor
        self.typed = typed
        """The fields of the form that was sent; empty where a page is only looked at."""
        self.files: Sequence[UploadFile] = ()
        """The files that were sent with it."""
        self.too_much: Refused | None = None
        """Said of more files than may be sent at once; none of them is there then."""

    def blank(self, body: type[Body], **filled: object) -> Form[Body]:
        """Make an empty form; a link may bring fields along, `/move?sacks=…&to=…`."""
        form = forms.blank(body, **filled)
        brought = _listed(self.request.query_params.multi_items())
        key = brought.pop(KEY_FIELD, None)
        form.typed = {**form.typed, **brought}
        form.key = key[0] if key else form.key
        return form

    def sent(self, body: type[Body]) -> Form[Body]:
        """Read the form that was sent."""
        return forms.sent(body, self.typed)

    def book(
        self,
        form: Form[Any],
        action: Callable[..., BaseModel],
        *before: object,
        **named: object,
    ) -> dict[str, Any] | None:
        """Book a form by the action the API takes for it: one transaction, one entry, once.

        `before` goes to the action before the body, `named` by name. Returns what the API would
        answer, and None when anything was refused: then the form says why, and keeps all that was
        typed. A form that is sent again, by a double tap or after a lost answer, is booked once.
        """
        if form.asked is None:
            return None
        self._brought = form.key
        try:
            answer = self.write(action, *before, form.asked, **named)
        except Refused as refused:
            form.refuse(refused)
            if refused.slug == "idempotency-key-reused":
                form.key = forms.blank(form.body).key
        except OperationalError as error:
            form.refuse(Refused("busy", flaw_of_file(error) or _not_taken(error)))
        else:
            made: dict[str, Any] = read_json(bytes(answer.body))
            return made
        return None

    @property
    def only_looks(self) -> bool:
        """Whether the form was sent to see what would be booked."""
        return forms.asks(self.typed) == LOOK

    def look(
        self,
        form: Form[Any],
        action: Callable[..., BaseModel],
        *before: object,
        **named: object,
    ) -> dict[str, Any] | None:
        """Tell what booking a form would answer: the act is done and taken back.

        So what is shown before cannot differ from what is done after, but for what others book in
        between. Returns None when it would be refused, and the form says why.
        """
        if form.asked is None:
            return None
        try:
            with writing(self._state.engine) as session:
                made = action(self._pen(session), *before, form.asked, **named)
                seen: dict[str, Any] = read_json(to_json(made))
                session.rollback()
        except Refused as refused:
            form.refuse(refused)
        except OperationalError as error:
            said = flaw_of_file(error) or _("The database did not take it; nothing was booked.")
            form.refuse(Refused("busy", said))
        else:
            return seen
        return None

    def show(self, template: str, form: Form[Any] | None = None, **context: object) -> Response:
        """Answer a page. With a form that was refused: its status, and its problem to a script."""
        if form is not None and form.status != 200 and not for_people(self.request):  # noqa: PLR2004
            return _problem_of(form)
        status = 200 if form is None else form.status
        page = render(self.request, template, status, desk=self, form=form, **context)
        if status == HTTPStatus.SERVICE_UNAVAILABLE:
            page.headers.update(_LATER)
        return page

    def onward(self, path: str, said: str, *, mind: bool = False) -> Response:
        """Go on to another page, which says what was done; a script is told both.

        What somebody has to heed is said with `mind`, and not as something that went well.
        """
        if not for_people(self.request):
            return Answer({"said": said, "to": path})
        answer = RedirectResponse(path, 303)
        tell_next(answer, said, mind=mind)
        return answer


def _problem_of(form: Form[Any]) -> Response:
    if form.problem is not None:
        later = _LATER if form.status == HTTPStatus.SERVICE_UNAVAILABLE else None
        return problem(form.problem.slug, form.problem.detail, later, **form.problem.figures)
    errors = [
        {"pointer": f"#/{name.partition(':')[0].replace('.', '/')}", "detail": said}
        for name, said in form.errors.items()
    ]
    return problem("invalid", " ".join(form.errors.values()), errors=errors)


def _listed(pairs: list[tuple[str, str]]) -> dict[str, list[str]]:
    listed: dict[str, list[str]] = {}
    for name, value in pairs:
        listed.setdefault(name, []).append(value)
    return listed


async def read_files(
    request: Request, most_bytes: int
) -> tuple[dict[str, list[str]], list[UploadFile]]:
    """Read a form with files (RFC 7578): its fields, and the files that were chosen.

    What is larger than a megabyte is on the disk until the request ends.
    """
    noun = "A form with files"
    stream = up_to(request, most_bytes, noun)
    parts = MultiPartParser(
        request.headers, stream, max_files=_MOST_PARTS, max_fields=_MOST_FIELDS_BESIDE
    )
    try:
        async with in_time(request, noun):
            read = await parts.parse()
    except (MultiPartException, KeyError) as error:
        raise Refused("bad-request", "The form cannot be read.") from error
    fields = [(name, said) for name, said in read.multi_items() if isinstance(said, str)]
    files = [file for _name, file in read.multi_items() if isinstance(file, UploadFile)]
    return _listed(fields), files


async def read_fields(request: Request) -> dict[str, list[str]]:
    """Read an URL-encoded form; `bad-request` for what is none, `too-large` beyond the limit."""
    body = await read_body(request, LARGEST_FORM, "A form")
    try:
        pairs = parse_qsl(
            body.decode(), keep_blank_values=True, errors="strict", max_num_fields=_MOST_FIELDS
        )
    except ValueError as error:
        raise Refused("bad-request", "The form cannot be read.") from error
    if any("\0" in text for pair in pairs for text in pair):
        raise Refused("bad-request", "The form has a NUL character in it.")
    return _listed(pairs)


def refuse_foreign(request: Request) -> None:
    """Refuse what another site makes a browser send (Fetch Metadata; RFC 6454 for the rest)."""
    site = request.headers.get("sec-fetch-site")
    origin = request.headers.get("origin")
    foreign = site not in {"same-origin", "none"} if site else False
    if origin and origin != "null" and not site:
        foreign = origin.partition("://")[2] != request.headers.get("host")
    if foreign:
        raise Refused(
            "forbidden", "Another site sent this form; nothing was booked.", permission="forms:send"
        )


def manner_of(request: Request, visitor: Visitor | None) -> Manner:
    """Tell how to speak to whoever sends a request."""
    asked = language_asked(request.headers.get("accept-language", ""))
    if visitor is None:
        return Manner(asked)
    return Manner(visitor.language or asked, visitor.mass_unit)


async def _at_desk(request: Request, needed: SecurityScopes) -> Desk:
    """Let somebody in at the end of what they sent: an account may be closed while it comes."""
    if request.method != "POST":
        return Desk(request, await _come_in(request, needed), {})
    speak(manner_of(request, None))
    refuse_foreign(request)
    typed = request.state.typed = await read_fields(request)
    visitor = await _come_in(request, needed)
    _refuse_older(visitor, typed)
    return Desk(request, visitor, typed)


async def _with_files(request: Request, needed: SecurityScopes) -> AsyncIterator[Desk]:
    """Let somebody send files; of whoever may not, nothing is read. They may have to go meanwhile.

    So it is asked before and after.
    """
    if request.method != "POST":
        yield Desk(request, await _come_in(request, needed), {})
        return
    speak(manner_of(request, None))
    refuse_foreign(request)
    await _come_in(request, needed)
    most = request.app.state.settings.photo_largest_bytes * MOST_FILES + LARGEST_FORM
    try:
        typed, files = await read_files(request, most)
    except HTTPException as error:
        if error.status_code != HTTPStatus.REQUEST_ENTITY_TOO_LARGE:
            raise
        desk = Desk(request, await _come_in(request, needed), {})
        said = _("All files together have at most %(size)s MB.") % {"size": most // 10**6}
        desk.too_much = Refused("too-large", said)
        yield desk
        return
    try:
        visitor = await _come_in(request, needed)
        _refuse_older(visitor, typed)
        desk = Desk(request, visitor, typed)
        there = [file for file in files if file.filename]  # of an empty box comes one without
        if len(there) > MOST_FILES:
            said = _("At most %(most)s files are taken at once.") % {"most": MOST_FILES}
            desk.too_much = Refused("too-large", said)
        else:
            desk.files = there
        yield desk
    finally:
        for file in files:
            await file.close()


async def _come_in(request: Request, needed: SecurityScopes) -> Visitor:
    return _let_in(request, await _visitor(request), needed)


async def _visitor(request: Request) -> Visitor | None:
    visitor = await run_in_threadpool(sessions.find, request)
    request.state.visitor = visitor
    request.state.who = visitor.staff.name if visitor else None
    # Said here and not in a thread, so that everything this request does speaks so.
    speak(manner_of(request, visitor))
    return visitor


def _refuse_older(visitor: Visitor, typed: dict[str, list[str]]) -> None:
    """Take the token of a form, and refuse what another session was given."""
    if typed.pop(TOKEN_FIELD, None) != [visitor.form_token]:
        raise Refused("form-outdated", _("You signed in again after this form was opened."))


def _let_in(request: Request, visitor: Visitor | None, needed: SecurityScopes) -> Visitor:
    if visitor is None:
        raise Refused("unauthorized", _("Nobody is signed in here."), challenge="Bearer")
    refuse_nul(request)
    for permission in needed.scopes:
        visitor.staff.refuse_without(Permission(permission))
    return visitor


def _not_taken(error: OperationalError) -> str:
    if error.connection_invalidated:  # perhaps while it committed
        return _("The connection to the database was lost. Send it again: it is booked once.")
    return _("The database did not take it; nothing was booked.")


def may(permission: Permission, *, files: bool = False) -> object:
    """Let in whoever has the permission; the parameter's type says so in the signature.

    With `files` the form is one that files are sent with, which stand in `desk.files` then.
    """
    return Security(_with_files if files else _at_desk, scopes=[permission])


Visiting = Annotated[Desk, may(Permission.READ)]
"""Whoever is signed in: every role reads."""


def with_fields(path: str, typed: Typed) -> str:
    """Write a link to a form that brings along what was typed, so that nobody types it again."""
    pairs = [
        (name, value)
        for name, values in typed.items()
        if name != TOKEN_FIELD and not name.startswith(SECRET)
        for value in values
        if value
    ]
    return f"{path}?{urlencode(pairs)}" if pairs else path
