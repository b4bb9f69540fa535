"""Cautions about lifting sacks."""

import pytest

from app.standards.handling import ABOVE_SHOULDER, HEAVY, IN_PARTS, is_heavy, pick_caution


@pytest.mark.parametrize(
    ("grams", "heavy"),
    [
        # Health and Safety Executive, food and drink manual handling, and Food Information Sheet
        # 31: sacks are to be brought to 25 kg or below. Above it and not at it is our rule.
        (70_000, True), (30_000, True), (25_001, True), (25_000, False), (20_000, False),
    ],
)  # fmt: skip
def test_a_sack_is_heavy_above_the_limit_and_not_at_it(grams: int, heavy: bool) -> None:
    assert is_heavy(grams, 25_000) is heavy


@pytest.mark.parametrize(
    ("there_g", "drawn_g", "caution"),
    [
        (60_000, 60_000, HEAVY), (60_000, 12_000, IN_PARTS), (25_000, 25_000, None),
        (25_000, 1, None), (25_001, 25_001, HEAVY), (25_001, 25_000, IN_PARTS),
    ],
)  # fmt: skip
def test_drawing_a_part_of_a_heavy_sack_needs_no_lift_of_the_whole(
    there_g: int, drawn_g: int, caution: str | None
) -> None:
    assert pick_caution(there_g, drawn_g, 25_000) == caution


@pytest.mark.parametrize("words", [HEAVY, ABOVE_SHOULDER, IN_PARTS])
def test_no_caution_calls_anything_safe_or_names_a_figure(words: str) -> None:
    assert "safe" not in words.lower()
    assert not any(character.isdigit() for character in words)
    assert "assess" in words
