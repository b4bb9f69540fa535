"""How old green is, and what a newer crop came in after."""

from datetime import UTC, datetime, timedelta
from typing import Any

from tests.api import Api
from tests.makers import furnish, receive


def _day(ago: int) -> str:
    return (datetime.now(UTC).date() - timedelta(days=ago)).isoformat()


def _arrived(api: Api, lot: str, ago: int, sacks: int = 1, **more: Any) -> str:
    """Receive a lot so many days ago; the code of its first sack."""
    fields = {"code": lot, "name": lot, "origin": "ET", "sacks": [{"count": sacks, "net_kg": 60}]}
    body = {"supplier": "Finca El Roble", "received_at": f"{_day(ago)}T00:00:00Z",
            "lots": [fields | more]}  # fmt: skip
    sack: str = api.post("/deliveries", body)["lots"][0]["sacks"][0]["code"]
    return sack


def test_lots_on_hand_show_their_age_and_what_is_past_crop_or_due_a_reading(api: Api) -> None:
    # About a year of good storage: a green-coffee trader's advice. Past crop: a newer crop of the
    # origin is there; the trade's words differ, this is our own rule.
    furnish(api)
    year = datetime.now(UTC).year
    _arrived(api, "GL-OLD", 350, crop_year=f"{year - 2}/{str(year - 1)[2:]}",
             harvest_ended_on=_day(400))  # fmt: skip
    _arrived(api, "GL-NEW", 10, sacks=2, crop_year=f"{year - 1}/{str(year)[2:]}",
             harvest_ended_on=_day(30))  # fmt: skip
    _arrived(api, "GL-MID", 200, origin="BR", crop_year=str(year - 1),
             harvest_ended_on=_day(300))  # fmt: skip
    _arrived(api, "GL-WORD", 20, crop_year="May to July")
    gone = _arrived(api, "GL-GONE", 5)
    api.post("/adjustments", {"unit": gone, "kg": -60, "reason": "destroyed"})
    api.post("/readings", {"subject": "GL-NEW", "kind": "moisture", "value": 11})

    lots = {each["lot"]: each for each in api.get("/ageing")["items"]}

    assert list(lots) == ["GL-OLD", "GL-NEW", "GL-MID", "GL-WORD"]
    assert [each["crop_age"]["light"] for each in lots.values()] == [
        "red", "green", "amber", "green",
    ]  # fmt: skip
    assert [each["days_since_harvest"] for each in lots.values()] == [400, 30, 300, None]
    assert [each["days_since_arrival"] for each in lots.values()] == [350, 10, 200, 20]
    assert [each["newer_crop"] for each in lots.values()] == ["GL-NEW", None, None, None]
    assert lots["GL-NEW"]["on_hand_kg"] == 120

    def listed(query: str) -> list[str]:
        return [each["lot"] for each in api.get(f"/ageing?{query}")["items"]]

    assert listed("past_crop=true") == ["GL-OLD"]
    assert listed("reading_due=true") == ["GL-OLD", "GL-MID", "GL-WORD"]
    assert listed("light=amber") == ["GL-MID"]
    assert listed("origin=et&past_crop=false") == ["GL-NEW", "GL-WORD"]
    following = api.get("/ageing?limit=3")["next"]
    assert listed(f"limit=3&cursor={following}") == ["GL-WORD"]


def test_a_crop_of_another_species_makes_nothing_past_crop(api: Api) -> None:
    furnish(api)
    receive(api, 60, lot="GL-1", crop_year="2023", species="arabica")
    receive(api, 60, lot="GL-2", crop_year="2025", species="robusta")

    assert api.get("/ageing?past_crop=true")["items"] == []
