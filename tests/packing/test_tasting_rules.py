"""How much of a blend may be coffee that a tasting lets in up to a share."""

import pytest

from app.packing.rules import BlendedIn, beyond_tasting


def part(grams: int, at_most_pct: int, code: str = "R-1") -> BlendedIn:
    return BlendedIn(code, grams, at_most_pct * 1000)


@pytest.mark.parametrize(
    ("parts", "fits"),
    # Of a blend of 100 kg; our rule.
    [
        ([], True),
        ([part(20_000, 20)], True),
        ([part(20_001, 20)], False),
        ([part(100_000, 100)], True),
        ([part(5_000, 5, "R-1"), part(15_000, 20, "R-2")], True),
        ([part(5_000, 5, "R-1"), part(15_001, 20, "R-2")], False),
        ([part(10_000, 20, "R-1"), part(10_000, 20, "R-2")], True),
        ([part(10_000, 20, "R-1"), part(10_001, 20, "R-2")], False),
        ([part(5_001, 5, "R-1"), part(1, 20, "R-2")], False),
    ],
)
def test_two_bad_roasts_make_a_blend_no_worse_than_one(parts: list[BlendedIn], fits: bool) -> None:
    assert (beyond_tasting(parts, 100_000) is None) is fits


def test_what_is_too_much_together_is_named_together() -> None:
    beyond = beyond_tasting([part(15_001, 20, "R-2"), part(5_000, 5, "R-1")], 100_000)

    assert beyond is not None
    assert (beyond.codes, beyond.grams, beyond.at_most_milli) == (["R-1", "R-2"], 20_001, 20_000)
