"""Contracts and deliveries under them, made through the API."""

from datetime import UTC, datetime, timedelta
from io import BytesIO
from typing import Any

from PIL import Image

from tests.api import Api
from tests.makers import furnish

CONTRACT: dict[str, Any] = {
    "reference": "PC-26/014",
    "supplier": "Finca El Roble",
    "quantity_kg": 240,
    "weight_basis": "shipped",
}

CLEAN: dict[str, Any] = {
    "musty_smell": False,
    "foreign_smell": False,
    "live_insects": False,
    "wet_marks": False,
    "mould": False,
}
"""An inspection that found nothing."""


def contract(api: Api, **more: Any) -> dict[str, Any]:
    """Enter a contract of four sacks with a supplier that is known."""
    made: dict[str, Any] = api.post("/contracts", CONTRACT | more)
    return made


def arrive(api: Api, *sacks: dict[str, Any], lot: str = "GL-1", **more: Any) -> dict[str, Any]:
    """Receive one lot; members of the lot and of the delivery are told apart by their names."""
    of_lot = {"sweepings_kg", "shipped_kg", "invoiced_sacks", "moisture_pct", "tare_sample"}
    fields = {name: value for name, value in more.items() if name in of_lot}
    made: dict[str, Any] = api.post(
        "/deliveries",
        {
            "supplier": "Finca El Roble",
            "received_at": "2026-03-05T08:00:00Z",
            "lots": [
                {"code": lot, "name": "Sidama", "origin": "ET", "sacks": list(sacks)} | fields
            ],
        }
        | {name: value for name, value in more.items() if name not in of_lot},
    )
    return made


def four_sacks(api: Api, **more: Any) -> dict[str, Any]:
    """Furnish the roastery and receive four sound sacks of 60 kg."""
    furnish(api)
    return arrive(api, {"count": 4, "net_kg": 60}, **more)


def days_ago(days: int) -> str:
    return (datetime.now(UTC).date() - timedelta(days=days)).isoformat()


def picture(kind: str = "PNG", colour: str = "brown", size: tuple[int, int] = (8, 6)) -> bytes:
    """Take a small photo."""
    file = BytesIO()
    Image.new("RGB", size, colour).save(file, kind)
    return file.getvalue()
