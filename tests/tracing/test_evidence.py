"""Evidence seen from any unit: one lot without it makes everything it went into incomplete."""

from collections.abc import Callable
from typing import Any

import pytest
from fastapi import FastAPI

from app.settings import Settings
from tests.api import Api, kg
from tests.green.test_due_diligence import complete, introduce_supplier
from tests.makers import blend, dispatch, furnish, pack, receive, roast, sack_codes


@pytest.fixture
def evidenced(api: Api) -> Api:
    """A roastery with a lot of whole evidence, GL-1, and one without any, GL-2."""
    furnish(api)
    introduce_supplier(api)
    receive(api, 60, 60, lot="GL-1")
    receive(api, 60, lot="GL-2")
    complete(api, "GL-1")
    return api


def first_sack(api: Api, lot: str) -> str:
    code: str = api.get(f"/sacks?lot={lot}")["items"][0]["code"]
    return code


def behind(api: Api, code: str) -> tuple[bool, list[str], list[str]]:
    answer = api.get(f"/evidence/{code}")
    return answer["complete"], [each["lot"] for each in answer["lots"]], answer["without_evidence"]


def test_one_lot_without_plots_makes_a_blend_incomplete_seen_from_any_bag(
    evidenced: Api, book_is_sound: Callable[[], None]
) -> None:
    # Regulation (EU) 2023/1115, Art. 3 and the Commission's questions and answers 1.4 and 1.17,
    # as quoted in a research note of September 2026: no mixing with what is of unknown origin.
    whole = roast(evidenced, {first_sack(evidenced, "GL-1"): 60}, 51)["code"]
    unknown = roast(evidenced, {first_sack(evidenced, "GL-2"): 1}, kg("0.85"))["code"]
    pure = pack(evidenced, {whole: 10}, 40)["code"]
    mixed = blend(evidenced, {whole: 40, unknown: kg("0.001")})["code"]
    bags = pack(evidenced, {mixed: 10}, 40)["code"]
    sent = dispatch(evidenced, {bags: 4})["code"]
    back = evidenced.post(
        "/returns", {"dispatch": sent, "lines": [{"pack": bags, "bags": 1}], "reason": "torn"}
    )["lines"][0]["code"]

    for code in ("GL-1", first_sack(evidenced, "GL-1"), whole, pure):
        assert behind(evidenced, code) == (True, ["GL-1"], [])
    for code in (unknown, "GL-2"):
        assert behind(evidenced, code) == (False, ["GL-2"], ["GL-2"])
    for code in (mixed, bags, sent, back):
        assert behind(evidenced, code) == (False, ["GL-1", "GL-2"], ["GL-2"])
    book_is_sound()


def test_evidence_that_comes_later_completes_what_was_made_before(evidenced: Api) -> None:
    mixed = roast(
        evidenced, {first_sack(evidenced, "GL-1"): 30, first_sack(evidenced, "GL-2"): 30}, 51
    )["code"]
    before = behind(evidenced, mixed)

    complete(evidenced, "GL-2")

    assert before == (False, ["GL-1", "GL-2"], ["GL-2"])
    assert behind(evidenced, mixed) == (True, ["GL-1", "GL-2"], [])


def test_what_lacks_is_said_of_each_lot(evidenced: Api) -> None:
    answer = evidenced.get("/evidence/GL-2")

    assert answer["of"] == {"code": "GL-2", "kind": "lot"}
    [lot] = answer["lots"]
    assert (lot["lot"], lot["origin"], lot["supplier"]) == ("GL-2", "ET", "Finca El Roble")
    assert [each["what"] for each in lot["lacking"]] == [
        "role", "plots", "production_period", "hs_code", "statement",
    ]  # fmt: skip
    assert all(each["why"] for each in lot["lacking"])
    assert answer["possible_contact"] is None
    assert "competent authority" in answer["caution"]


def test_a_lot_that_may_have_left_a_rest_on_a_machine_is_listed_apart(evidenced: Api) -> None:
    earlier, later = "2026-03-03T07:00:00Z", "2026-03-03T08:00:00Z"
    roast(evidenced, {first_sack(evidenced, "GL-2"): 30}, kg("25.5"), roasted_at=earlier)
    whole = roast(evidenced, {first_sack(evidenced, "GL-1"): 30}, kg("25.5"), roasted_at=later)[
        "code"
    ]

    answer = evidenced.get(f"/evidence/{whole}?carry_over=true")

    assert answer["complete"] is True
    assert [each["lot"] for each in answer["lots"]] == ["GL-1"]
    [touched] = answer["possible_contact"]
    assert (touched["lot"], touched["complete"]) == ("GL-2", False)
    evidenced.post("/machines/DRUM-75/clean-downs", {"cleaned_at": "2026-03-03T07:30:00Z"})
    assert evidenced.get(f"/evidence/{whole}?carry_over=true")["possible_contact"] == []


def test_evidence_of_what_is_not_there_is_refused(evidenced: Api) -> None:
    made = roast(evidenced, {first_sack(evidenced, "GL-1"): 30}, kg("25.5"))["code"]
    evidenced.post(f"/units/{made}/void", {"reason": "typed twice"})

    def refused(path: str, status: int) -> None:
        assert evidenced.send("GET", path).status_code == status

    refused(f"/evidence/{made}", 409)
    refused("/evidence/GL-404", 404)
    refused("/lots/GL-404/evidence", 404)
    refused(f"/lots/{first_sack(evidenced, 'GL-1')}/evidence", 409)


def send(api: Api, sack: str, day: str) -> dict[str, Any]:
    made = roast(api, {sack: 1}, kg("0.85"), roasted_at=f"{day}T06:00:00Z")["code"]
    bags = pack(api, {made: kg("0.5")}, 2, packed_at=f"{day}T07:00:00Z")["code"]
    return dispatch(api, {bags: 2}, dispatched_at=f"{day}T23:30:00-01:00")


def test_evidence_is_kept_for_five_years_after_the_first_dispatch(
    evidenced: Api, service: FastAPI
) -> None:
    # Regulation (EU) 2023/1115, Art. 9: five years from placing on the market. That this is the
    # day of the first dispatch of anything of the lot is our reading.
    def kept() -> list[str | None]:
        shown = evidenced.get("/lots/GL-1/evidence")
        return [
            shown["placed_on_market_on"], shown["retained_until"],
            shown["last_dispatched_on"], shown["last_retained_until"],
        ]  # fmt: skip

    before = kept()
    second = send(evidenced, first_sack(evidenced, "GL-1"), "2026-05-20")
    send(evidenced, first_sack(evidenced, "GL-1"), "2026-03-09")
    both = kept()
    evidenced.post(f"/units/{second['code']}/void", {"reason": "never left"})
    settings: Settings = service.state.settings
    service.state.settings = settings.model_copy(update={"eudr_kept_years": 10})

    assert before == [None] * 4
    assert both == ["2026-03-10", "2031-03-10", "2026-05-21", "2031-05-21"]
    assert kept() == ["2026-03-10", "2036-03-10", "2026-03-10", "2036-03-10"]


def test_the_dates_of_the_regulation_come_from_the_settings(
    evidenced: Api, service: FastAPI
) -> None:
    # Regulation (EU) 2023/1115 as amended by 2025/2650: applies from 30 December 2026, from 30 June
    # 2027 for micro and small firms set up by the end of 2024; land deforested after 31 December
    # 2020. The dates of application have moved before.
    shown = evidenced.get("/lots/GL-1/evidence")
    assert (shown["applies_on"], shown["cut_off_on"]) == ("2026-12-30", "2020-12-31")
    settings = Settings(eudr_applies_on="2027-06-30", _env_file=None)

    service.state.settings = settings

    assert evidenced.get("/lots/GL-1/evidence")["applies_on"] == "2027-06-30"


def test_a_roastery_that_asks_for_a_trader_s_plots_says_so_in_its_settings(
    evidenced: Api, service: FastAPI
) -> None:
    delivery = evidenced.get("/lots/GL-2")["delivery"]
    bought = {"role": "trader", "from_operator": False}
    evidenced.post(f"/deliveries/{delivery}/due-diligence", bought)
    by_law = behind(evidenced, "GL-2")
    settings: Settings = service.state.settings

    service.state.settings = settings.model_copy(update={"eudr_trader_plots": True})

    assert by_law == (True, ["GL-2"], [])
    assert behind(evidenced, "GL-2") == (False, ["GL-2"], ["GL-2"])


def test_every_one_of_many_lots_is_named(evidenced: Api) -> None:
    sacks = [
        code for lot in range(30) for code in sack_codes(receive(evidenced, 1, lot=f"M-{lot}"))
    ]
    made = roast(evidenced, dict.fromkeys(sacks, kg("0.5")), kg("12.75"))["code"]

    whole, lots, without = behind(evidenced, made)

    assert not whole
    assert len(lots) == len(without) == 30
