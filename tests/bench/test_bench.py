"""The benchmark runs, on a book that is sound; it asserts no times."""

from pathlib import Path

from tests.bench.recall import measure


def test_a_recall_is_measured_act_by_act_in_a_sound_book(tmp_path: Path) -> None:
    timed = {each.name: each for each in measure(f"sqlite:///{tmp_path}/b.db", 2000, check=True)}

    assert timed["check the book"].found == "0 differences"
    assert timed["bare walk by the driver"].found.endswith(" flows")
    assert not timed["open case, scope frozen"].found.startswith("0 ")
    assert all(each.seconds > 0 for each in timed.values())
