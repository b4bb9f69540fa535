"""Fonts from installed packages, and how wide a text is in them.

Codes and marks are in IBM Plex Mono Bold, whose zero has a dot and whose letters cannot be taken
for one another. Names come in every script of the coffee belt, so text is in Noto Sans, each
character in the first font of the chain that has it; what no font has is shown as its code point.
Scripts whose letters join or change places (Arabic, Khmer, the Indian ones) are not shaped.
"""

import re
import unicodedata
from collections.abc import Iterator, Mapping
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import NamedTuple

from fontTools.ttLib import TTFont

from app.labels.pieces import Lettering


class Font(NamedTuple):
    """A font file and the name it has inside a PDF."""

    name: str
    file: Path


def _of_package(package: str, folder: str, pattern: str) -> list[Font]:
    files_there = Path(str(files(package))) / folder
    return [Font(file.stem, file) for file in sorted(files_there.glob(pattern))]


@lru_cache(maxsize=1)
def _mono() -> Font:
    return _of_package("fontpkg_ibm_plex_mono", "files", "IBMPlexMono-Bold.ttf")[0]


@lru_cache(maxsize=1)
def text_fonts() -> tuple[Font, ...]:
    """Order the fonts for text: Latin, Greek and Cyrillic, the other scripts, East Asia, signs."""
    noto = {font.name: font for font in _of_package("manimgx_fonts", "", "NotoSans*.ttf")}
    first = noto.pop("NotoSans[wght]")
    signs = noto.pop("NotoSansSymbols[wght]")
    noto.pop("NotoSans-Italic[wght]")
    east = _of_package("noto_cjk_sans_jp_regular", "", "*.otf")
    return (first, *noto.values(), *east, signs)


@lru_cache(maxsize=64)
def _advances(font: Font) -> Mapping[int, int]:
    """Read how far each character moves on, in thousandths of the font size."""
    with TTFont(font.file, lazy=True) as opened:
        widths = opened["hmtx"].metrics
        whole = opened["head"].unitsPerEm
        return {
            character: round(widths[glyph][0] * 1000 / whole)
            for character, glyph in opened.getBestCmap().items()
        }


@lru_cache(maxsize=4096)
def _font_of(character: str, lettering: Lettering) -> Font | None:
    chain = (_mono(), *text_fonts()) if lettering is Lettering.CODE else text_fonts()
    return next((font for font in chain if ord(character) in _advances(font)), None)


@lru_cache(maxsize=4096)
def readable(text: str) -> str:
    """Bring a text to one line of characters that can be printed.

    Line breaks and tabs become spaces, marks that only steer other characters go, and what no font
    has is named by its code point: `[U+1F600]`.
    """
    one_line = re.sub(r"\s+", " ", unicodedata.normalize("NFC", text)).strip()
    return "".join(_shown(character) for character in one_line)


def _shown(character: str) -> str:
    if unicodedata.category(character) == "Cf" or "\ufe00" <= character <= "\ufe0f":
        return ""
    if _font_of(character, Lettering.TEXT) is None:
        return f"[U+{ord(character):04X}]"
    return character


def runs(text: str, lettering: Lettering) -> Iterator[tuple[Font, str]]:
    """Split a readable text into stretches of one font each."""
    current: Font | None = None
    stretch = ""
    for character in text:
        joins = current is not None and unicodedata.combining(character)
        there = joins and ord(character) in _advances(current) if current else False
        font = current if there else _font_of(character, lettering)
        if font is not current and stretch and current is not None:
            yield current, stretch
            stretch = ""
        current, stretch = font, stretch + character
    if current is not None and stretch:
        yield current, stretch


@lru_cache(maxsize=16384)
def _thousandths(text: str, lettering: Lettering) -> int:
    """Measure a text in thousandths of the font size."""
    return sum(
        _advances(font)[ord(character)]
        for font, stretch in runs(text, lettering)
        for character in stretch
    )


class FontRuler:
    """Measures text in the fonts it will be drawn in."""

    def width(self, text: str, lettering: Lettering, em: int) -> int:
        """Measure a text set at `em`, rounded up."""
        return -(-_thousandths(text, lettering) * em // 1000)
