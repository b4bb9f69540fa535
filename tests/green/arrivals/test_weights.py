"""Gross, tare and net of what is received."""

from collections.abc import Callable
from typing import Any

import pytest

from tests.api import Api, kg
from tests.makers import furnish

TEN = {"empties": 10, "kg": kg("9.8")}
"""Ten empty sacks on the scale."""


def delivery(*sacks: dict[str, Any], **lot: Any) -> dict[str, Any]:
    return {
        "supplier": "Finca El Roble",
        "received_at": "2026-03-02T08:00:00Z",
        "lots": [{"code": "GL-1", "name": "Sidama", "origin": "ET", "sacks": list(sacks)} | lot],
    }


@pytest.mark.parametrize(
    ("weights", "net", "packaging"),
    [
        ({"net_kg": 60}, "60", (None, None)),
        ({"gross_kg": 61, "tare_kg": 1}, "60", (61, 1)),
        ({"gross_kg": 61, "tare_kg": 1, "net_kg": 60}, "60", (61, 1)),
        ({"gross_kg": 61, "net_kg": kg("60.1")}, "60.1", (61, kg("0.9"))),
        ({"gross_kg": 61}, "60.02", (61, kg("0.98"))),
        ({"gross_kg": kg("0.981")}, "0.001", (kg("0.981"), kg("0.98"))),
    ],
)
def test_a_sack_is_booked_by_its_net_weight_however_it_was_weighed(
    api: Api,
    book_is_sound: Callable[[], None],
    weights: dict[str, Any],
    net: str,
    packaging: tuple[Any, Any],
) -> None:
    furnish(api)

    received = api.post("/deliveries", delivery(weights, tare_sample=TEN))["lots"][0]

    assert received["received_kg"] == kg(net)
    sack = api.get(f"/sacks/{received['sacks'][0]['code']}")
    assert sack["net_kg"] == sack["on_hand_kg"] == kg(net)
    assert (sack["gross_kg"], sack["tare_kg"]) == packaging
    assert api.get("/sacks")["items"] == [sack]
    book_is_sound()


@pytest.mark.parametrize(
    ("weights", "lot", "pointer", "said"),
    [
        ({}, {}, "#/lots/0/sacks/0", "give net_kg, or gross_kg with its tare"),
        ({"tare_kg": 1}, {}, "#/lots/0/sacks/0", "tare_kg goes with gross_kg"),
        ({"tare_kg": 1, "net_kg": 60}, {}, "#/lots/0/sacks/0", "tare_kg goes with gross_kg"),
        ({"gross_kg": 60, "tare_kg": 60}, {}, "#/lots/0/sacks/0", "leaves nothing"),
        ({"gross_kg": 60, "tare_kg": 61}, {}, "#/lots/0/sacks/0", "leaves nothing"),
        ({"gross_kg": 61, "tare_kg": 1, "net_kg": kg("60.001")}, {}, "#/lots/0/sacks/0",
         "net 60.001 kg is not gross 61.0 kg less tare 1.0 kg, 60.0 kg"),
        ({"gross_kg": 60, "net_kg": kg("60.001")}, {}, "#/lots/0/sacks/0", "is above gross"),
        ({"gross_kg": 61}, {}, "#/lots/0", "sacks/0: gross_kg needs tare_kg beside it"),
        ({"gross_kg": kg("0.98")}, {"tare_sample": TEN}, "#/lots/0", "sacks/0: gross 0.98 kg"),
        ({"net_kg": 60}, {"tare_sample": {"empties": 0, "kg": 1}}, "#/lots/0/tare_sample/empties",
         "greater than or equal to 1"),
        ({"net_kg": 60}, {"tare_sample": {"empties": 1, "kg": 0}}, "#/lots/0/tare_sample/kg",
         "above zero"),
        ({"net_kg": 60, "condition": "sweepings"}, {}, "#/lots/0/sacks/0/condition", "'sound'"),
        ({"net_kg": 60}, {"sweepings_kg": 0}, "#/lots/0/sweepings_kg", "above zero"),
    ],
)  # fmt: skip
def test_weights_that_contradict_each_other_are_refused_and_nothing_is_stored(
    api: Api, weights: dict[str, Any], lot: dict[str, Any], pointer: str, said: str
) -> None:
    furnish(api)
    before = api.get("/entries?limit=500")

    refusal = api.refuse("/deliveries", delivery(weights, **lot), 422, "invalid")

    [error] = refusal["errors"]
    assert error["pointer"] == pointer
    assert said in error["detail"]
    assert api.get("/entries?limit=500") == before


def test_sacks_of_one_gross_weight_share_the_measured_tare(api: Api) -> None:
    furnish(api)
    sample = {"empties": 10, "kg": kg("9.805")}

    lot = api.post("/deliveries", delivery({"count": 3, "gross_kg": 61}, tare_sample=sample))

    # 0.9805 kg a sack is 0.981 kg, half a gram going up.
    assert [sack["net_kg"] for sack in lot["lots"][0]["sacks"]] == [kg("60.019")] * 3
