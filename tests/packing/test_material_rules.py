"""What a pack used of a lot of packing material, as arithmetic."""

import pytest

from app.packing.materials.rules import Said, Used, WrongUseError, settle

ONE = 1000


def pieces(number: float) -> int:
    return round(number * ONE)


@pytest.mark.parametrize(
    ("said", "unit", "usual", "used"),
    # Our rule.
    [
        (Said(), "piece", 99, Used(pieces(99), None, 0, None)),
        (Said(used=pieces(198)), "piece", 99, Used(pieces(198), None, 0, None)),
        (Said(used=12_500), "metre", 99, Used(12_500, None, 0, None)),
        (Said(issued=pieces(100), spoiled=ONE), "piece", 99,
         Used(pieces(99), pieces(100), ONE, None)),
        (Said(issued=20_000, spoiled=500, returned=4_250), "metre", 99,
         Used(15_250, 20_000, 500, 4_250)),
    ],
)  # fmt: skip
def test_what_was_used_is_said_or_follows(
    said: Said, unit: str, usual: int | None, used: Used
) -> None:
    found = settle(said, unit, None if usual is None else pieces(usual))

    assert found == used
    assert found.gone == found.used + found.spoiled


@pytest.mark.parametrize(
    ("said", "unit", "usual", "member", "why"),
    [
        (Said(issued=pieces(100), spoiled=0), "piece", 99, "issued", ": 1 missing"),
        (Said(issued=pieces(100), spoiled=pieces(2)), "piece", 99, "issued", ": 1 too many"),
        (Said(), "metre", 99, "used", "say how much"),
        (Said(), "piece", None, "used", "say how much"),
        (Said(issued=1_000, spoiled=1_000), "metre", 99, "used", "say how much"),
        (Said(returned=ONE), "piece", 99, "returned", "goes with what was issued"),
        (Said(used=99_500), "piece", 99, "used", "no whole number"),
        (Said(spoiled=1), "piece", 99, "spoiled", "no whole number"),
    ],
)
def test_what_does_not_add_up_is_refused_at_its_member(
    said: Said, unit: str, usual: int | None, member: str, why: str
) -> None:
    with pytest.raises(WrongUseError, match=why) as refused:
        settle(said, unit, None if usual is None else pieces(usual))

    assert refused.value.member == member
