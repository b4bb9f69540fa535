"""A small roastery for tests, made through the API: no test starts from an impossible book."""

from decimal import Decimal
from typing import Any

from sqlalchemy import Engine, text

from app.schema import migrate
from app.shared.db import open_engine
from tests.api import Api

PASSING = {"profile_hit": True, "colour": 60, "colour_target": 60, "loss_range_pct": [5, 25]}
"""What lets a roast pass the gate."""


def furnish(api: Api) -> None:
    """Enter a supplier, a customer, places, machines and two products."""
    api.post("/suppliers", {"name": "Finca El Roble"})
    api.post("/customers", {"name": "Café Nord", "contact": "Ida, +49 000 1234"})
    for code in ("A-01", "B-02"):
        api.post("/locations", {"code": code, "kind": "rack"})
    api.post("/machines", {"code": "DRUM-75", "kind": "roaster", "capacity_kg": 75})
    api.post("/machines", {"code": "DRUM-15", "kind": "roaster", "capacity_kg": 15})
    api.post("/machines", {"code": "TUMBLER", "kind": "blender"})
    api.post("/machines", {"code": "LINE-1", "kind": "packing_line"})
    api.post(
        "/products", {"sku": "HOUSE-250", "name": "House", "nominal_g": 250, "shelf_life_days": 365}
    )
    api.post("/products", {"sku": "HOUSE-2000", "name": "House, big", "nominal_g": 2000})


def receive(
    api: Api, *net_kg: Decimal | int, lot: str | None = None, **more: Any
) -> dict[str, Any]:
    """Receive one lot of sacks with these net weights; returns the lot as received."""
    fields = {"name": "Sidama Washed", "origin": "ET"} | ({"code": lot} if lot else {}) | more
    sacks = [{"net_kg": net} for net in net_kg]
    delivery = api.post(
        "/deliveries",
        {
            "supplier": "Finca El Roble",
            "reference": "DN-1042",
            "received_at": "2026-03-02T08:00:00Z",
            "lots": [fields | {"sacks": sacks}],
        },
    )
    received: dict[str, Any] = delivery["lots"][0]
    return received


def sack_codes(lot: dict[str, Any]) -> list[str]:
    """Name the sacks of a lot as received."""
    return [sack["code"] for sack in lot["sacks"]]


def roast(api: Api, draws: dict[str, Any], end_kg: Any, **more: Any) -> dict[str, Any]:
    """Roast and pass the gate."""
    body = {
        "machine": "DRUM-75",
        "end_kg": end_kg,
        "draws": [{"sack": sack, "kg": kg} for sack, kg in draws.items()],
    }
    made: dict[str, Any] = api.post("/roasts", body | PASSING | more)
    return made


def blend(api: Api, parts: dict[str, Any], **more: Any) -> dict[str, Any]:
    """Blend roasts and blends."""
    listed = [{"unit": unit, "kg": kg} for unit, kg in parts.items()]
    made: dict[str, Any] = api.post("/blends", {"parts": listed} | more)
    return made


def pack(
    api: Api, parts: dict[str, Any], bags: int, sku: str = "HOUSE-250", **more: Any
) -> dict[str, Any]:
    """Fill bags."""
    listed = [{"unit": unit, "kg": kg} for unit, kg in parts.items()]
    made: dict[str, Any] = api.post("/packs", {"product": sku, "from": listed, "bags": bags} | more)
    return made


def dispatch(
    api: Api, bags: dict[str, int], customer: str = "Café Nord", **more: Any
) -> dict[str, Any]:
    """Send bags."""
    lines = [{"pack": code, "bags": count} for code, count in bags.items()]
    made: dict[str, Any] = api.post("/dispatches", {"customer": customer, "lines": lines} | more)
    return made


def make_book(url: str) -> None:
    """Make the tables of a book in an empty database."""
    engine = open_engine(url)
    migrate(engine)
    engine.dispose()


def sell_of_one_sack(api: Api) -> str:
    """Furnish a book, and make a lot of one sack, a roast, a pack and a dispatch of it: five units.

    They are LOT-A, the sack whose code is returned, RB-1, PK-1 and DS-1.
    """
    furnish(api)
    (code,) = sack_codes(receive(api, 60, lot="LOT-A"))
    roast(api, {code: 20}, 17, code="RB-1")
    pack(api, {"RB-1": 10}, bags=40, code="PK-1")
    dispatch(api, {"PK-1": 2}, code="DS-1")
    return code


def named_of_old(engine: Engine, table: str, name: str, as_it_was: str) -> None:
    """Give a card a name as they were taken before anybody looked at what is in them."""
    with engine.begin() as connection:
        connection.execute(
            text(f"UPDATE {table} SET name = :old WHERE name = :name"),  # noqa: S608 - our own names
            {"old": as_it_was, "name": name},
        )
