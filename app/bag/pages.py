"""The page a bag's mark leads to: it loads nothing, runs nothing and remembers nobody."""

import base64
import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from jinja2 import Environment, FileSystemLoader

from app.bag.rules import Story
from app.settings import Settings
from app.standards.countries import country_name

_STYLE: Final = """
:root { color-scheme: light dark; }
body { margin: 0; font: 1.125rem/1.5 system-ui, sans-serif; background: Canvas; color: CanvasText; }
main { max-width: 34rem; margin: 0 auto; padding: 1.5rem 1rem; overflow-wrap: anywhere; }
h1 { font-size: 1.6rem; line-height: 1.2; }
dt { font-weight: bold; }
dd { margin: 0 0 1rem; }
address { font-style: normal; }
"""
_DIGEST: Final = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()

HEADERS: Final[Mapping[str, str]] = {
    "Content-Security-Policy": f"default-src 'none'; style-src 'sha256-{_DIGEST}'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Robots-Tag": "noindex",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "public, max-age=60",
    "Vary": "Accept",
}

_TEMPLATES: Final = Environment(
    loader=FileSystemLoader(Path(__file__).parent / "templates"), autoescape=True
)


def page(mark: str, story: Story | None, settings: Settings) -> str:
    """Write the page of a bag, or of a mark that nothing is known of."""
    origins = [country_name(code) for code in story.origins] if story else []
    return _TEMPLATES.get_template("bag.html").render(
        mark=mark,
        story=story,
        origins=origins,
        firm=settings.firm_name,
        address=settings.firm_address.splitlines(),
        style=_STYLE,
    )
