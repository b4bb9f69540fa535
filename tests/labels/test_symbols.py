"""The QR code: its size, its level, and what it holds."""

import pytest
import segno

from app.labels.symbols import QUIET, matrix
from app.shared.codes import issue


def test_a_code_of_the_book_takes_the_smallest_symbol() -> None:
    """21 modules a side is version 1 of ISO/IEC 18004, from memory."""
    assert {len(matrix(issue(letter, 999_999))) for letter in "SRBPT"} == {21}


@pytest.mark.parametrize(("code", "modules"), [("A" * 20, 21), ("A" * 21, 25), ("A_" * 16, 29)])
def test_a_longer_code_takes_a_larger_symbol(code: str, modules: int) -> None:
    """20 capitals are what version 1 holds at level M: ISO/IEC 18004, from memory."""
    assert len(matrix(code)) == modules


@pytest.mark.parametrize("code", [issue("S", 42), "B-02-3", "Q", "A" * 32, "a_b.c-9" * 4])
def test_errors_are_corrected_at_level_m_or_better(code: str) -> None:
    symbol = segno.make_qr(code, error="m", boost_error=True)

    assert symbol.error in {"M", "Q", "H"}
    assert matrix(code) == tuple(bytes(row) for row in symbol.matrix)


def test_four_modules_around_a_symbol_stay_white() -> None:
    """ISO/IEC 18004, from memory."""
    assert QUIET == 4
