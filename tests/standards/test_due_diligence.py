"""The forms of due-diligence numbers, and how long evidence is kept."""

from datetime import date

import pytest

from app.standards.due_diligence import is_coffee, is_hs_code, kept_until, without_blanks


@pytest.mark.parametrize(
    ("code", "sound"),
    [
        ("0901", True), ("090121", True), ("09", True), ("0901 21", False), ("9", False),
        ("0901211", False), ("", False), ("090a", False), ("\u0660\u0669\u0660\u0661", False),
    ],
)  # fmt: skip
def test_an_hs_code_has_two_to_six_digits(code: str, sound: bool) -> None:
    # Schemas of the regulation's information system (2 to 6 digits), as quoted in a research
    # note of September 2026.
    assert is_hs_code(code) is sound


def test_an_hs_code_is_sound_once_its_blanks_are_out() -> None:
    # The same: `0901 21` is refused until its blanks are removed.
    assert is_hs_code(without_blanks("0901 21"))
    assert is_hs_code(without_blanks("\u00a00901 21 "))


def test_roasting_keeps_the_first_four_digits() -> None:
    # Regulation (EU) 2023/1115, Annex I lists 0901, roasted or not.
    assert is_coffee("0901")
    assert is_coffee("090121")
    assert not is_coffee("210111")
    assert not is_coffee("09")


def test_evidence_is_kept_for_five_years_after_placing_on_the_market() -> None:
    # Regulation (EU) 2023/1115, Art. 9: five years from the date of placing on the market.
    assert kept_until(date(2027, 1, 15), 5) == date(2032, 1, 15)


def test_of_a_leap_day_the_later_day_counts() -> None:
    # Our rule.
    assert kept_until(date(2028, 2, 29), 5) == date(2033, 3, 1)
    assert kept_until(date(2028, 2, 29), 8) == date(2036, 2, 29)
