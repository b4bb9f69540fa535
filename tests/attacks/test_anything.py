"""Made up requests to every operation; `python -m tests.attacks` sends as many as are asked for."""

from tests.attacks.anything import throw_anything


def test_no_input_is_answered_otherwise_than_described_and_none_by_a_500(database_url: str) -> None:
    found = throw_anything(database_url, examples=1, phases="fuzzing")

    assert found.ended_with == 0, found.said
    assert " passed" in found.said
    assert found.differs == []
