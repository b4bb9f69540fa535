"""The official schema and examples of EPCIS 2.0, and documents made for this project."""

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft7Validator

EPCIS = "data/standards/epcis-2.0"


def exact(file: Path) -> Any:
    """Read JSON with exact numbers; of a name that stands twice in an example the last counts."""
    return json.loads(file.read_bytes(), parse_float=Decimal, parse_int=Decimal)


@pytest.fixture(scope="session")
def official(shared: Path) -> Draft7Validator:
    """GS1's JSON schema of EPCIS 2.0 (github.com/gs1/EPCIS, EPCIS-JSON-Schema.json, 2022)."""
    schema = json.loads((shared / EPCIS / "schema/EPCIS-JSON-Schema.json").read_text())
    checker = Draft7Validator.FORMAT_CHECKER
    assert {"uri", "date-time"} <= set(checker.checkers)
    return Draft7Validator(schema, format_checker=checker)


@pytest.fixture(scope="session")
def examples(shared: Path) -> dict[str, Any]:
    """The 47 example documents of GS1's repository."""
    folder = shared / EPCIS / "examples"
    found = {file.name: exact(file) for file in sorted(folder.rglob("*.jsonld"))}
    assert len(found) == 47
    return found


@pytest.fixture(scope="session")
def judged(shared: Path) -> list[dict[str, Any]]:
    """Altered documents with the verdict of the official schema."""
    found: list[dict[str, Any]] = exact(shared / "data/standards/own/schema-accept-reject.json")
    assert len(found) == 43
    return found


@pytest.fixture(scope="session")
def roastery(shared: Path) -> dict[str, Any]:
    """Nineteen events of an invented roastery, from the sack to its recall."""
    made: dict[str, Any] = exact(shared / "data/standards/own/roastery-events.jsonld")
    return made
