"""Looking at a picture before it is kept: what it is by its own bytes, and how large.

The bytes are kept as they came, location and all: they are evidence in a claim, and a picture that
was written anew would no longer be the one that was taken.
"""

import hashlib
import struct
import zlib
from io import BytesIO
from typing import Final

from PIL import ExifTags, Image, UnidentifiedImageError

from app.green.arrivals.picture_parts import excess
from app.green.arrivals.schemas import GivenPhoto
from app.shared.problems import Refused

MEDIA_TYPES: Final = {
    "JPEG": "image/jpeg",
    "MPO": "image/jpeg",  # what many phones write: a JPEG with further pictures behind it
    "PNG": "image/png",
    "WEBP": "image/webp",
}
"""What is taken, by the name of its decoder."""
ENDINGS: Final = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}
_KINDS: Final = ("JPEG", "PNG", "WEBP")
_SMALL_PX: Final = 320
"""How large a photo is shown among others, at the most."""

_TURNS: Final = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""How a picture is brought upright, by what EXIF calls its orientation."""

_BROKEN = (OSError, SyntaxError, ValueError, TypeError, LookupError, ArithmeticError, EOFError,
           struct.error, zlib.error)  # fmt: skip
"""What decoders raise for files that are damaged, or made to mislead."""


def look_at(content: bytes, declared: str, most_pixels: int) -> GivenPhoto:
    """Decode a picture in full.

    Raises:
        Refused: `unsupported-media-type` where it is another kind than it says; `invalid` where it
            is damaged, moves, is made of more parts than any camera writes, or would unpack to more
            pixels than are taken.
    """
    _refuse_pieced(content)
    try:
        with Image.open(BytesIO(content), formats=_KINDS) as picture:
            found = MEDIA_TYPES[picture.format or ""]
            width, height = picture.size
            _refuse_other(declared, found)
            _refuse_huge(width, height, most_pixels)
            if picture.format != "MPO" and getattr(picture, "n_frames", 1) > 1:
                raise Refused("invalid", "The picture moves; a photo stands still.")
            picture.load()
        with Image.open(BytesIO(content), formats=_KINDS) as picture:
            picture.verify()  # to the last byte: decoding alone stops where the picture is complete
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _huge(f"more than {Image.MAX_IMAGE_PIXELS}", most_pixels) from error
    except UnidentifiedImageError as error:
        raise Refused(
            "unsupported-media-type",
            f"The body is said to be {declared}; its {len(content)} bytes are no picture that is "
            "read here.",
            declared=declared,
        ) from error
    except _BROKEN as error:
        raise Refused("invalid", f"The picture is damaged: {error}.") from error
    return GivenPhoto(
        content=content,
        media_type=found,
        width=width,
        height=height,
        size_bytes=len(content),
        sha256=hashlib.sha256(content).hexdigest(),
    )


def small(content: bytes) -> bytes:
    """Make a small JPEG of a photo that is kept, the right way up and with nothing written into it.

    It is for looking through many; evidence is the photo itself.
    """
    with Image.open(BytesIO(content), formats=_KINDS) as picture:
        picture.draft("RGB", (_SMALL_PX, _SMALL_PX))  # a JPEG is decoded no larger than it is shown
        upright = _upright(picture).convert("RGB")
        upright.thumbnail((_SMALL_PX, _SMALL_PX))
        file = BytesIO()
        upright.save(file, "JPEG", quality=80, exif=b"")
        return file.getvalue()


def _upright(picture: Image.Image) -> Image.Image:
    """Turn a picture as the camera says it was held; as it is where that cannot be read."""
    try:
        held = picture.getexif().get(ExifTags.Base.Orientation)
    except _BROKEN:
        return picture
    turn = _TURNS.get(held) if isinstance(held, int) else None
    return picture if turn is None else picture.transpose(turn)


def _refuse_pieced(content: bytes) -> None:
    too_many = excess(content)
    if too_many is not None:
        raise Refused(
            "invalid",
            f"The picture has more than {too_many.most} {too_many.of}, which no camera writes.",
            most=too_many.most,
        )


def _refuse_other(declared: str, found: str) -> None:
    if declared != found:
        raise Refused(
            "unsupported-media-type",
            f"The body is said to be {declared} and is {found}.",
            declared=declared,
            found=found,
        )


def _refuse_huge(width: int, height: int, most_pixels: int) -> None:
    if width * height > most_pixels:
        raise _huge(f"{width} x {height} = {width * height}", most_pixels)


def _huge(pixels: str, most_pixels: int) -> Refused:
    return Refused(
        "invalid",
        f"The picture has {pixels} pixels; {most_pixels} are the most.",
        most_pixels=most_pixels,
    )
