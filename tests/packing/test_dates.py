"""Dates on bags: what products ask for, what packs are given."""

from typing import Any

import pytest

from tests.api import Api, problem
from tests.makers import furnish, receive, roast, sack_codes


@pytest.fixture(autouse=True)
def roasted(api: Api) -> None:
    """ROAST-1, 60 kg."""
    furnish(api)
    sack = sack_codes(receive(api, 70))[0]
    roast(api, {sack: 70}, 60, code="ROAST-1", roasted_at="2026-03-03T08:00:00Z")


def product(api: Api, **more: Any) -> Any:
    return api.post("/products", {"sku": "NEW", "name": "New", "nominal_g": 250} | more)


def pack(api: Api, **more: Any) -> Any:
    coffee = [{"unit": "ROAST-1", "kg": 1}]
    body = {"product": "NEW", "bags": 4, "from": coffee, "packed_at": "2026-03-31T10:00:00Z"}
    return api.post("/packs", body | more)


@pytest.mark.parametrize(
    ("card", "best_before", "form", "mark", "until", "lot_mark_needed"),
    # Regulation (EU) No 1169/2011, Annex X; Directive 2011/91/EU, article 5.
    [
        ({"shelf_life_months": 2}, "2026-05-31", "day",
         "Best before 31 05 2026", "2026-05-31", False),
        ({"shelf_life_months": 3}, "2026-06-30", "day",
         "Best before 30 06 2026", "2026-06-30", False),
        ({"shelf_life_months": 11}, "2027-02-28", "month",
         "Best before end 02 2027", "2027-02-28", True),
        ({"shelf_life_months": 12}, "2027-03-31", "month",
         "Best before end 03 2027", "2027-03-31", True),
        ({"shelf_life_months": 24}, "2028-03-31", "year",
         "Best before end 2028", "2028-12-31", True),
        ({"shelf_life_days": 365}, "2027-03-31", "month",
         "Best before end 03 2027", "2027-03-31", True),
        ({"shelf_life_months": 12, "date_form": "day"}, "2027-03-31", "day",
         "Best before 31 03 2027", "2027-03-31", False),
        ({"date_form": "day"}, None, None, None, None, True),
    ],
)  # fmt: skip
def test_a_pack_is_dated_in_the_form_its_product_asks_for(
    api: Api,
    card: dict[str, Any],
    *,
    best_before: str,
    form: str | None,
    mark: str,
    until: str,
    lot_mark_needed: bool,
) -> None:
    product(api, **card)

    made = pack(api, code="P-1")

    assert (made["best_before"], made["date_form"]) == (best_before, form)
    assert made["date_mark"] == mark
    assert (made["mark_covers_until"], made["lot_mark_needed"]) == (until, lot_mark_needed)
    assert made["lot_mark"] == "L P-1"
    assert api.get("/packs/P-1") == made


def test_a_nearer_date_by_word_is_written_with_its_day(api: Api) -> None:
    product(api, shelf_life_months=12)

    made = pack(api, best_before="2026-06-30")

    assert (made["date_mark"], made["warnings"]) == ("Best before 30 06 2026", [])


def test_a_date_beyond_the_shelf_life_is_pointed_out_and_one_before_packing_refused(
    api: Api,
) -> None:
    product(api, shelf_life_months=12)
    body = {
        "product": "NEW", "bags": 4, "from": [{"unit": "ROAST-1", "kg": 1}],
        "packed_at": "2026-03-31T10:00:00Z",
    }  # fmt: skip

    refused = api.refuse("/packs", body | {"best_before": "2026-03-30"}, 422, "invalid")
    same_day, last, beyond = (
        pack(api, best_before=day) for day in ("2026-03-31", "2027-03-31", "2027-04-01")
    )

    assert refused["errors"] == [{
        "pointer": "#/best_before",
        "detail": "2026-03-30 is before the day of packing, which is 2026-03-31",
    }]  # fmt: skip
    assert (same_day["warnings"], last["warnings"]) == ([], [])
    assert beyond["warnings"] == [
        "Best before 2027-04-01 is beyond the shelf life of NEW, which ends on 2027-03-31."
    ]
    assert len(api.get("/packs")["items"]) == 3


@pytest.mark.parametrize(
    ("card", "pointer"),
    [
        ({"shelf_life_months": 12, "shelf_life_days": 365}, "#/shelf_life_months"),
        ({"shelf_life_months": 3, "date_form": "month"}, "#/date_form"),
        ({"shelf_life_months": 18, "date_form": "year"}, "#/date_form"),
        ({"shelf_life_days": 92, "date_form": "month"}, "#/date_form"),
        ({"shelf_life_months": 0}, "#/shelf_life_months"),
        ({"shelf_life_months": 121}, "#/shelf_life_months"),
        ({"date_form": "week"}, "#/date_form"),
    ],
)
def test_a_product_that_cannot_be_dated_so_is_refused(
    api: Api, card: dict[str, Any], pointer: str
) -> None:
    body = {"sku": "NEW", "name": "New", "nominal_g": 250} | card

    refused = api.refuse("/products", body, 422, "invalid")

    assert refused["errors"][0]["pointer"] == pointer
    problem(api.send("GET", "/products/NEW"), 404, "not-found")


def test_a_change_is_held_against_the_card_as_a_whole(api: Api) -> None:
    product(api, shelf_life_days=365, date_form="month")
    path = "/products/NEW"

    both = api.send("PATCH", path, {"shelf_life_months": 12}, If_Match='"1"')
    weaker = api.send("PATCH", path, {"shelf_life_days": 60}, If_Match='"1"')
    changed = api.send(
        "PATCH", path, {"shelf_life_days": None, "shelf_life_months": 12}, If_Match='"1"'
    )

    assert problem(both, 422, "invalid")["errors"][0]["pointer"] == "#/shelf_life_months"
    assert problem(weaker, 422, "invalid")["errors"][0]["pointer"] == "#/date_form"
    assert changed.status_code == 200
    card = api.get(path)
    assert (card["shelf_life_days"], card["shelf_life_months"], card["date_form"]) == (
        None, 12, "month",
    )  # fmt: skip
