"""Made up requests to every operation; `python -m tests.attacks` sends as many as are asked for."""

import json
import shutil
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from app.shared.staff import Role
from tests.attacks.anything import throw_anything
from tests.attacks.exemptions import is_exempt

A_FEW = "^/api/v1/(holds|costs|crate-kinds)"
"""Of one the floor may do all, of one a part and of one nothing."""


def test_no_input_is_answered_otherwise_than_described_and_none_by_a_500(database_url: str) -> None:
    found = throw_anything(database_url, examples=1, phases="fuzzing")

    assert found.ended_with == 0, found.said
    assert " passed" in found.said
    assert found.differs == []
    assert len(found.answered) > 280
    assert len(found.never_done) < len(found.answered) / 2, found.never_done


def test_every_boundary_by_somebody_who_may_do_little(sqlite_pattern: Path, tmp_path: Path) -> None:
    # Who may do what is asked before any database; the long run asks both.
    file = shutil.copy(sqlite_pattern, tmp_path / "book.db")

    found = throw_anything(
        f"sqlite:///{file}", examples=1, phases="coverage", operations=A_FEW, role=Role.WAREHOUSE
    )

    assert found.ended_with == 0, found.said
    assert found.differs == []
    # What is no JSON at all is told so before anybody is asked who they are.
    assert {"401", "403"} <= set(found.answered["POST /api/v1/costs"]) <= {"401", "403", "422"}
    assert "201" in found.answered["POST /api/v1/holds"]
    assert "200" in found.answered["GET /api/v1/crate-kinds"]


def _refused(sent: object, *details: str) -> Any:
    told = {
        "type": "/problems/invalid", "detail": details[0],
        "errors": [{"pointer": "#/bags", "detail": each} for each in details],
    }  # fmt: skip
    request = SimpleNamespace(body=json.dumps(sent).encode())
    return SimpleNamespace(content=json.dumps(told).encode(), request=request)


@pytest.mark.parametrize(
    ("sent", "details", "exempt"),
    [
        ({"bags": 1}, ["name either lines or an order"], True),
        ({"bags": 5.0}, ["Input should be a valid integer"], True),
        ({"bags": 5.5}, ["Input should be a valid integer"], False),
        ({"bags": 5}, ["Input should be a valid integer"], False),
        ({"bags": 0}, ["Input should be greater than 0"], False),
        ({"bags": 1}, ["name either lines or an order", "Field required"], False),
        ({"bags": 1}, ["a code has 2 to 32 characters: A-Z"], False),
        ({"bags": None}, ["name cannot be emptied"], False),
        ({"bags": "\x85"}, ["String should have at least 1 character"], True),
        ({"bags": "x"}, ["String should have at least 1 character"], False),
        ({}, ["Field required"], False),
        ({"bags": 0.01}, ["Decimal input should have no more than 1 decimal places"], True),
    ],
    ids=str,
)
def test_what_the_document_says_is_no_exemption(
    sent: object, details: list[str], exempt: bool
) -> None:
    assert is_exempt("RejectedPositiveData", "POST /x", _refused(sent, *details)) is exempt
    assert not is_exempt("AcceptedNegativeData", "POST /x", _refused(sent, *details))
    assert not is_exempt("ServerError", "POST /x", _refused(sent, *details))
