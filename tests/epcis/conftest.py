"""A small roastery in which everything happened that a document can tell of."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from jsonschema import Draft7Validator
from sqlalchemy import Engine, event

from app.settings import Settings
from tests.api import Api, kg
from tests.makers import blend, dispatch, furnish, pack, roast

PREFIX = "9521234"
"""Of the range that GS1 sets aside for examples (952)."""


@pytest.fixture(scope="session")
def official(shared: Path) -> Draft7Validator:
    """GS1's JSON schema of EPCIS 2.0 (github.com/gs1/EPCIS, EPCIS-JSON-Schema.json, 2022)."""
    file = shared / "data/standards/epcis-2.0/schema/EPCIS-JSON-Schema.json"
    return Draft7Validator(
        json.loads(file.read_text()), format_checker=Draft7Validator.FORMAT_CHECKER
    )


@pytest.fixture
def with_prefix(service: FastAPI, settings: Settings) -> None:
    """The roastery has a company prefix of GS1."""
    service.state.settings = settings.model_copy(update={"gs1_company_prefix": PREFIX})


@pytest.fixture
def statements(engine: Engine, api: Api) -> Callable[[str], int]:
    """Count what the database is asked while something is read."""

    def counted(path: str) -> int:
        seen: list[str] = []

        def note(*said: Any) -> None:
            seen.append(said[2])

        event.listen(engine, "before_cursor_execute", note)
        api.get(path)
        event.remove(engine, "before_cursor_execute", note)
        return len(seen)

    return counted


@pytest.fixture
def roastery(api: Api, api_as: Callable[..., Api]) -> dict[str, Any]:
    """Fill a book: two sacks to a case of bags, sent, come back, recalled; slips corrected."""
    furnish(api)
    api.post("/materials", {"code": "BAG-250", "name": "Bag", "kind": "bag", "unit": "piece"})
    api.post("/material-lots", {
        "code": "PK7781", "material": "BAG-250", "supplier": "Finca El Roble", "reference": "I-7",
        "quantity": 100,
    })  # fmt: skip
    api.post("/instruments", {"code": "MM01", "name": "Meter", "kinds": ["moisture"]})
    came = api.post("/deliveries", {
        "supplier": "Finca El Roble", "reference": "DN 10/42",
        "received_at": "2026-03-02T08:00:00Z",
        "lots": [{
            "code": "GL24017", "name": "Sidama washed", "origin": "ET", "crop_year": "2025/26",
            "process": "washed", "ico_mark": "010/1402/0001", "advised_kg": 121,
            "sacks": [
                {"code": "GL24017-S01", "net_kg": kg("60.2"), "location": "A-01"},
                {"code": "GL24017-S02", "net_kg": kg("59.8"), "location": "B-02",
                 "condition": "torn"},
            ],
        }],
    })  # fmt: skip
    _stand(api, api_as)
    first = roast(api, {"GL24017-S01": kg("20.2"), "GL24017-S02": kg("9.8")}, kg("25.5"),
                  code="RB-1")  # fmt: skip
    again = roast(
        api, {"GL24017-S01": kg("20.2"), "GL24017-S02": kg("10.3")}, kg("25.5"), code="RB-2",
        corrects="RB-1", correction_reason="read the scale wrong",
    )  # fmt: skip
    mistaken = roast(api, {"GL24017-S02": 5}, kg("4.2"), code="RB-3")
    api.post("/units/RB-3/void", {"reason": "booked twice"})
    blended = blend(api, {"RB-2": 25}, code="BL-1")
    packed = pack(
        api, {"BL-1": 25}, 99, code="P-1-26", materials=[{"lot": "PK7781", "used": 99}],
    )  # fmt: skip
    case = api.post("/cases", {"contents": [{"pack": "P-1-26", "bags": 12}]})["code"]
    sent = api.post("/dispatches", {
        "customer": "Café Nord", "code": "D-1-26",
        "lines": [{"case": case}, {"pack": "P-1-26", "bags": 3}],
    })  # fmt: skip
    api.post("/returns", {
        "dispatch": "D-1-26", "lines": [{"pack": "P-1-26", "bags": 4}], "reason": "crushed",
    })  # fmt: skip
    dispatch(api, {"P-1-26": 2}, code="D-2-26")
    api.post("/units/D-2-26/void", {"reason": "never left"})
    api.post("/adjustments", {"unit": "P-1-26", "kg": kg("-0.5"), "reason": "destroyed"})
    recall = api.post("/recalls", {
        "trigger": {"kind": "lab_result", "text": "ochratoxin"}, "kind": "inquiry",
        "start": {"units": ["GL24017"]},
    })  # fmt: skip
    api.post(f"/recalls/{recall['code']}/stop", {})
    return {
        "delivery": came, "first": first, "again": again, "mistaken": mistaken,
        "blend": blended, "pack": packed, "case": case, "sent": sent, "recall": recall["code"],
    }  # fmt: skip


def _stand(api: Api, api_as: Callable[..., Api]) -> None:
    """Measure, sample, move, hold, release and count."""
    api.post("/readings", {
        "subject": "GL24017-S01", "kind": "moisture", "value": kg("11.2"), "instrument": "MM01",
        "temperature_c": kg("20.4"), "taken_at": "2026-03-02T10:00:00Z",
    })  # fmt: skip
    slip = api.post("/readings", {"subject": "GL24017", "kind": "moisture", "value": kg("12.1")})
    api.post(f"/readings/{slip['id']}/void", {"reason": "another lot"})
    api.post("/readings", {"subject": "A-01", "kind": "temperature", "value": kg("19.5")})
    api.post("/adjustments", {"unit": "GL24017-S01", "kg": kg("-0.35"), "reason": "sample"})
    api.post("/moves", {"sacks": ["GL24017-S01"], "to": "B-02"})
    held = api.post("/holds", {"units": ["GL24017"], "reason": "musty cup"})
    apart = api.post("/holds", {"units": ["GL24017-S02"], "reason": "torn"})
    api.post(f"/holds/{held['id']}/release", {"reason": "cupped clean"})
    api.post(f"/holds/{apart['id']}/release", {"reason": "sewn up"})
    count = api.post("/counts", {"lot": "GL24017"})["id"]
    counted = {"GL24017-S01": kg("59.45"), "GL24017-S02": kg("59.8")}
    lines = [{"sack": sack, "kg": found} for sack, found in counted.items()]
    api.post(f"/counts/{count}/lines", {"lines": lines})
    api.post(f"/counts/{count}/close", {})
    api_as("quality").post(f"/counts/{count}/approve", {})
