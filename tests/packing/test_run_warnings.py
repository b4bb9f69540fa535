"""What a run of bags should not mix is pointed out, as far as the book knows."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from app.packing.rules import Roasted, warn_of_gas, warn_of_run
from app.settings import Settings
from tests.api import Api
from tests.makers import blend, furnish, pack, receive, roast, sack_codes

MONDAY = datetime(2026, 3, 2, 23, 59, tzinfo=UTC)
TUESDAY = MONDAY + timedelta(minutes=1)


def test_one_blend_of_one_day_each_is_nothing_to_point_out() -> None:
    roasts = [Roasted("R-1", MONDAY, "Brazil"), Roasted("R-2", TUESDAY, "Guji")]

    assert list(warn_of_run(["B-1"], roasts)) == []
    assert list(warn_of_run([], [])) == []


def test_a_second_blend_and_a_second_day_are_pointed_out() -> None:
    # Our rule: each of them begins a new pack.
    roasts = [Roasted("R-1", MONDAY, "Brazil"), Roasted("R-2", TUESDAY, "brazil ")]

    two_blends, two_days = warn_of_run(["B-1", "B-2"], roasts)

    assert two_blends.startswith("2 blends in one run: B-1, B-2.")
    assert two_days.startswith("Brazil: roasts of 2 days in one run: 2026-03-02, 2026-03-03.")


@pytest.mark.parametrize(("minutes", "warned"), [(-1, True), (0, False)])
def test_coffee_is_fresh_until_the_time_for_its_gas_is_over(minutes: int, warned: bool) -> None:
    packed_at = MONDAY + timedelta(days=7, minutes=minutes)

    said = list(warn_of_gas([Roasted("R-1", MONDAY, "")], packed_at, 7))

    assert bool(said) is warned
    assert not list(warn_of_gas([Roasted("R-1", MONDAY, "")], MONDAY, 0))


@pytest.fixture
def roasts(api: Api) -> list[str]:
    """Two roasts of one style on two days, and one of another style."""
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, 60))
    made = []
    for sack, style, day in zip(sacks, ("Guji", "Guji", "Brazil"), (2, 3, 3), strict=True):
        made.append(roast(
            api, {sack: 60}, 50, style=style, roasted_at=f"2026-03-0{day}T09:00:00Z"
        )["code"])  # fmt: skip
    return made


def test_a_pack_points_out_what_its_blends_mix(api: Api, roasts: list[str]) -> None:
    two_days = blend(api, {roasts[0]: 10, roasts[1]: 10, roasts[2]: 10}, code="B-1")["code"]
    one_day = blend(api, {roasts[1]: 10, roasts[2]: 10}, code="B-2")["code"]

    clean = pack(api, {one_day: 1}, 4, code="P-1")
    mixed = pack(api, {two_days: 1}, 4, code="P-2")
    both = pack(api, {one_day: 1, two_days: 1}, 8, code="P-3")

    assert clean["warnings"] == []
    assert [said[:21] for said in mixed["warnings"]] == ["Guji: roasts of 2 day"]
    assert [said[:21] for said in both["warnings"]] == [
        "2 blends in one run: ", "Guji: roasts of 2 day",
    ]  # fmt: skip
    assert api.get("/packs/P-3")["warnings"] == both["warnings"]


@pytest.mark.parametrize(
    ("has_valve", "valves", "warned"),
    [(False, False, True), (True, False, False), (None, False, False), (False, True, False)],
)
def test_only_bags_that_are_known_to_be_closed_are_pointed_out(
    api: Api, roasts: list[str], has_valve: bool | None, valves: bool, warned: bool
) -> None:
    # About a week of gas: a laboratory's page on packaging; the days are a setting.
    bag = {"code": "BAG", "name": "Bag", "kind": "bag", "unit": "piece", "has_valve": has_valve}
    valve = {"code": "VALVE", "name": "Valve", "kind": "valve", "unit": "piece"}
    used: list[dict[str, Any]] = [{"lot": "BAG-1"}] + [{"lot": "VALVE-1"}] * valves
    for card in (bag, valve):
        api.post("/materials", card)
        body = {"code": f"{card['code']}-1", "material": card["code"], "quantity": 100}
        api.post("/material-lots", body)

    made = pack(api, {roasts[1]: 1}, 4, packed_at="2026-03-09T09:00:00Z", materials=used)
    rested = pack(api, {roasts[1]: 1}, 4, packed_at="2026-03-10T09:00:00Z", materials=used)

    assert bool(made["warnings"]) is warned
    assert rested["warnings"] == []


class TestWhereNobodyWaitsForGas:
    @pytest.fixture
    def settings(self, settings: Settings) -> Settings:
        return settings.model_copy(update={"degassing_days": 0})

    def test_nothing_is_pointed_out(self, api: Api, roasts: list[str]) -> None:
        bag = {"code": "BAG", "name": "Bag", "kind": "bag", "unit": "piece", "has_valve": False}
        api.post("/materials", bag)
        api.post("/material-lots", {"code": "BAG-1", "material": "BAG", "quantity": 9})

        made = pack(
            api, {roasts[1]: 1}, 4, packed_at="2026-03-03T10:00:00Z", materials=[{"lot": "BAG-1"}]
        )

        assert made["warnings"] == []
