"""The start page: what waits, for whom, and until when it does."""

from collections.abc import Callable
from datetime import timedelta

from app.shared.days import today_here
from tests.api import Api
from tests.makers import furnish
from tests.web.conftest import Visitor, words

NARROW = "\N{NARROW NO-BREAK SPACE}"


def _start(visitor: Visitor) -> str:
    return words(visitor.get("/")).replace(NARROW, " ")


def test_a_delivery_waits_until_as_much_came_as_its_contract_accepts(
    api: Api, visitor_as: Callable[..., Visitor]
) -> None:
    furnish(api)
    api.post("/contracts", {
        "reference": "PC-9", "supplier": "Finca El Roble", "quantity_kg": 600,
        "tolerance_pct": 3, "weight_basis": "landed",
        "expected_on": (today_here() + timedelta(days=2)).isoformat(),
    })  # fmt: skip
    noor = visitor_as("warehouse")

    def arrive(*net_kg: int) -> None:
        sacks = [{"net_kg": net} for net in net_kg]
        api.post("/deliveries", {
            "supplier": "Finca El Roble", "reference": "DN-1", "contract": "PC-9",
            "received_at": "2026-03-02T08:00:00Z",
            "lots": [{"name": "Sidama Washed", "origin": "ET", "sacks": sacks}],
        })  # fmt: skip

    nothing = _start(noor)
    arrive(*[60] * 4)
    part = _start(noor)
    arrive(*[60] * 5, 45)
    within = _start(noor)

    assert "1 delivery expected PC-9 600 kg, " in nothing
    assert "1 delivery expected PC-9 360 kg of 600 kg still to come, " in part
    assert "delivery expected" not in within, "585 kg are within 3 per cent of 600"
