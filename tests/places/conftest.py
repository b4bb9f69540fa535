"""A small house: a site with a hall, in it a rack of two levels, the upper one above shoulder."""

from collections.abc import Callable
from typing import Any

import pytest

from tests.api import Api
from tests.makers import furnish

Put = Callable[..., list[str]]
"""Receive sacks of these weights straight to a place; returns their codes."""


@pytest.fixture
def house(api: Api) -> Api:
    furnish(api)
    for place in (
        {"code": "QUAY", "kind": "site"},
        {"code": "HALL", "kind": "zone", "parent": "QUAY"},
        {"code": "C-01", "kind": "rack", "parent": "HALL", "capacity_kg": 300},
        {"code": "C-01-1", "kind": "level", "parent": "C-01"},
        {
            "code": "C-01-2",
            "kind": "level",
            "parent": "C-01",
            "capacity_kg": 100,
            "above_shoulder": True,
        },
    ):
        api.post("/locations", place)
    return api


@pytest.fixture
def put(house: Api) -> Put:
    def receive_at(
        place: str | None, *net_kg: Any, lot: str | None = None, **more: Any
    ) -> list[str]:
        given = {"location": place} if place else {}
        fields = {"name": "Sul", "origin": "BR"} | ({"code": lot} if lot else {}) | more
        delivery = house.post("/deliveries", {
            "supplier": "Finca El Roble", "received_at": "2026-03-02T08:00:00Z",
            "lots": [fields | {"sacks": [{"net_kg": net} | given for net in net_kg]}],
        })  # fmt: skip
        return [sack["code"] for sack in delivery["lots"][0]["sacks"]]

    return receive_at
