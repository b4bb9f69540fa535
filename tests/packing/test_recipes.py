"""Recipes: what a blend is held against, version by version."""

from collections.abc import Callable, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.packing.recipes.rules import REWORK, Component, off_recipe
from tests.api import Api, kg, problem
from tests.makers import furnish, receive, roast, sack_codes

HOUSE = {
    "name": "House", "tolerance": 2, "rework_at_most_pct": 5, "note": "round",
    "components": [{"name": "Sidama", "share_pct": 60}, {"name": "Huila", "share_pct": 40}],
}  # fmt: skip


@pytest.fixture(autouse=True)
def roasts(api: Api) -> Mapping[str, str]:
    """Three roasts of 30 kg: of the styles Sidama and Huila, and one of no style."""
    furnish(api)
    sacks = sack_codes(receive(api, 60, 60, 60))
    styles = ("Sidama", "Huila", None)
    for sack, style in zip(sacks, styles, strict=True):
        roast(api, {sack: 36}, 30, style=style, code=f"ROAST-{style or 'OTHER'}")
    return {style or "other": f"ROAST-{style or 'OTHER'}" for style in styles}


def mix(sidama: Any, huila: Any, **more: Any) -> dict[str, Any]:
    parts = [{"unit": "ROAST-SIDAMA", "kg": sidama}, {"unit": "ROAST-HUILA", "kg": huila}]
    return {"recipe": "house", "parts": parts} | more


def test_a_blend_by_the_recipe_says_what_stands_for_what(api: Api) -> None:
    api.post("/recipes", HOUSE)

    made = api.post("/blends", mix(12, 8))

    assert (made["recipe"], made["recipe_version"], made["off_recipe_reason"]) == (
        "House", 1, None,
    )  # fmt: skip
    assert [(part["component"], part["share_pct"]) for part in made["parts"]] == [
        ("Sidama", 60), ("Huila", 40),
    ]  # fmt: skip
    assert api.get(f"/blends/{made['code']}") == made


@pytest.mark.parametrize("sidama", [kg("11.6"), kg("12.4")])
def test_a_blend_at_the_edge_of_the_tolerance_is_taken(api: Api, sidama: Decimal) -> None:
    api.post("/recipes", HOUSE)

    assert api.post("/blends", mix(sidama, 20 - sidama))["kg"] == 20


@pytest.mark.parametrize("sidama", [kg("11.599"), kg("12.401")])
def test_a_gram_beyond_the_tolerance_is_refused_with_the_figures(api: Api, sidama: Decimal) -> None:
    api.post("/recipes", HOUSE)

    refused = api.refuse("/blends", mix(sidama, 20 - sidama), 409, "off-recipe")

    assert [each["component"] for each in refused["off"]] == ["Sidama", "Huila"]
    assert refused["off"][0]["share_pct"] == sidama * 5
    assert (refused["off"][0]["wanted_pct"], refused["off"][0]["tolerance"]) == (60, 2)
    assert api.get("/blends")["items"] == []
    assert api.get("/roasts/ROAST-SIDAMA")["left_kg"] == 30


def test_quality_may_blend_off_the_recipe_and_says_why(
    api: Api, api_as: Callable[..., Api]
) -> None:
    api.post("/recipes", HOUSE)
    off = mix(10, 10, off_recipe_reason="the last of the Sidama tastes thin")

    refused = api_as("roaster").refuse("/blends", off, 403, "forbidden")
    made = api_as("quality").post("/blends", off)

    assert refused["permission"] == "recipes:deviate"
    assert made["off_recipe_reason"] == "the last of the Sidama tastes thin"
    assert api.get(f"/blends/{made['code']}") == made


def test_a_reason_that_was_not_needed_is_not_kept(api: Api, api_as: Callable[..., Api]) -> None:
    api.post("/recipes", HOUSE)

    made = api_as("roaster").post("/blends", mix(12, 8, off_recipe_reason="to be sure"))

    assert made["off_recipe_reason"] is None


def test_a_part_that_names_no_component_is_asked_for_it(api: Api) -> None:
    api.post("/recipes", HOUSE)
    parts = [{"unit": "ROAST-OTHER", "kg": 12}, {"unit": "ROAST-HUILA", "kg": 8}]

    refused = api.refuse("/blends", {"recipe": "House", "parts": parts}, 422, "invalid")
    parts[0]["component"] = " sidama "
    made = api.post("/blends", {"recipe": "House", "parts": parts})

    assert refused["errors"][0]["pointer"] == "#/parts/0/component"
    assert "Sidama, Huila, rework" in refused["errors"][0]["detail"]
    assert made["parts"][0]["component"] == "Sidama"


def test_a_unit_stands_for_one_component(api: Api) -> None:
    api.post("/recipes", HOUSE)
    parts = [
        {"unit": "ROAST-SIDAMA", "kg": 12},
        {"unit": "ROAST-SIDAMA", "kg": 8, "component": "Huila"},
    ]

    refused = api.refuse("/blends", {"recipe": "House", "parts": parts}, 422, "invalid")

    assert refused["errors"][0]["pointer"] == "#/parts/1/component"


def test_rework_goes_in_up_to_its_share_and_moves_no_component(api: Api) -> None:
    # Five of a hundred: 1 kg of 20, ends included (our rule).
    api.post("/recipes", HOUSE)
    rework = {"unit": "ROAST-OTHER", "component": "rework"}

    def with_rework(grams: Decimal) -> dict[str, Any]:
        body = mix(kg("11.4"), kg("7.6"))
        return body | {"parts": [*body["parts"], rework | {"kg": grams}]}

    refused = api.refuse("/blends", with_rework(kg("1.001")), 409, "off-recipe")
    made = api.post("/blends", with_rework(kg("1")))

    assert [each["component"] for each in refused["off"]] == ["rework"]
    assert made["parts"][2]["component"] == "rework"


def test_a_blend_of_a_recipe_is_a_component_by_its_name(api: Api) -> None:
    api.post("/recipes", HOUSE | {"name": "Base"})
    whole = {"name": "Twice", "components": [{"name": "Base", "share_pct": 100}]}
    api.post("/recipes", whole)
    base = api.post("/blends", mix(12, 8, recipe="Base"))

    made = api.post("/blends", {"recipe": "Twice", "parts": [{"unit": base["code"], "kg": 5}]})

    assert made["parts"][0]["component"] == "Base"


def test_a_changed_recipe_holds_the_next_blend(api: Api) -> None:
    etag = api.send("POST", "/recipes", HOUSE).headers["etag"]
    before = api.post("/blends", mix(6, 4))
    halves = [{"name": "Sidama", "share_pct": 50}, {"name": "Huila", "share_pct": 50}]

    api.send("PATCH", "/recipes/House", {"components": halves}, If_Match=etag)
    api.refuse("/blends", mix(6, 4), 409, "off-recipe")
    after = api.post("/blends", mix(5, 5))

    assert (before["recipe_version"], after["recipe_version"]) == (1, 2)
    assert api.get(f"/blends/{before['code']}") == before
    versions = api.get("/recipes/House/versions")["items"]
    assert [each["card"]["components"][0]["share_pct"] for each in versions] == [60, 50]


def test_a_recipe_that_is_no_card_stays_a_word(api: Api) -> None:
    made = api.post("/blends", mix(1, 9, recipe="whatever is left"))

    assert (made["recipe"], made["recipe_version"]) == ("whatever is left", None)
    assert made["parts"][0]["component"] is None


def shares(*said: Any, **more: Any) -> dict[str, Any]:
    components = [{"name": name, "share_pct": share} for name, share in said]
    return {"name": "X", "components": components} | more


@pytest.mark.parametrize(
    ("card", "pointer", "said"),
    [
        (shares(("A", 60), ("B", 39)), "#/components", "add up to 99.0 %, not 100 %"),
        (shares(("A", 60), (" a ", 40)), "#/components", "named twice: a"),
        (shares(("A", 100), ("B", 0)), "#/components", "0 % is none"),
        (shares(("Rework", 100)), "#/components", "rework is no component"),
        (shares(), "#/components", "at least 1"),
        (shares(("A", kg("100.0001"))), "#/components/0/share_pct", "at most 3 decimals"),
        (shares(("A", 100), rework_at_most_pct=101), "#/rework_at_most_pct", "from 0 to 100"),
        (shares(("A", 100), tolerance=10**30), "#/tolerance", "up to 1000"),
    ],
)
def test_a_recipe_that_does_not_add_up_is_refused(
    api: Api, card: dict[str, Any], pointer: str, said: str
) -> None:
    refused = api.refuse("/recipes", card, 422, "invalid")

    assert refused["errors"][0]["pointer"] == pointer
    assert said in refused["errors"][0]["detail"]
    assert api.get("/recipes")["items"] == []


def test_thirds_add_up_where_one_takes_the_rest(api: Api) -> None:
    thirds = shares(("A", kg("33.333")), ("B", kg("33.333")), ("C", kg("33.334")))

    assert len(api.post("/recipes", thirds)["components"]) == 3


def test_a_roaster_does_not_change_recipes(api: Api, api_as: Callable[..., Api]) -> None:
    etag = api.send("POST", "/recipes", HOUSE).headers["etag"]
    roaster = api_as("roaster")

    roaster.refuse("/recipes", HOUSE, 403, "forbidden")
    problem(
        roaster.send("PATCH", "/recipes/House", {"tolerance": 50}, If_Match=etag), 403, "forbidden"
    )


@given(
    st.lists(st.integers(0, 40_000), min_size=2, max_size=2),
    st.integers(0, 5_000),
    st.integers(0, 100_000),
    st.integers(0, 10_000),
    st.integers(0, 20_000),
)
def test_shares_are_held_as_exact_fractions(
    grams: list[int], rework_g: int, first_milli: int, tolerance_milli: int, rework_milli: int
) -> None:
    components = [Component("a", first_milli), Component("b", 100_000 - first_milli)]
    filled = {"a": grams[0], "b": grams[1], REWORK: rework_g}

    off = off_recipe(filled, components, tolerance_milli, rework_milli)

    coffee, whole = sum(grams), sum(grams) + rework_g
    expected = {
        component.name
        for component, weighed in zip(components, grams, strict=True)
        if not coffee
        or abs(Fraction(weighed, coffee) - Fraction(component.share_milli, 100_000))
        > Fraction(tolerance_milli, 100_000)
    }
    if whole and Fraction(rework_g, whole) > Fraction(rework_milli, 100_000):
        expected.add(REWORK)
    assert {each.component for each in off} == expected
