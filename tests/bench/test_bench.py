"""The benchmark runs, on a book that is sound; it asserts no times."""

from pathlib import Path

import pytest

from tests.bench import imports, instructions, requests, start, traces
from tests.bench.recall import measure


def test_a_recall_is_measured_act_by_act_in_a_sound_book(tmp_path: Path) -> None:
    timed = {each.name: each for each in measure(f"sqlite:///{tmp_path}/b.db", 2000, check=True)}

    assert timed["check the book"].found == "0 differences"
    assert timed["bare walk by the driver"].found.endswith(" flows")
    assert not timed["open case, scope frozen"].found.startswith("0 ")
    assert all(each.seconds > 0 for each in timed.values())


def test_traces_are_measured_beside_the_driver_s_and_find_the_same_at_every_size(
    tmp_path: Path,
) -> None:
    def url(flows: int) -> str:
        return f"sqlite:///{tmp_path}/{flows}.db"

    lines = list(traces.measure(url, [40_000, 30_000]))
    again = list(traces.measure(url, [30_000]))

    names = ["a sack, forward", "a lot of 300 sacks, forward", "a pack, backward"]
    assert [(each.name, each.flows) for each in lines] == [
        (name, flows) for name in names for flows in (30_000, 40_000)
    ]
    reached = [each.units for each in again]
    assert [each.units for each in lines] == [units for units in reached for _ in range(2)]
    assert all(each.ms > 0 < each.bare_ms for each in lines)


def test_reads_and_draws_are_all_answered(tmp_path: Path) -> None:
    lines = list(requests.measure(f"sqlite:///{tmp_path}/b.db", 2000, 64))

    assert len(lines) == 7 * len(requests.CONNECTIONS)
    assert [each.name for each in lines if each.refused] == []


def test_an_import_is_measured_beside_the_same_rows(tmp_path: Path) -> None:
    ours, bare = imports.measure(lambda name: f"sqlite:///{tmp_path}/{name}.db", 600)

    assert ours.rows == bare.rows > 4 * 600


def test_instructions_are_told_apart_by_the_file_they_stand_in() -> None:
    written = """events: Ir
ob=(1) /usr/lib/libpython3.11.so.1.0
fl=(1) ceval.c
fn=(1) eval
16 400
cob=(2) /usr/lib/libsqlite3.so.0
cfn=(2) step
calls=3 20
17 9000
+1 100
ob=(2)
fn=(2)
* 250
"""

    assert instructions.by_file(written) == {"libpython3.11.so.1.0": 500, "libsqlite3.so.0": 250}


def test_a_start_is_measured_beside_one_of_the_same_libraries(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(start, "TIMES", 1)

    bare, *ours = start.measure(f"sqlite:///{tmp_path}/b.db")

    assert bare.times == 1
    assert all(each.seconds > 0 for each in ours)
