"""A roastery with use on days in the past, for the tests of cover."""

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import Engine, event

from tests.api import Api
from tests.makers import furnish, roast


@pytest.fixture
def statements(engine: Engine) -> Iterator[Callable[[], int]]:
    """Count the statements that went to the database so far."""
    sent: list[str] = []

    def note(_conn: object, _cursor: object, statement: str, *_: object) -> None:
        sent.append(statement)

    event.listen(engine, "before_cursor_execute", note)
    yield lambda: len(sent)
    event.remove(engine, "before_cursor_execute", note)


@pytest.fixture
def house(api: Api) -> Api:
    """Two sites, machines and products, and a drum that takes any charge."""
    furnish(api)
    api.post("/machines", {"code": "DRUM", "kind": "roaster"})
    api.post("/locations", {"code": "QUAY", "kind": "site"})
    api.post("/locations", {"code": "Q-1", "kind": "rack", "parent": "QUAY"})
    api.post("/locations", {"code": "H-1", "kind": "rack", "site": "Hill"})
    return api


def at(day: str | date, hour: int = 12) -> str:
    """Name an hour of a day, by UTC."""
    return f"{day}T{hour:02}:00:00Z"


def ago(days: int) -> date:
    return datetime.now(UTC).date() - timedelta(days=days)


def arrive(api: Api, lot: str, *net_kg: int, on: str | date, **more: Any) -> list[str]:
    """Receive one lot of sacks; returns their codes."""
    fields = {"code": lot, "name": f"Lot {lot}", "origin": "ET"}
    of_delivery = {name: more.pop(name) for name in ("contract", "supplier") if name in more}
    place = more.pop("location", None)
    sacks = [{"net_kg": net} | ({"location": place} if place else {}) for net in net_kg]
    made = api.post("/deliveries", {
        "supplier": "Finca El Roble", "received_at": at(on), "lots": [
            fields | more | {"sacks": sacks}
        ],
    } | of_delivery)  # fmt: skip
    return [sack["code"] for sack in made["lots"][0]["sacks"]]


def draw(api: Api, sack: str, kilos: Any, on: str | date, hour: int = 12, **more: Any) -> str:
    """Roast green of one sack on a day."""
    fields = {"machine": "DRUM", "roasted_at": at(on, hour), "end_confirmed": True} | more
    code: str = roast(api, {sack: kilos}, kilos * 85 / 100, **fields)["code"]
    return code


def only(found: Any, key: str) -> Any:
    """Take the row of one key."""
    (row,) = [each for each in found["items"] if each["key"] == key]
    return row
