"""Taking readings in tests: of what, how long ago, with what."""

from datetime import UTC, datetime, timedelta
from typing import Any

from tests.api import Api, kg


def ago(days: float = 0, hours: float = 0) -> str:
    """Name a moment before now as the API reads it."""
    moment = datetime.now(UTC) - timedelta(days=days, hours=hours)
    return moment.isoformat().replace("+00:00", "Z")


def day(days_ago: int) -> str:
    """Name a date before today."""
    return (datetime.now(UTC) - timedelta(days=days_ago)).date().isoformat()


def measure(api: Api, subject: str, kind: str, value: str, **more: Any) -> dict[str, Any]:
    """Take a reading, just now unless told otherwise."""
    body = {"subject": subject, "kind": kind, "value": kg(value)} | more
    taken: dict[str, Any] = api.post("/readings", body)
    return taken


def meter(api: Api, code: str = "MM-2", **more: Any) -> None:
    """Enter a moisture meter."""
    card = {"code": code, "name": "Moisture meter", "kinds": ["moisture"], "method": "meter"}
    api.post("/instruments", card | more)


def calibrate(
    api: Api, days_ago: int, result: str = "passed", code: str = "MM-2", **more: Any
) -> dict[str, Any]:
    """Hold an instrument against the oven."""
    body = {"calibrated_on": day(days_ago), "against": "ISO 6673", "result": result} | more
    booked: dict[str, Any] = api.post(f"/instruments/{code}/calibrations", body)
    return booked
