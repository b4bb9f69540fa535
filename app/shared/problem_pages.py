"""The pages that explain each kind of problem to a reader."""

from html import escape

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from app.shared.kinds import KINDS, Kind
from app.shared.problems import Refused
from app.shared.routing import short_name

router = APIRouter(prefix="/problems", tags=["problems"], generate_unique_id_function=short_name)

_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>{title} | Jutebook</title>
</head>
<body>
<main>
<h1>{title}</h1>
{body}
</main>
</body>
</html>
"""


def _page(title: str, body: str) -> HTMLResponse:
    return HTMLResponse(_PAGE.format(title=escape(title), body=body))


def _described(slug: str, kind: Kind) -> str:
    return (
        f'<dt><a href="/problems/{slug}">{escape(kind.title)}</a></dt>'
        f"<dd>{kind.status}: {escape(kind.meaning)}</dd>"
    )


@router.get("/", response_class=HTMLResponse)
def list_problems() -> HTMLResponse:
    """List every kind of problem this service answers."""
    entries = "\n".join(_described(slug, kind) for slug, kind in sorted(KINDS.items()))
    return _page("Problems this service answers", f"<dl>\n{entries}\n</dl>")


@router.get("/{slug}", response_class=HTMLResponse)
def show_problem(slug: str) -> HTMLResponse:
    """Explain one kind of problem."""
    kind = KINDS.get(slug)
    if kind is None:
        raise Refused("not-found", f"There is no kind of problem named {slug}.")
    return _page(
        kind.title,
        f"<p>{escape(kind.meaning)}</p>\n<p>Status {kind.status}, type "
        f'<code>/problems/{slug}</code></p>\n<p><a href="/problems/">All problems</a></p>',
    )
