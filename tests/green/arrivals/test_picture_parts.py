"""Small files that would keep a decoder busy are told by their parts; broken EXIF turns nothing."""

import struct
import zlib
from io import BytesIO
from typing import Final

import pytest
from PIL import Image

from app.green.arrivals.pictures import look_at, small
from app.shared.problems import Refused
from tests.green.arrivals.contracted import picture

MOST: Final = 50_000_000
WHITE, BROWN = (255, 255, 255), (165, 42, 42)
SCAN, END = b"\xff\xda", b"\xff\xd9"


def chunk(kind: bytes, data: bytes = b"") -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(*more: bytes) -> bytes:
    """Write a PNG with further chunks behind its head."""
    plain = picture("PNG")
    return plain[:33] + b"".join(more) + plain[33:]


def jpeg(*more: bytes) -> bytes:
    """Write a JPEG with further segments at its beginning."""
    plain = picture("JPEG")
    return plain[:2] + b"".join(more) + plain[2:]


def progressive(times: int, size: tuple[int, int] = (64, 64)) -> bytes:
    """Write a JPEG that repeats its last scan."""
    file = BytesIO()
    Image.new("RGB", size).save(file, "JPEG", progressive=True)
    whole = file.getvalue()
    scan = whole[whole.rindex(SCAN) : -2]
    return whole[:-2] + scan * times + END


@pytest.mark.parametrize(
    ("content", "media_type", "said"),
    [
        (progressive(41), "image/jpeg", "more than 50 scans"),
        (progressive(200, (7000, 7000)), "image/jpeg", "more than 50 scans"),
        (jpeg(b"\xff\xe1\0\2" * 1000), "image/jpeg", "more than 1000 parts"),
        (jpeg(b"\xff" * 7_000_000), "image/jpeg", "more than 1000 bytes between two of its parts"),
        (png(chunk(b"tEXt", b"a\0b") * 300_000), "image/png", "1000 parts beside its pixels"),
        (png(chunk(b"abCd") * 300_000), "image/png", "1000 parts beside its pixels"),
        (picture("PNG")[:-12] + chunk(b"IDAT") * 500_000 + chunk(b"IEND"), "image/png",
         "more than 20000 pieces"),
    ],
    ids=["scans", "large scans", "segments", "padding", "texts", "unknown", "pieces"],
)  # fmt: skip
def test_a_file_of_more_parts_than_a_camera_writes_is_not_unpacked(
    content: bytes, media_type: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Image, "open", None)

    with pytest.raises(Refused, match=said) as refused:
        look_at(content, media_type, MOST)

    assert refused.value.slug == "invalid"


@pytest.mark.parametrize(
    ("content", "media_type"),
    [
        (progressive(0), "image/jpeg"),
        (progressive(40), "image/jpeg"),  # fifty with the ten that it had
        (jpeg(b"\xff\xe1\0\2" * 100), "image/jpeg"),
        # The text of a part is no marker, and what a phone puts behind a picture is none of it.
        (jpeg(b"\xff\xfe\x10\x02" + SCAN * 2048), "image/jpeg"),
        (picture("JPEG") + SCAN * 1000, "image/jpeg"),
        (png(chunk(b"tEXt", b"a\0b") * 500), "image/png"),
        (picture("WEBP"), "image/webp"),
    ],
)
def test_what_cameras_and_phones_write_is_taken(content: bytes, media_type: str) -> None:
    assert look_at(content, media_type, MOST).media_type == media_type


def half_and_half(kind: str, exif: bytes) -> bytes:
    """Take a picture whose upper half is white and whose lower half is brown."""
    seen = Image.new("RGB", (64, 64), BROWN)
    seen.paste(WHITE, (0, 0, 64, 32))
    file = BytesIO()
    seen.save(file, kind, exif=exif, quality=95)
    return file.getvalue()


def held(orientation: int, *more: bytes) -> bytes:
    """Write EXIF of one directory: how the camera was held, and further entries."""
    entries = [struct.pack(">HHIHH", 0x0112, 3, 1, orientation, 0), *more]
    directory = struct.pack(">H", len(entries)) + b"".join(sorted(entries)) + bytes(4)
    return b"Exif\0\0MM\0*\0\0\0\x08" + directory


def lies(content: bytes) -> str:
    """Tell where the white half lies in the small one."""
    with Image.open(BytesIO(small(content))) as shown:
        size = shown.width, shown.height
        assert size == (64, 64)
        spots = {"above": (32, 4), "below": (32, 60), "left": (4, 32), "right": (60, 32)}
        white = [where for where, spot in spots.items() if _bright(shown, spot)]
    return next(where for where in white if _opposite(where) not in white)


def _bright(shown: Image.Image, spot: tuple[int, int]) -> bool:
    found = shown.getpixel(spot)
    assert isinstance(found, tuple)
    return min(found) > 200


def _opposite(where: str) -> str:
    return {"above": "below", "below": "above", "left": "right", "right": "left"}[where]


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize(
    ("orientation", "where"), [(1, "above"), (3, "below"), (6, "right"), (8, "left"), (9, "above")]
)
def test_a_small_photo_stands_upright(kind: str, orientation: int, where: str) -> None:
    # What each number means: the tag Orientation of TIFF 6.0, which EXIF took over.
    assert lies(half_and_half(kind, held(orientation))) == where


NO_BYTE: Final = struct.pack(">HHII", 0x0100, 6, 1, 0xFF000000)
"""A width that is a signed byte: no such width can be written again."""


@pytest.mark.filterwarnings("ignore::UserWarning:PIL")  # it tells its log of what it cannot read
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize(
    ("exif", "where"),
    [
        (held(6, NO_BYTE), "right"),
        (b"Exif\0\0garbage", "above"),
        (b"Exif\0\0MM\0*", "above"),
        (b"garbage", "above"),
        (b"MM\0*", "above"),
        (b"Exif\0\0MM\0*\xff\xff\xff\xff", "above"),
        (held(6)[:-10], "above"),
        (b"Exif\0\0MM\0*\0\0\0\x08\0\x01\x01\x12\0\x02\0\0\0\x026\0\0\0\0\0\0\0", "above"),
    ],
)
def test_a_photo_whose_exif_is_broken_is_shown_all_the_same(
    kind: str, exif: bytes, where: str
) -> None:
    taken = half_and_half(kind, exif)

    assert look_at(taken, f"image/{kind.lower()}", MOST).width == 64
    assert lies(taken) == where
