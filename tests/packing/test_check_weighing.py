"""Checks of weight of packs: judged, kept, and held when they are rejected."""

import re
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from app.packing.weighing.advice import Advice, advise
from app.settings import Settings
from app.standards.average_quantity import Check, judge, limits, plan
from tests.api import Api, kg
from tests.makers import furnish, receive, roast, sack_codes

G = Decimal
SOUND = [G("250.4")] * 30


@pytest.fixture(autouse=True)
def api_with_a_pack(api: Api) -> Api:
    """PACK-1 is a pack of 200 bags of 250 g."""
    furnish(api)
    sack = sack_codes(receive(api, 70))[0]
    roast(api, {sack: 70}, 60, code="ROAST-1")
    made = {"code": "PACK-1", "product": "HOUSE-250", "bags": 200}
    api.post("/packs", made | {"from": [{"unit": "ROAST-1", "kg": 52}]})
    return api


def weigh(api: Api, weights: list[Decimal], **more: Any) -> dict[str, Any]:
    checked: dict[str, Any] = api.post(
        "/packs/PACK-1/check-weighings", {"weights_g": weights} | more
    )
    return checked


ONE_BAG = {"customer": "Café Nord", "lines": [{"pack": "PACK-1", "bags": 1}]}


def test_a_check_says_what_the_weights_were_held_against(api: Api) -> None:
    # Directive 76/211/EEC, Annex I 2.4 (error 9 g) and Annex II 2.2.1 (30 of 200, 1 accepted).
    checked = weigh(api, SOUND, instrument="SCALE-2", weighed_at="2026-03-04T09:00:00Z")

    assert checked["limits"] == {
        "nominal_g": 250, "error_g": kg("9.0"), "t1_g": kg("241"), "t2_g": kg("232"),
        "scale_error_g": kg("1.8"),
    }  # fmt: skip
    assert checked["contents"] == {
        "weighed": 30, "defective": 0, "accept_at_most": 1, "reject_from": 3, "below_t2": 0,
        "finding": "accepted",
    }  # fmt: skip
    assert checked["mean"] == {
        "of": 30, "mean_g": kg("250.4"), "deviation_g": kg("0"), "limit_g": kg("250"),
        "finding": "accepted",
    }  # fmt: skip
    assert (checked["finding"], checked["plan"], checked["batch_bags"]) == (
        "accepted", "double", 200,
    )  # fmt: skip
    assert (checked["warnings"], checked["hold"]) == ([], None)
    assert (checked["weighed_by"], checked["weighed_at"]) == ("admin", "2026-03-04T09:00:00Z")


def test_checks_can_be_read_again(api: Api) -> None:
    first, second = weigh(api, SOUND), weigh(api, SOUND, note="after the break")

    assert api.get("/check-weighings?pack=PACK-1")["items"] == [first, second]
    assert api.get(f"/check-weighings/{second['id']}") == second
    assert api.send("GET", "/check-weighings/99").status_code == 404


def test_a_rejected_pack_does_not_leave(api: Api) -> None:
    checked = weigh(api, [G(240)] * 3 + [G(252)] * 27)

    assert checked["finding"] == "rejected"
    assert api.get("/packs/PACK-1")["held"] is True
    api.refuse("/dispatches", ONE_BAG, 409, "on-hold")
    hold = next(each for each in api.get("/holds")["items"] if each["id"] == checked["hold"])
    assert "3 of 30 bags defective" in hold["reason"]


class TestWithoutTheHold:
    @pytest.fixture
    def settings(self, settings: Settings) -> Settings:
        return settings.model_copy(update={"hold_on_failed_weighing": False})

    def test_a_rejected_pack_may_leave(self, api: Api) -> None:
        checked = weigh(api, [G(240)] * 3 + [G(252)] * 27)

        assert (checked["finding"], checked["hold"]) == ("rejected", None)
        api.post("/dispatches", ONE_BAG)


def test_an_undecided_first_sample_asks_for_the_second(api: Api) -> None:
    first = [G(240)] * 2 + [G(252)] * 28

    undecided = weigh(api, first)
    decided = weigh(api, first + [G(252)] * 30)

    assert (undecided["finding"], undecided["hold"]) == ("second_sample", None)
    assert "does not decide" in undecided["warnings"][0]
    assert (decided["finding"], decided["contents"]["weighed"]) == ("accepted", 60)


def test_one_bag_below_t2_stops_the_pack(api: Api) -> None:
    checked = weigh(api, [G("231.999")] + [G(252)] * 29)

    assert (checked["contents"]["finding"], checked["contents"]["below_t2"]) == ("accepted", 1)
    assert checked["finding"] == "rejected"
    assert "below T2 (232.0 g)" in checked["warnings"][0]


def test_a_mean_below_the_label_that_passes_is_pointed_out(api: Api) -> None:
    # Our rule: the test of a sample is no target.
    checked = weigh(api, [G("249.8"), G("249.9"), G("250.2")] * 10)

    assert checked["finding"] == "accepted"
    assert checked["mean"]["mean_g"] == kg("249.967")
    assert "no target to fill to" in checked["warnings"][0]


@pytest.mark.parametrize(
    ("weights", "advice"),
    # Our rule; T1 is 241 g, T2 232 g.
    [
        (["250"] * 30, "go_on"), (["249.999"] + ["250"] * 29, "warn"),
        (["241"] + ["251"] * 29, "go_on"), (["240.999"] + ["251"] * 29, "warn"),
        (["232"] + ["251"] * 29, "warn"), (["231.999"] + ["251"] * 29, "stop"),
    ],
)  # fmt: skip
def test_whoever_runs_the_line_is_told_what_to_do(
    api: Api, weights: list[str], advice: str
) -> None:
    checked = weigh(api, [G(each) for each in weights])

    assert checked["advice"] == advice
    assert bool(checked["warnings"]) is (advice != "go_on")


def test_a_sample_that_passes_may_still_be_one_to_warn_of() -> None:
    # UK government, "Packaged goods": the mean is not below nominal. The weights are made up: their
    # mean is 249.900 g and one of thirty is below T1, which both tests allow.
    weights = (
        "250.8 249.6 251.2 250.1 248.9 250.4 252.0 249.2 250.9 251.5 247.8 250.3 249.9 250.6 251.1 "
        "248.4 250.2 249.7 251.8 250.0 240.6 250.7 249.5 250.9 251.3 249.0 250.5 248.7 251.0 250.4"
    )
    net_mg = [int(G(each) * 1000) for each in weights.split()]
    held_against = limits(250, Check.DOUBLE)

    assert judge(plan(Check.DOUBLE, 400), held_against, net_mg).finding == "accepted"
    assert advise(Check.DOUBLE, held_against, net_mg) is Advice.WARN
    # Handbook 133 knows one limit (from memory): nothing is below a T2 there.
    assert advise(Check.US, limits(250, Check.US), [200_000]) is Advice.WARN


def test_gross_weights_are_taken_less_the_bag(api: Api) -> None:
    checked = weigh(api, [G("262.75")] * 30, tare_g=G("12.35"))

    assert checked["weights_g"] == [kg("250.4")] * 30
    assert checked["tare_g"] == kg("12.35")


def test_every_bag_of_a_small_batch_is_weighed(api: Api) -> None:
    checked = weigh(api, [G(251)] * 60, batch_bags=60)

    assert (checked["plan"], checked["contents"]["accept_at_most"]) == ("every", 3)


def test_the_american_plan_shows_its_one_limit(api: Api) -> None:
    # NIST Handbook 133, from memory.
    checked = weigh(api, [G(251)] * 12, plan="us")

    assert (checked["limits"]["t2_g"], checked["limits"]["scale_error_g"]) == (None, None)
    assert checked["finding"] == "accepted"


@pytest.mark.parametrize(
    ("body", "pointer", "said"),
    [
        ({"weights_g": SOUND[:29]}, "#/weights_g", "30 or, .*60 weights, not 29"),
        ({"weights_g": SOUND, "batch_bags": 201}, "#/batch_bags", "the pack has 200"),
        ({"weights_g": SOUND, "batch_bags": 20}, "#/weights_g", "30 weights of a batch of 20"),
        ({"weights_g": SOUND, "plan": "every"}, "#/weights_g", "below 100 packages"),
        ({"weights_g": []}, "#/weights_g", "at least 1"),
        ({"weights_g": [0]}, "#/weights_g/0", "more than 0"),
        ({"weights_g": ["250"]}, "#/weights_g/0", "a JSON number"),
        ({"weights_g": [G("250.0001")]}, "#/weights_g/0", "finer than a milligram"),
        ({"weights_g": [60_001]}, "#/weights_g/0", "at most 60000 g"),
        ({"weights_g": SOUND, "tare_g": 251}, "#", "no more than the empty one"),
        ({"weights_g": SOUND, "plan": "none"}, "#/plan", "double"),
    ],
)
def test_a_check_that_cannot_be_judged_is_refused(
    api: Api, body: dict[str, Any], pointer: str, said: str
) -> None:
    refused = api.refuse("/packs/PACK-1/check-weighings", body, 422, "invalid")

    assert refused["errors"][0]["pointer"] == pointer
    assert re.search(said, refused["errors"][0]["detail"])
    assert api.get("/check-weighings")["items"] == []


def test_only_packs_are_weighed(api: Api) -> None:
    body = {"weights_g": SOUND}

    api.refuse("/packs/ROAST-1/check-weighings", body, 409, "wrong-kind")
    api.refuse("/packs/NEVER-WAS/check-weighings", body, 404, "unknown-code")


def test_a_voided_pack_is_not_weighed_any_more(api: Api) -> None:
    api.post("/units/PACK-1/void", {"reason": "booked twice"})

    api.refuse("/packs/PACK-1/check-weighings", {"weights_g": SOUND}, 409, "voided")


def test_a_buyer_does_not_weigh(api_as: Callable[..., Api]) -> None:
    body = {"weights_g": SOUND}

    api_as("buyer").refuse("/packs/PACK-1/check-weighings", body, 403, "forbidden")
    assert api_as("roaster").post("/packs/PACK-1/check-weighings", body)["id"] == 1
