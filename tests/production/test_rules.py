"""Recipes taken apart: shares by hand, and what is there taken off once."""

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from app.packing.recipes.rules import Component, round_trip
from app.production.rules import Cards, Coffee, Need, explode

CARDS = Cards(
    {
        "house": [Component("Base", 60_000), Component("Fruit", 40_000)],
        "base": [Component("Cerrado", 66_667), Component("Huila", 33_333)],
        "festive": [Component("House", 50_000), Component("Huila", 25_000),
                    Component("spice", 25_000)],
    },
    {"cerrado", "huila", "fruit"},
)  # fmt: skip


def recipe(name: str) -> Coffee:
    return Coffee("recipe", name)


def style(name: str) -> Coffee:
    return Coffee("style", name)


def test_recipes_of_recipes_come_apart_to_styles() -> None:
    # Our own arithmetic, by hand: 10 kg of house and 4 of festive, which is half house.
    found = explode({recipe("house"): Fraction(10_000), recipe("festive"): Fraction(4_000)},
                    CARDS, {})  # fmt: skip

    made = {coffee: need.to_make_g for coffee, need in found.coffees.items()}
    assert made[recipe("house")] == 10_000 + 2_000
    assert made[recipe("base")] == Fraction(12_000) * 6 / 10
    assert made[style("fruit")] == Fraction(12_000) * 4 / 10
    assert made[style("cerrado")] == Fraction(7_200) * 66_667 / 100_000
    assert made[style("huila")] == Fraction(7_200) * 33_333 / 100_000 + 1_000
    assert found.unknown == {"spice": "festive"}
    assert found.endless == []


def test_what_is_there_is_taken_off_once_and_before_it_is_taken_apart() -> None:
    on_hand = {recipe("house"): 5_000, recipe("base"): 1_000, style("huila"): 500}

    found = explode({recipe("house"): Fraction(10_000), style("huila"): Fraction(300)},
                    CARDS, on_hand)  # fmt: skip

    # Our own arithmetic: 5 kg of house are left, so 3 of base, of which 1 is there; of 2 kg a third
    # is Huila.
    assert found.coffees[recipe("house")].to_make_g == 5_000
    assert found.coffees[recipe("base")].to_make_g == 2_000
    huila = found.coffees[style("huila")]
    assert huila.wanted_g == 300 + Fraction(2_000) * 33_333 / 100_000
    assert huila == Need(huila.wanted_g, Fraction(500), huila.wanted_g - 500)


def test_more_on_hand_than_is_wanted_leaves_nothing_to_make() -> None:
    found = explode({recipe("house"): Fraction(10)}, CARDS, {recipe("house"): 11})

    assert found.coffees[recipe("house")] == Need(Fraction(10), Fraction(10), Fraction(0))
    assert found.coffees[style("fruit")].wanted_g == 0


def test_a_recipe_that_runs_round_is_named_and_not_followed() -> None:
    # Cards refuse it; renaming cards afterwards could still bring it about.
    cards = Cards({"a": [Component("b", 100_000)], "b": [Component("a", 100_000)]}, set())

    assert explode({recipe("a"): Fraction(1)}, cards, {}).endless == ["a"]


@given(
    house=st.integers(0, 10**6), festive=st.integers(0, 10**6),
    there=st.dictionaries(
        st.sampled_from([recipe("house"), recipe("base"), style("huila"), style("fruit")]),
        st.integers(0, 10**6),
    ),
)  # fmt: skip
def test_no_coffee_is_lost_between_bags_and_styles(
    house: int, festive: int, there: dict[Coffee, int]
) -> None:
    wanted = {recipe("house"): Fraction(house), recipe("festive"): Fraction(festive)}

    found = explode(wanted, CARDS, there)

    taken = sum(need.on_hand_g for need in found.coffees.values())
    to_roast = sum(
        need.to_make_g for coffee, need in found.coffees.items() if coffee.noun == "style"
    )
    spice = sum(part.grams for part in found.parts["festive"] if part.coffee is None)
    assert taken + to_roast + spice == house + festive
    assert all(need.on_hand_g <= there.get(c, 0) for c, need in found.coffees.items())


def test_a_way_back_to_a_recipe_is_found_however_long() -> None:
    made_of = {"a": ["x", "b"], "b": ["c"], "c": ["d", "e"], "e": ["a"]}

    assert round_trip(made_of, "a") == ["a", "b", "c", "e", "a"]
    assert round_trip(made_of | {"e": ["f"]}, "a") is None
    assert round_trip({"a": ["a"]}, "a") == ["a", "a"]
