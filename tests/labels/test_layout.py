"""Where everything stands on a label: nothing overlaps, leaves the label or loses the code."""

from itertools import combinations
from typing import Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.labels.drawing import composed, ruler
from app.labels.fonts import readable
from app.labels.pieces import LARGE_PRINT, MM, Box, Face, Item, Layout, Lettering
from app.labels.sheets import GRIDS
from app.labels.symbols import QUIET, matrix
from app.shared.codes import issue
from app.standards.handling import HEAVY

LARGE: Final = (100 * MM, 70 * MM)
SMALL: Final = (62 * MM, 29 * MM)

SIZES = st.sampled_from([LARGE, SMALL, *(grid.label for grid in GRIDS.values())]) | st.tuples(
    st.integers(59, 210).map(lambda mm: mm * MM), st.integers(29, 297).map(lambda mm: mm * MM)
)
CODES = st.from_regex(r"[A-Z0-9][A-Z0-9._-]{0,31}", fullmatch=True)
ISSUED = st.builds(issue, st.sampled_from("SRBPT"), st.integers(1, 999_999)).filter(
    lambda code: len(code) <= 11
)
TEXTS = st.text(min_size=1, max_size=300) | st.sampled_from([
    "雲南 Yúnnán", "Yirgacheffe ይርጋጨፌ", "Buôn Ma Thuột, Đắk Lắk", "x" * 500, "long words " * 40,
    "two\nlines\tand a tab", "☕ 😀", "כלב קפה", "\u200b", "e\u0301" * 200,
])  # fmt: skip
ITEMS = st.builds(
    Item,
    st.lists(TEXTS, min_size=1, max_size=2).map(tuple),
    st.sampled_from([75, 100, 125, 150]),
    st.booleans(),
)
FACES = st.builds(
    Face,
    CODES | ISSUED,
    st.lists(ITEMS, max_size=8).map(tuple),
    st.sampled_from([(), ("ON HOLD",), ("SET ASIDE", "ON HOLD")]),
    st.sampled_from([None, HEAVY]),
)


def laid(face: Face, size: tuple[int, int] = LARGE) -> Layout:
    return composed(face, *size)


def code_of(layout: Layout) -> str:
    """Read the code as somebody who types it off the label does."""
    return "".join(
        line.text for line in layout.lines if line.lettering is Lettering.CODE and not line.inverse
    )


@settings(deadline=None, max_examples=100)
@given(FACES, SIZES)
def test_nothing_overlaps_and_nothing_leaves_the_label(face: Face, size: tuple[int, int]) -> None:
    layout = laid(face, size)

    whole = Box(0, 0, *size)
    boxes = [layout.symbol.box, *(line.box for line in layout.lines)]
    assert all(whole.holds(box) for box in boxes)
    assert not [pair for pair in combinations(boxes, 2) if pair[0].overlaps(pair[1])]
    for line in layout.lines:
        assert ruler().width(line.text, line.lettering, line.em) <= line.box.width
        assert line.box.y < line.baseline <= line.box.bottom


@settings(deadline=None, max_examples=100)
@given(FACES, SIZES)
def test_code_marks_and_caution_are_never_cut(face: Face, size: tuple[int, int]) -> None:
    layout = laid(face, size)

    assert code_of(layout) == face.code
    bars = [line.text for line in layout.lines if line.inverse]
    assert bars == ([" / ".join(face.marks)] if face.marks else [])
    said = " ".join(line.text for line in layout.lines if line.lettering is Lettering.BOLD)
    assert face.caution is None or face.caution in said


@settings(deadline=None, max_examples=100)
@given(FACES, SIZES)
def test_every_fact_is_whole_or_named_as_cut_or_left_out(face: Face, size: tuple[int, int]) -> None:
    layout = laid(face, size)

    shown = "".join(line.text for line in layout.lines).replace(" ", "")
    for item in face.items:
        parts = [readable(part) for part in item.parts]
        whole = all(part.replace(" ", "") in shown for part in parts)
        assert whole or ", ".join(parts) in (*layout.cut, *layout.left_out)


@settings(deadline=None, max_examples=100)
@given(ISSUED, SIZES)
def test_a_code_of_the_book_stands_in_24_points_or_more_on_any_label(
    code: str, size: tuple[int, int]
) -> None:
    layout = laid(Face(code, (), ("ON HOLD",), HEAVY), size)

    [line] = [line for line in layout.lines if line.lettering is Lettering.CODE][:1]
    assert line.em >= LARGE_PRINT
    assert line.text == code
    assert line.set_apart == 1


@settings(deadline=None)
@given(CODES)
def test_every_code_stands_in_24_points_or_more_on_a_large_label(code: str) -> None:
    layout = laid(Face(code, (), ("ON HOLD",), HEAVY))

    lines = [line for line in layout.lines if line.lettering is Lettering.CODE and not line.inverse]
    assert min(line.em for line in lines) >= LARGE_PRINT


def test_only_the_check_character_of_the_book_s_own_codes_is_set_apart() -> None:
    ours, theirs = laid(Face(issue("S", 42), ())), laid(Face("GL-2026-0412", ()))

    assert [line.set_apart for line in ours.lines] == [1]
    assert [line.set_apart for line in theirs.lines] == [0]


@pytest.mark.parametrize(("size", "module"), [(LARGE, 1_100), (SMALL, 600)])
def test_modules_are_large_enough_for_a_scanner_at_arm_s_length(
    size: tuple[int, int], module: int
) -> None:
    """A held and heavy sack leaves the least room; our own rule, tried with a decoder."""
    code = issue("S", 42)
    layout = laid(Face(code, (Item(("Sidama",)),), ("ON HOLD",), HEAVY), size)

    assert layout.symbol.module >= module
    modules = len(matrix(code)) + 2 * QUIET
    assert layout.symbol.box.width == layout.symbol.box.height == modules * layout.symbol.module


def test_a_long_name_takes_two_lines_and_is_then_cut() -> None:
    name = "Hambela Wamena, washed, station lot 14, " * 4
    layout = laid(Face(issue("S", 42), (Item((name,), 125, bold=True),)), SMALL)

    first, second = [line.text for line in layout.lines if line.lettering is Lettering.BOLD]
    assert name.startswith(first)
    assert second.endswith("…")
    assert layout.cut == (name.strip(),)


def test_the_last_facts_are_left_out_first() -> None:
    facts = tuple(Item((f"fact {number}",)) for number in range(20))
    layout = laid(Face(issue("S", 42), facts, ("ON HOLD",), HEAVY), SMALL)

    left_out = len(layout.left_out)
    assert 0 < left_out < 20
    assert layout.left_out == tuple(f"fact {number}" for number in range(20 - left_out, 20))


def test_a_held_and_heavy_sack_keeps_name_and_mass_on_the_smallest_label() -> None:
    items = (Item(("A name that is rather too long for it",), 125, bold=True),
             Item(("69.0 kg net",), 150, bold=True), Item(("Lot GL-1",)))  # fmt: skip
    layout = laid(Face(issue("S", 42), items, ("SET ASIDE", "ON HOLD"), HEAVY), SMALL)

    said = [line.text for line in layout.lines]
    assert "69.0 kg net" in said
    assert any(text.startswith("A name") for text in said)
