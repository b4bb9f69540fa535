"""Labels as a printer, a scanner and a reader meet them."""

from dataclasses import dataclass
from typing import Any

import pypdfium2
import zxingcpp
from PIL import Image

from tests.api import Api

QR = zxingcpp.barcode_formats_from_str("QRCode")
SAME_ROW_MM = 10
POINTS_PER_MM = 72 / 25.4


@dataclass(frozen=True)
class Seen:
    """A symbol that was read, and where its middle stands on the page, in millimetres."""

    text: str
    x: float
    y: float


class Paper:
    """The pages of a PDF."""

    def __init__(self, content: bytes) -> None:
        self._pdf = pypdfium2.PdfDocument(content)

    def __len__(self) -> int:
        return len(self._pdf)

    def size_mm(self, page: int = 0) -> tuple[float, float]:
        width, height = self._pdf[page].get_size()
        return round(width / POINTS_PER_MM, 1), round(height / POINTS_PER_MM, 1)

    def text(self, page: int = 0) -> str:
        """Read the text of a page, its lines joined."""
        found: str = self._pdf[page].get_textpage().get_text_range()
        return " ".join(found.split())

    def image(self, dpi: int, page: int = 0) -> Image.Image:
        """Print a page at that resolution."""
        printed: Image.Image = self._pdf[page].render(scale=dpi / 72, grayscale=True).to_pil()
        return printed

    def scan(self, dpi: int, page: int = 0) -> list[Seen]:
        """Print a page at that resolution and read every QR code on it, row by row."""
        image = self.image(dpi, page)
        per_mm = dpi / 25.4
        seen = [
            Seen(
                found.text,
                (found.position.top_left.x + found.position.bottom_right.x) / 2 / per_mm,
                (found.position.top_left.y + found.position.bottom_right.y) / 2 / per_mm,
            )
            for found in zxingcpp.read_barcodes(image, formats=QR)
        ]
        return _in_rows(seen)


def _in_rows(seen: list[Seen]) -> list[Seen]:
    """Order symbols as they are read; those of one row are at nearly the same height."""
    rows: list[list[Seen]] = []
    for each in sorted(seen, key=lambda each: each.y):
        if not rows or each.y - rows[-1][0].y > SAME_ROW_MM:
            rows.append([])
        rows[-1].append(each)
    return [each for row in rows for each in sorted(row, key=lambda each: each.x)]


def order(api: Api, *codes: str, **more: Any) -> dict[str, Any]:
    """Order labels of codes."""
    made: dict[str, Any] = api.post("/labels", {"codes": list(codes)} | more)
    return made


def fetch(api: Api, order: dict[str, Any]) -> Paper:
    """Fetch the labels of a print order."""
    answer = api.send("GET", order["pdf"])
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    return Paper(answer.content)
