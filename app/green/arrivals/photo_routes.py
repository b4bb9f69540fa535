"""Photos of exceptions: the picture itself comes as the body and goes out to the byte."""

from typing import Annotated, Any, Final

from fastapi import Depends, Path, Request, Response

from app.green.arrivals import photos
from app.green.arrivals.pictures import ENDINGS, look_at
from app.green.arrivals.schemas import GivenPhoto, PhotoOut
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.settings import Settings
from app.shared.bodies import in_time, still_known
from app.shared.problems import Refused
from app.shared.routing import api_router
from app.shared.staff import Permission
from app.shared.versions import etag, holds

router = api_router("arrivals")

Inspector = Annotated[Clerk, allowed(Permission.INSPECT)]
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]

_PICTURE: Final[dict[str, Any]] = {
    kind: {"schema": {"type": "string", "contentMediaType": kind}} for kind in ENDINGS
}
_ASKED: Final[dict[str, Any]] = {"requestBody": {"required": True, "content": _PICTURE}}
_HEADERS: Final = {
    "ETag": "The SHA-256 of the picture.",
    "Content-Disposition": "A name to save it under.",
    "X-Content-Type-Options": "`nosniff`: it is what it says and nothing else.",
    "Content-Security-Policy": "It loads nothing and runs nothing.",
    "Cache-Control": "`private`: for whoever asked alone.",
}
ALONE: Final = {
    "Cache-Control": "private",
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'; sandbox",
}
"""What every picture says of itself: for whoever asked alone, and nothing but a picture."""
_ANSWERED: Final[dict[int | str, dict[str, Any]]] = {
    200: {
        "content": _PICTURE,
        "headers": {
            name: {"description": said, "schema": {"type": "string"}}
            for name, said in _HEADERS.items()
        },
    },
    304: {"description": "Not changed: a photo never is."},
}


class Picture(Response):
    """A picture; its media type is said where it is made."""


async def _body(request: Request) -> bytes:
    """Read the body as it came, and no further than a photo may be large."""
    settings: Settings = request.app.state.settings
    kind = _declared(request)
    if kind not in ENDINGS:
        raise Refused(
            "unsupported-media-type",
            f"The body is {kind or 'of no stated type'}; a photo is one of {', '.join(ENDINGS)}.",
        )
    said = request.headers.get("content-length", "")
    if said.isdecimal() and int(said) > settings.photo_largest_bytes:
        raise too_large(settings, int(said))
    content = bytearray()
    async with in_time(request, "A photo"):
        async for some in request.stream():
            content += some
            if len(content) > settings.photo_largest_bytes:
                raise too_large(settings, None)
    await still_known(request)
    return bytes(content)


def _declared(request: Request) -> str:
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()


def too_large(settings: Settings, said: int | None) -> Refused:
    """Refuse a photo of more bytes than one may have."""
    most = settings.photo_largest_bytes
    size = "more" if said is None else f"{said} bytes"
    return Refused(
        "too-large", f"A photo has at most {most} bytes; this one has {size}.", most_bytes=most
    )


def _given(request: Request, content: Annotated[bytes, Depends(_body)]) -> GivenPhoto:
    """Decode the picture before anybody waits for the pen: a large one takes a while."""
    settings: Settings = request.app.state.settings
    return look_at(content, _declared(request), settings.photo_most_pixels)


Given = Annotated[GivenPhoto, Depends(_given)]


@router.post(
    "/exceptions/{number}/photos",
    status_code=201,
    response_model=PhotoOut,
    dependencies=[Keyed],
    openapi_extra=_ASKED,
)
def add_photo(clerk: Inspector, number: Number, given: Given) -> Response:
    """Put a photo to an exception: the body is the picture itself, as JPEG, PNG or WebP.

    What it really is is found by decoding it. It is kept as it came, with whatever the camera
    wrote into it, and its SHA-256 stands in the journal.
    """
    return clerk.write(photos.keep_photo, number, given)


@router.get("/photos/{number}", response_class=Picture, responses=_ANSWERED)
def show_photo(clerk: Reader, number: Number) -> Response:
    """Show a photo as it was sent, to the byte."""
    return as_sent(clerk.request, number, clerk.read(photos.photo, number))


def as_sent(request: Request, number: int, kept: photos.Kept) -> Response:
    """Answer a photo as it was sent; who holds it already is told that it did not change."""
    headers = {
        "ETag": etag(kept.sha256),
        "Content-Disposition": f'inline; filename="photo-{number}.{ENDINGS[kept.media_type]}"',
        **ALONE,
    }
    if holds(request.headers.get("if-none-match"), headers["ETag"]):
        return Response(status_code=304, headers=headers)
    return Picture(kept.content, media_type=kept.media_type, headers=headers)
