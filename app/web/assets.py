"""Style sheet, scripts and fonts: served under a name that changes with their content.

All stand under one hash of everything, so that a module can name another by a relative path and a
browser may keep each of them for good.
"""

import hashlib
from functools import cache
from importlib.resources import files
from mimetypes import guess_type
from pathlib import Path
from typing import Final

from fastapi import Response

from app.shared.problems import Refused
from app.web.routing import page_router

router = page_router()

STATIC: Final = Path(__file__).parent / "static"
_FONTS: Final = {
    "stencil.ttf": ("fontpkg_barlow_condensed", "BarlowCondensed-SemiBold.ttf"),
    "codes.ttf": ("fontpkg_ibm_plex_mono", "IBMPlexMono-Bold.ttf"),
}
"""Fonts from installed packages, by the name the style sheet has for them."""
_TYPES: Final = {".js": "text/javascript", ".ttf": "font/ttf"}
FOR_GOOD: Final = "public, max-age=31536000, immutable"


@cache
def contents() -> dict[str, bytes]:
    """Read every file, once."""
    ours = {file.name: file.read_bytes() for file in sorted(STATIC.iterdir()) if file.is_file()}
    fonts = {
        name: (Path(str(files(package))) / "files" / file).read_bytes()
        for name, (package, file) in _FONTS.items()
    }
    return ours | fonts


@cache
def fingerprint() -> str:
    """Make one short hash of all of them."""
    whole = hashlib.sha256()
    for name, content in contents().items():
        whole.update(name.encode() + b"\0" + content)
    return whole.hexdigest()[:16]


def asset(name: str) -> str:
    """Say where a file is found."""
    return f"/static/{fingerprint()}/{name}"


@router.get("/static/{seal}/{name}")
def serve_file(seal: str, name: str) -> Response:
    """Serve a file; under an old hash it is served too and not kept."""
    content = contents().get(name)
    if content is None:
        raise Refused("not-found", f"There is no file {name}.")
    kept = FOR_GOOD if seal == fingerprint() else "no-cache"
    headers = {"Cache-Control": kept, "X-Content-Type-Options": "nosniff"}
    suffix = Path(name).suffix
    media_type = _TYPES.get(suffix) or guess_type(name)[0] or "application/octet-stream"
    return Response(content, media_type=media_type, headers=headers)
