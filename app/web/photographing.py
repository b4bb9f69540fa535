"""Photos of what was wrong with sacks: taken at the ramp, looked at by whoever reads."""

from collections.abc import Iterator
from typing import Annotated, Final

from fastapi import Path, Response
from starlette.datastructures import UploadFile

from app.green.arrivals import photos
from app.green.arrivals.exceptions import exception_at
from app.green.arrivals.photo_routes import ALONE, as_sent, too_large
from app.green.arrivals.pictures import ENDINGS, look_at, small
from app.green.arrivals.schemas import GivenPhoto
from app.shared.problems import Refused
from app.shared.staff import Permission
from app.web import forms
from app.web.arriving import KINDS
from app.web.desk import MOST_FILES, Desk, Visiting, may
from app.web.forms import Form
from app.web.routing import page_router
from app.web.texts import _, ngettext

router = page_router()

Photographer = Annotated[Desk, may(Permission.INSPECT, files=True)]
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]

_FIELD: Final = "photo"
_KEPT: Final = "private, max-age=31536000, immutable"
"""A photo never changes, so a small one is fetched once."""


def _page(desk: Desk, number: int, form: Form[GivenPhoto]) -> Response:
    largest = desk.settings.photo_largest_bytes
    return desk.show(
        "photos.html", form, found=desk.read(exception_at, number), kinds=KINDS, field=_FIELD,
        types=",".join(ENDINGS), most=MOST_FILES, largest=largest, megabytes=largest // 10**6,
    )  # fmt: skip


@router.get("/exceptions/{number}/photos")
def show_photos(desk: Visiting, number: Number) -> Response:
    """Show the photos of something that was wrong, and ask for more."""
    return _page(desk, number, desk.blank(GivenPhoto))


@router.post("/exceptions/{number}/photos")
def keep_photos(desk: Photographer, number: Number) -> Response:
    """Keep each photo that was sent, an entry each; what is refused is named, the others stay."""
    form = forms.kept(GivenPhoto, desk.typed)
    if not desk.files:
        return _ask_again(desk, number, form)
    refused = [*_kept(desk, number, form.key)]
    kept = len(desk.files) - len(refused)
    told = ngettext("%(number)s photo is kept.", "%(number)s photos are kept.", kept) % {
        "number": kept
    }
    if not refused:
        return desk.onward(f"/exceptions/{number}/photos", told)
    said = [told] if kept else []
    form.problem = Refused(refused[0].slug, " ".join([*said, *(each.detail for each in refused)]))
    form.errors[_FIELD] = _("Choose again what was refused.")
    return _page(desk, number, form)


def _ask_again(desk: Desk, number: int, form: Form[GivenPhoto]) -> Response:
    """Ask for photos where none came, or more than may be sent at once."""
    form.problem = desk.too_much
    fewer = _("Choose again, fewer at once.") if desk.too_much else None
    form.errors[_FIELD] = fewer or _("Take a picture or choose one.")
    return _page(desk, number, form)


def _kept(desk: Desk, number: int, key: str) -> Iterator[Refused]:
    """Keep photos; tells which are refused, by the name of the file."""
    for file in desk.files:
        each = Form(GivenPhoto)
        try:
            each.asked = _looked_at(desk, file)
        except Refused as refused:
            each.problem = refused
        else:
            # The same picture has the same key, however often the form is sent.
            each.key = f"{key[:200]}.{each.asked.sha256[:32]}"
            desk.book(each, photos.keep_photo, number)
        if each.problem and each.problem.slug != "already-done":
            yield Refused(each.problem.slug, f"{file.filename}: {each.problem.detail}")


def _looked_at(desk: Desk, file: UploadFile) -> GivenPhoto:
    if (file.size or 0) > desk.settings.photo_largest_bytes:
        raise too_large(desk.settings, file.size)
    declared = (file.content_type or "").lower()
    return look_at(file.file.read(), declared, desk.settings.photo_most_pixels)


@router.get("/photos/{number}")
def show_photo(desk: Visiting, number: Number) -> Response:
    """Show a photo as it was sent."""
    return as_sent(desk.request, number, desk.read(photos.photo, number))


@router.get("/photos/{number}/small")
def show_small(desk: Visiting, number: Number) -> Response:
    """Show a photo small, among others."""
    made = small(desk.read(photos.photo, number).content)
    return Response(made, media_type="image/jpeg", headers={**ALONE, "Cache-Control": _KEPT})
