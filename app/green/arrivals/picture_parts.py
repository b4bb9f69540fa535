"""How many parts a picture file is made of, told before anything of it is unpacked.

A decoder reads one part after the other, and a scan of a JPEG as often as the file repeats it: a
small file can keep it busy for as long as whoever made it likes. Cameras write some dozens.
"""

import re
import struct
from typing import Final, NamedTuple

MOST_SCANS: Final = 50
"""Of a JPEG: ten are usual where it sharpens while it comes, one where not."""
MOST_PARTS: Final = 1000
"""Besides what the pixels are in: texts, profiles, what a camera says of itself."""
MOST_PIECES: Final = 20_000
"""Of a PNG, into which its pixels are cut: 8 kB each are usual."""

_PNG: Final = b"\x89PNG\r\n\x1a\n"
_JPEG: Final = b"\xff\xd8"
_CHUNK: Final = struct.Struct(">I4s")
_MARKER: Final = re.compile(rb"\xff([\x02-\xcf\xd8-\xfe])")
"""Begins a part of a JPEG; pixels never look like it: an FF among them is followed by a 0."""
_END, _SCAN, _FIRST_WITH_LENGTH = 0xD9, 0xDA, 0xC0


class Excess(NamedTuple):
    """What a picture has too much of; it is counted no further."""

    of: str
    most: int


def excess(content: bytes) -> Excess | None:
    """Tell what a file has more of than any camera writes; None where nothing is, or no picture."""
    if content.startswith(_PNG):
        return _of_png(content)
    return _of_jpeg(content) if content.startswith(_JPEG) else None


def _of_png(content: bytes) -> Excess | None:
    at, parts, pieces = len(_PNG), 0, 0
    while at + _CHUNK.size <= len(content):
        length, kind = _CHUNK.unpack_from(content, at)
        if kind == b"IEND":
            break
        pieces += 1
        parts += kind != b"IDAT"
        if parts > MOST_PARTS:
            return Excess("parts beside its pixels", MOST_PARTS)
        if pieces > MOST_PIECES:
            return Excess("pieces", MOST_PIECES)
        at += _CHUNK.size + length + 4  # its check sum
    return None


def _of_jpeg(content: bytes) -> Excess | None:
    """Go from marker to marker of the first picture: what stands behind its end is not decoded."""
    at, parts, scans = len(_JPEG), 0, 0
    while found := _MARKER.search(content, at):
        marker = found[1][0]
        if marker == _END:
            break
        parts += 1
        scans += marker == _SCAN
        if not scans and found.start() - at > MOST_PARTS:
            return Excess("bytes between two of its parts", MOST_PARTS)
        if scans > MOST_SCANS:
            return Excess("scans", MOST_SCANS)
        if parts > MOST_PARTS:
            return Excess("parts", MOST_PARTS)
        at = found.end()
        if marker >= _FIRST_WITH_LENGTH:
            at += int.from_bytes(content[at : at + 2])
    return None
