"""Templates into pages, with the headers that keep a page to itself."""

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from binascii import Error as NotBase64
from functools import cache
from pathlib import Path
from typing import Any, Final

from fastapi import Request, Response
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from app.shared.texts import LANGUAGES
from app.shared.times import FIRST_DAY, LAST_DAY
from app.web import kinds, shown, texts
from app.web.assets import asset
from app.web.tasks import tasks_of

TEMPLATES: Final = Path(__file__).parent / "templates"
_SAID: Final = "said"
"""The cookie that carries what the next page says."""
_LONGEST: Final = 700
"""So many letters of it fit into a cookie, whatever the language."""

HEADERS: Final = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
        "font-src 'self'; connect-src 'self'; worker-src 'self'; manifest-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=()",
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "private, no-cache",
}
"""No page loads, runs or sends anything of elsewhere, and none stands in a frame."""


@cache
def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
        extensions=["jinja2.ext.i18n"],
    )
    made.install_gettext_callables(texts.gettext, texts.ngettext, newstyle=True)  # type: ignore[attr-defined]
    made.filters.update(shown.FILTERS)
    made.tests["foreign"] = texts.foreign
    made.globals.update(
        asset=asset,
        manner=texts.manner,
        say=texts.gettext,  # what a variable holds; `_` takes a text as it stands, and fills it in
        languages=LANGUAGES,
        lettered=kinds.lettered,
        lang=_lang,
        answered=_answered,
        local_minute=shown.local_minute,
        first_day=FIRST_DAY.isoformat(),
        last_day=LAST_DAY.isoformat(),
        typed_mass=shown.typed_mass,
    )
    return made


def _lang(said: str) -> Markup:
    """Mark what is said in another language than the page, for whoever has it read aloud."""
    language = texts.language_of(said)
    same = language == texts.manner().language
    return Markup("") if same else Markup(' lang="{}"').format(language)


def _answered(said: str) -> Markup:
    """Say what an act answered as the catalogue has it, else as it stands, marked as English."""
    words = texts.gettext(said)
    mark = _lang(words)
    return Markup("<span{}>{}</span>").format(mark, words) if mark else escape(words)


def for_people(request: Request) -> bool:
    """Tell a browser that shows a page from a script that wants the answer itself."""
    path = request.url.path
    return "text/html" in request.headers.get("accept", "") and not path.startswith("/api/")


def render(request: Request, template: str, status: int = 200, **context: object) -> Response:
    """Fill in a template and answer it as a page; rooms with a task in `opening` stand open."""
    visitor = getattr(request.state, "visitor", None)
    # The service worker that keeps a page for later does not show it to anybody.
    said = _said(request) if request.headers.get("purpose") != "keep" else None
    opening: Any = context.pop("opening", ())
    wanted = {request.url.path, *opening}
    frame = {
        "visitor": visitor,
        "tasks": tasks_of(request.app.state.tasks, visitor.staff, wanted) if visitor else [],
        "said": said,
        "path": request.url.path,
    }
    if taken := frame.keys() & context.keys():
        raise TypeError(f"the frame of every page has these names already: {taken}")
    whole = {"desk": None, "form": None, **frame, **context}
    filled = _environment().get_template(template).render(whole)
    page = HTMLResponse(filled, status, HEADERS)
    if said is not None:
        page.delete_cookie(_SAID)
    return page


def as_file(name: str) -> dict[str, str]:
    """Let an answer be kept as a file, and by nobody on the way."""
    return {
        "Content-Disposition": f'attachment; filename="{name}"',
        "Cache-Control": "private, no-cache",
        "X-Content-Type-Options": "nosniff",
    }


def tell_next(answer: Response, said: str, *, mind: bool = False) -> None:
    """Let the page that comes next say something; `mind` marks what somebody has to heed."""
    words = json.dumps([said[:_LONGEST], mind], ensure_ascii=False)
    kept = urlsafe_b64encode(words.encode()).decode()
    answer.set_cookie(_SAID, kept, max_age=60, httponly=True, samesite="lax")


def _said(request: Request) -> tuple[str, bool] | None:
    try:
        said, mind = json.loads(urlsafe_b64decode(request.cookies.get(_SAID, "")))
    except (ValueError, TypeError, NotBase64):
        return None
    return (said, mind is True) if isinstance(said, str) else None
