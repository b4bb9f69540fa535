"""What a product is made of, what a style is charged with, and recipes that run round."""

from typing import Any

import pytest

from tests.api import Api, problem
from tests.makers import furnish, pack, receive, roast

HOUSE = {"name": "House", "components": [{"name": "Base", "share_pct": 100}]}
GREEN = [{"share_pct": 60, "lots": ["gl-1", "GL-2"]}, {"share_pct": 40, "lots": ["GL-2"]}]


@pytest.fixture(autouse=True)
def cards(api: Api) -> None:
    furnish(api)
    for lot in ("GL-1", "GL-2"):
        receive(api, 60, lot=lot)
    api.post("/styles", {"name": "Filter"})
    api.post("/recipes", HOUSE)


def test_a_product_is_made_by_a_recipe_or_of_a_style(api: Api) -> None:
    body = {"sku": "F-250", "name": "Filter", "nominal_g": 250}

    made = api.post("/products", body | {"style": " filter "})
    change = {"style": None, "recipe": "HOUSE"}
    changed = api.send("PATCH", "/products/F-250", change, If_Match='"1"').json()

    assert (made["style"], made["recipe"]) == ("Filter", None)
    assert (changed["style"], changed["recipe"]) == (None, "House")
    assert api.get("/products/F-250") == changed
    assert api.get("/products/HOUSE-250")["style"] is None


def test_bags_of_other_coffee_than_the_product_is_made_of_are_pointed_out(api: Api) -> None:
    api.send("PATCH", "/products/HOUSE-250", {"style": "Filter"}, If_Match='"1"')
    sack = api.get("/sacks?lot=GL-1")["items"][0]["code"]
    roast(api, {sack: 10}, 8, code="R-F", style="filter")
    roast(api, {sack: 10}, 8, code="R-D", style="Dark")
    roast(api, {sack: 10}, 8, code="R-X")

    right = pack(api, {"R-F": 1}, 4)
    wrong = pack(api, {"R-D": 1, "R-F": 1, "R-X": 1}, 12)

    assert right["warnings"] == []
    assert wrong["warnings"][:2] == [
        "R-D is Dark; HOUSE-250 is made of Filter",
        "R-X is a roast without a name; HOUSE-250 is made of Filter",
    ]


@pytest.mark.parametrize(
    ("change", "slug", "pointer"),
    [
        ({"style": "Espresso"}, "unknown-reference", "#/style"),
        ({"recipe": "Filter"}, "unknown-reference", "#/recipe"),
        ({"recipe": "House", "style": "Filter"}, "invalid", "#/style"),
    ],
)
def test_a_product_names_one_card_that_is_there(
    api: Api, change: dict[str, Any], slug: str, pointer: str
) -> None:
    body = {"sku": "F-250", "name": "Filter", "nominal_g": 250}

    entered = api.refuse("/products", body | change, 422, slug)
    changed = problem(api.send("PATCH", "/products/HOUSE-250", change, If_Match='"1"'), 422, slug)

    assert entered["errors"][0]["pointer"] == changed["errors"][0]["pointer"] == pointer
    assert [each["version"] for each in api.get("/products")["items"]] == [1, 1]


def test_one_of_the_two_cannot_be_added_to_the_other(api: Api) -> None:
    api.send("PATCH", "/products/HOUSE-250", {"recipe": "House"}, If_Match='"1"')

    answer = api.send("PATCH", "/products/HOUSE-250", {"style": "Filter"}, If_Match='"2"')

    problem(answer, 422, "invalid")
    assert api.get("/products/HOUSE-250")["recipe"] == "House"


def test_a_style_says_of_which_lots_it_is_charged_version_by_version(api: Api) -> None:
    made = api.send("PATCH", "/styles/Filter", {"green": GREEN}, If_Match='"1"').json()
    api.send("PATCH", "/styles/Filter", {"green": None}, If_Match='"2"')

    versions = [each["card"]["green"] for each in api.get("/styles/Filter/versions")["items"]]
    assert made["green"] == [
        {"share_pct": 60, "lots": ["GL-1", "GL-2"], "component": None},
        {"share_pct": 40, "lots": ["GL-2"], "component": None},
    ]  # fmt: skip
    assert versions == [None, made["green"], None]


@pytest.mark.parametrize(
    ("green", "pointer"),
    [
        ([{"share_pct": 99, "lots": ["GL-1"]}], "#/green"),
        ([{"share_pct": 100, "lots": ["GL-1"]}, {"share_pct": 0, "lots": ["GL-2"]}], "#/green"),
        ([{"share_pct": 100, "lots": []}], "#/green/0/lots"),
        ([{"share_pct": 100, "lots": ["GL-1", "GL-9"]}], "#/green/0/lots/1"),
        ([{"share_pct": 100, "lots": ["S-000002-1"]}], "#/green/0/lots/0"),  # a sack
    ],
)
def test_slots_are_of_lots_and_make_a_charge(
    api: Api, green: list[dict[str, Any]], pointer: str
) -> None:
    entered = api.send("POST", "/styles", {"name": "Other", "green": green})
    changed = api.send("PATCH", "/styles/Filter", {"green": green}, If_Match='"1"')

    for answer in (entered, changed):
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["pointer"] == pointer
    assert [each["green"] for each in api.get("/styles")["items"]] == [None]


def test_a_recipe_is_not_made_of_itself_by_any_way(api: Api) -> None:
    base = {"name": "Base", "components": [{"name": "Filter", "share_pct": 100}]}
    api.post("/recipes", base)
    back = {"components": [{"name": " house", "share_pct": 100}]}

    refused = problem(api.send("PATCH", "/recipes/base", back, If_Match='"1"'), 422, "invalid")
    renamed = problem(
        api.send("PATCH", "/recipes/house", {"name": "base"} | back, If_Match='"1"'),
        409, "name-taken",
    )  # fmt: skip
    own = {"name": "Loop", "components": [{"name": "loop", "share_pct": 100}]}
    api.refuse("/recipes", own, 422, "invalid")

    assert refused["errors"][0] == {
        "pointer": "#/components", "detail": "made of itself: base → house → base",
    }  # fmt: skip
    assert renamed
    assert [each["version"] for each in api.get("/recipes")["items"]] == [1, 1]


def test_a_style_of_a_recipes_own_name_is_no_way_round(api: Api) -> None:
    made = api.post(
        "/recipes", {"name": "filter", "components": [{"name": "Filter", "share_pct": 100}]}
    )

    assert made["version"] == 1
