"""Names in the scripts of the coffee belt can be read; what no font has is named."""

from datetime import UTC, datetime

import pytest
from PIL import Image, ImageChops

from app.labels.drawing import PrintJob, draw, ruler
from app.labels.fonts import readable, runs
from app.labels.pieces import MM, Face, Item, Lettering
from app.shared.codes import issue
from tests.labels.paper import Paper

AT = datetime(2026, 3, 31, 6, tzinfo=UTC)


def printed(*names: str, size: tuple[int, int] = (100, 70)) -> Paper:
    faces = [
        Face(issue("S", number), (Item((name,), 125, bold=True), Item(("69.0 kg net",))))
        for number, name in enumerate(names, 1)
    ]
    return Paper(draw(PrintJob("Labels 1", AT, faces, (size[0] * MM, size[1] * MM))))


@pytest.mark.parametrize("name", [
    "雲南 Yúnnán",
    "云南 保山",
    "Yirgacheffe ይርጋጨፌ",
    "Buôn Ma Thuột, Đắk Lắk",
    "ຂອງ ປາກຊອງ",
    "コーヒー",
    "Московский №5",
    "Σίντρα",
    "Côte d'Ivoire, Ñuble, Łódź",
    "El Injerto «Pandora»",
])  # fmt: skip
def test_a_name_is_printed_as_it_is_written(name: str) -> None:
    assert readable(name) == name
    assert name in printed(name).text()


@pytest.mark.parametrize(("written", "shown"), [
    ("two\nlines\tand  a tab ", "two lines and a tab"),
    ("cafe\u0301", "café"),
    ("zero\u200bwidth\u00adhyphen\ufeff", "zerowidthhyphen"),
    ("lot 😀", "lot [U+1F600]"),
    ("\U00012000", "[U+12000]"),
    ("bell\x07", "bell[U+0007]"),
    ("\ue000", "[U+E000]"),
    ("", ""),
])  # fmt: skip
def test_what_no_font_has_is_named_by_its_code_point(written: str, shown: str) -> None:
    assert readable(written) == shown


def test_a_text_is_split_into_stretches_of_one_font() -> None:
    stretches = [text for _, text in runs("Yirgacheffe ይርጋጨፌ 雲南", Lettering.TEXT)]

    assert stretches == ["Yirgacheffe ", "ይርጋጨፌ", " ", "雲南"]


def test_each_character_of_a_code_is_as_wide_as_the_other() -> None:
    widths = {
        ruler().width(character, Lettering.CODE, 10 * MM)
        for character in "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-._"
    }

    assert widths == {6 * MM}


@pytest.mark.parametrize("size", [(100, 70), (62, 29)])
def test_no_ink_reaches_the_edge_of_a_label(size: tuple[int, int]) -> None:
    paper = printed(
        "ẤẾỘ ỨỮ Ǻ" * 30, "ይርጋጨፌ" * 40, "雲南" * 90, "W" * 300, "ຂອງປາກຊອງ" * 30, "g_j_y" * 60,
        size=size,
    )  # fmt: skip

    for page in range(len(paper)):
        image = paper.image(300, page)
        edge = 6  # pixels: half a millimetre
        inside = image.crop((edge, edge, image.width - edge, image.height - edge))
        frame = Image.new("L", image.size, 255)
        frame.paste(inside, (edge, edge))
        assert ImageChops.difference(image, frame).getbbox() is None
