"""Shares and balances as arithmetic: exact to every digit shown, and not a gram lost."""

from collections import Counter
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.shared.shares import percent
from app.tracing.rules import (
    backward_balance,
    backward_content,
    backward_shares,
    close,
    forward_balance,
    forward_shares,
    green_content,
    suspect_green,
)
from app.tracing.spread import SCALE, Spread, grams_of_both, inflows
from tests.tracing.on_paper import (
    Coffee,
    Roastery,
    balance_forward,
    content_backward,
    shares_backward,
    shares_forward,
)

GAINS_NOTHING = {"roast", "pack"}
"""Kinds that may weigh less than what went into them; the rest weigh the same."""


@st.composite
def roasteries(draw: st.DrawFn) -> Roastery:
    """Draw a roastery of up to 18 units in which nobody draws more than is there."""
    made: dict[int, tuple[str, int]] = {}
    left: Counter[int] = Counter()
    adjusted: Counter[int] = Counter()
    flows: list[tuple[int, int, int]] = []
    for unit in range(1, draw(st.integers(1, 18)) + 1):
        there = [each for each in made if left[each] > 0 and made[each][0] != "dispatch"]
        parts = draw(st.lists(st.sampled_from(there), max_size=3, unique=True)) if there else []
        inflow = 0
        for source in parts:
            grams = draw(st.integers(1, left[source]))
            flows.append((source, unit, grams))
            left[source] -= grams
            inflow += grams
        kinds = ["roast", "blend", "pack", "dispatch"] if parts else ["lot"]
        kind = draw(st.sampled_from(kinds))
        grams = inflow or draw(st.integers(1, 100_000))
        if kind in GAINS_NOTHING:
            grams -= draw(st.integers(0, grams - 1))
        made[unit] = (kind, grams)
        if kind != "dispatch":
            adjusted[unit] = draw(st.integers(-grams, grams) | st.just(0))
        left[unit] = grams + adjusted[unit]
    units = {
        unit: Coffee(kind, grams, left[unit], adjusted[unit])
        for unit, (kind, grams) in made.items()
    }
    return Roastery(units, flows)


def some_of(roastery: Roastery) -> st.SearchStrategy[set[int]]:
    return st.sets(st.sampled_from(sorted(roastery.units)), min_size=1, max_size=3)


def as_shown(value: Fraction) -> Fraction:
    """Round to six decimals of a per cent, half to even, as `round` does with fractions."""
    return round(100 * value, 6)


def assert_shown(spread: Spread, values: Mapping[int, Fraction], made_g: Mapping[int, int]) -> None:
    for unit, value in values.items():
        assert spread.exact(unit) == value
        assert Fraction(spread.percent(unit)) == as_shown(value)
        assert spread.grams(unit, made_g[unit]) == round(value * made_g[unit])


@given(st.data())
def test_forward_shares_are_those_of_exact_fractions_to_every_digit(data: st.DataObject) -> None:
    roastery = data.draw(roasteries())
    suspects = data.draw(some_of(roastery))

    spread = forward_shares(list(roastery.units), inflows(roastery.flows), suspects)

    assert_shown(spread, shares_forward(roastery, suspects), roastery.made_g())


@given(st.data())
def test_whatever_holds_any_suspect_coffee_has_a_share_and_nothing_else_has(
    data: st.DataObject,
) -> None:
    roastery = data.draw(roasteries())
    suspects = data.draw(some_of(roastery))

    spread = forward_shares(list(roastery.units), inflows(roastery.flows), suspects)

    reached = set(suspects)
    for source, target, _ in roastery.flows:  # by target, and so from the oldest
        if source in reached:
            reached.add(target)
    assert {unit for unit in roastery.units if spread.exact(unit) > 0} == reached
    assert {unit for unit in roastery.units if spread.bounds[unit] != (0, 0)} == reached


@given(st.data())
def test_green_content_is_the_suspect_green_that_went_in(data: st.DataObject) -> None:
    roastery = data.draw(roasteries())
    suspects = data.draw(some_of(roastery))
    made_g = roastery.made_g()

    spread = green_content(list(roastery.units), inflows(roastery.flows), suspects, made_g)

    green: dict[int, Fraction] = {}
    for unit in roastery.units:
        came = roastery.came(unit, green) * roastery.inflow_g(unit)
        green[unit] = Fraction(1) if unit in suspects else came / made_g[unit]
    assert_shown(spread, green, made_g)


@given(st.data())
def test_green_behind_suspects_is_all_that_went_into_them_and_only_that(
    data: st.DataObject,
) -> None:
    roastery = data.draw(roasteries())
    suspects = data.draw(some_of(roastery))
    made_g, into = roastery.made_g(), inflows(roastery.flows)

    spread = suspect_green(list(roastery.units), into, suspects, made_g, into)

    every: dict[int, Fraction] = {}
    green: dict[int, Fraction] = {}
    for unit in roastery.units:
        gained = Fraction(roastery.inflow_g(unit), made_g[unit])
        every[unit] = roastery.came(unit, every) * gained or Fraction(1)
        came = roastery.came(unit, green) * gained
        green[unit] = every[unit] if unit in suspects else came
    assert_shown(spread, green, made_g)


@given(st.data())
def test_backward_shares_are_the_parts_of_what_is_asked(data: st.DataObject) -> None:
    roastery = data.draw(roasteries())
    asked = data.draw(some_of(roastery))
    made_g = roastery.made_g()
    asked_g = {unit: made_g[unit] for unit in asked}

    spread = backward_shares(sorted(made_g, reverse=True), inflows(roastery.flows), asked_g)

    shares = shares_backward(roastery, asked)
    assert_shown(spread, shares, made_g)
    roots = [unit for unit in roastery.units if not roastery.sources(unit)]
    assert sum(shares[unit] for unit in roots) == 1
    assert all(0 <= share <= 1 for share in shares.values())


@given(st.data())
def test_backward_content_is_the_part_of_a_unit_that_went_into_what_is_asked(
    data: st.DataObject,
) -> None:
    roastery = data.draw(roasteries())
    asked = data.draw(some_of(roastery))
    order = sorted(roastery.units, reverse=True)

    spread = backward_content(order, inflows(roastery.flows), asked, roastery.units)

    by_hand = content_backward(roastery, asked)
    assert_shown(spread, by_hand, roastery.made_g())
    assert all(0 <= part <= 1 for part in by_hand.values())


@given(st.data())
def test_two_values_of_a_unit_are_multiplied_exactly(data: st.DataObject) -> None:
    roastery = data.draw(roasteries())
    made_g, into = roastery.made_g(), inflows(roastery.flows)
    one = forward_shares(list(made_g), into, data.draw(some_of(roastery)))
    other = green_content(list(made_g), into, data.draw(some_of(roastery)), made_g)

    for unit, grams in made_g.items():
        exact = one.exact(unit) * other.exact(unit) * grams
        assert grams_of_both(one, other, unit, grams) == round(exact)


@given(st.data())
def test_a_forward_balance_closes_to_the_gram(data: st.DataObject) -> None:
    roastery = data.draw(roasteries())
    suspects = data.draw(some_of(roastery))
    into = inflows(roastery.flows)
    shares = forward_shares(list(roastery.units), into, suspects)

    balance = forward_balance(roastery.units, into, shares, suspects, roastery.lines())

    received, expected = balance_forward(roastery, suspects)
    assert sum(balance.figures.values()) == balance.received_g
    assert abs(balance.received_g - received) <= Fraction(1, 2)
    for name, grams in balance.figures.items():
        assert abs(grams - expected[name]) < 1
    assert balance.accounted_pct == 100


@given(st.data())
def test_a_backward_balance_closes_to_the_gram(data: st.DataObject) -> None:
    roastery = data.draw(roasteries())
    asked = data.draw(some_of(roastery))
    into = inflows(roastery.flows)
    order = sorted(roastery.units, reverse=True)
    content = backward_content(order, into, asked, roastery.units)

    balance = backward_balance(roastery.units, into, content, asked)

    part = content_backward(roastery, asked)
    roots = [unit for unit in roastery.units if not roastery.sources(unit)]
    received = sum((part[unit] * roastery.units[unit].made_g for unit in roots), Fraction(0))
    assert sum(balance.figures.values()) == balance.received_g == round(received)
    assert balance.accounted_pct == 100
    assert all(grams >= 0 for name, grams in balance.figures.items() if name != "adjusted")
    assert balance.figures["adjusted"] <= 0


@given(st.data())
def test_coffee_asked_twice_counts_once(data: st.DataObject) -> None:
    """Ask a unit together with all it was made from: nothing is left that two of them hold."""
    roastery = data.draw(roasteries().filter(lambda each: bool(each.flows)))
    youngest = max(target for _, target, _ in roastery.flows)
    asked = {youngest, *(source for source, _ in roastery.sources(youngest))}
    into = inflows(roastery.flows)
    order = sorted(roastery.units, reverse=True)
    content = backward_content(order, into, asked, roastery.units)

    balance = backward_balance(roastery.units, into, content, asked)

    received_g = sum(
        coffee.made_g for unit, coffee in roastery.units.items() if not roastery.sources(unit)
    )
    assert balance.received_g <= received_g
    assert balance.figures["asked"] <= received_g + sum(
        max(coffee.adjusted_g, 0) for coffee in roastery.units.values()
    )


def test_half_a_gram_received_is_the_same_half_gram_accounted_for() -> None:
    """A suspect of 127 g is half of an older one, by way of thirds: 63.5 g of it are new."""
    flows = [(1, 3, 100), (2, 3, 200), (1, 4, 100), (2, 4, 100), (1, 5, 19), (3, 5, 57), (4, 5, 51)]
    made_g = {1: 1000, 2: 1000, 3: 300, 4: 200, 5: 127}
    gone_g = {unit: sum(grams for source, _, grams in flows if source == unit) for unit in made_g}
    units = {
        unit: Coffee("blend" if unit > 2 else "lot", grams, grams - gone_g[unit], 0)
        for unit, grams in made_g.items()
    }
    into = inflows(flows)
    shares = forward_shares(list(units), into, [1, 5])

    balance = forward_balance(units, into, shares, [1, 5], [])

    assert shares.exact(5) == 1
    assert abs(balance.received_g - Fraction(2127, 2)) == Fraction(1, 2)
    assert sum(balance.figures.values()) == balance.received_g
    assert balance.accounted_pct == 100


def test_a_balance_says_what_part_it_cannot_account_for() -> None:
    units = {1: Coffee("lot", 1000, 0, 0), 2: Coffee("roast", 850, 750, 0)}
    into = inflows([(1, 2, 1000)])
    shares = forward_shares([1, 2], into, [1])

    balance = forward_balance(units, into, shares, [1], [])

    assert balance.received_g == 1000
    assert sum(balance.figures.values()) == 900
    assert balance.accounted_pct == 90


@pytest.mark.parametrize(
    ("thirds", "of", "shown"),
    [
        (3, 512, "0.195312"),  # 1/512 is 0.1953125 %: to the even 2
        (9, 512, "0.585938"),  # 3/512 is 0.5859375 %: from the odd 7 up to the even 8
        (15, 512, "0.976562"),
        (21, 512, "1.367188"),
        (3, 1536, "0.065104"),  # 1/1536 is no tie
    ],
)
def test_a_tie_reached_by_way_of_thirds_is_rounded_half_to_even(
    thirds: int, of: int, shown: str
) -> None:
    """A third has no end in decimals or in binary digits, and three thirds are one again."""
    third = [(1, 3, 1), (2, 3, 2)]
    mixed = [(3, 4, thirds), (2, 4, of - thirds)]

    spread = forward_shares([1, 2, 3, 4], inflows(third + mixed), [1])

    assert spread.exact(4) == Fraction(thirds, 3 * of)
    assert spread.percent(4) == Decimal(shown)


@pytest.mark.parametrize(("of_g", "shown"), [(5, 2), (7, 4), (9, 4), (11, 6)])
def test_half_a_gram_reached_by_way_of_thirds_goes_to_the_even_gram(of_g: int, shown: int) -> None:
    half = [(1, 3, 1), (2, 3, 2), (3, 4, 6), (1, 4, 2), (2, 4, 0)]
    flows = [flow for flow in half if flow[2]]

    spread = forward_shares([1, 2, 3, 4], inflows(flows), [1])

    assert spread.exact(4) == Fraction(1, 2)
    assert spread.bounds[4][1] > 0
    assert spread.grams(4, of_g) == shown


@pytest.mark.parametrize("of_g", [10**49, 10**51 + 1, 10**60, 10**60 + 1])
def test_a_mass_beyond_all_scales_is_still_multiplied_exactly(of_g: int) -> None:
    spread = forward_shares([1, 2, 3], inflows([(1, 3, 2), (2, 3, 1)]), [1])

    assert spread.grams(3, of_g) == round(Fraction(2, 3) * of_g)


def test_a_hair_beside_a_tie_is_not_taken_for_one() -> None:
    """10**-40 above or below half a step decides, though no float could tell."""
    wide = 512 * 10**40
    for parts, shown in ((10**40 - 1, "0.195312"), (10**40, "0.195312"), (10**40 + 1, "0.195313")):
        flows = [(1, 3, parts), (2, 3, wide - parts)]

        spread = forward_shares([1, 2, 3], inflows(flows), [1])

        assert spread.percent(3) == Decimal(shown)


def test_a_book_in_which_every_unit_is_a_tie_is_still_answered() -> None:
    """Settling one tie must not visit again what another has settled."""
    length = 20_000
    flows = [(1, 3, 1), (2, 3, 2), (3, 4, 3), (2, 4, 509)]
    flows += [(unit - 1, unit, 7) for unit in range(5, length)]

    spread = forward_shares(list(range(1, length)), inflows(flows), [1])

    assert {spread.percent(unit) for unit in range(4, length)} == {Decimal("0.195312")}


def test_a_share_too_small_to_show_is_not_nothing() -> None:
    """One part in 2**200 is below every digit kept, and still its unit is reached."""
    flows = [flow for unit in range(2, 202) for flow in ((unit - 1, unit, 1), (-unit, unit, 1))]
    order = sorted({unit for source, target, _ in flows for unit in (source, target)})

    spread = forward_shares(order, inflows(flows), [1])

    assert spread.exact(201) == Fraction(1, 2**200)
    assert spread.bounds[201] != (0, 0)
    assert spread.percent(201) == 0


def test_a_long_chain_of_odd_parts_is_right_to_the_last_digit() -> None:
    """Each of a thousand blends keeps 29 of 31 parts: (29/31)**1000 has 1,500 digits."""
    flows = [flow for unit in range(2, 1002) for flow in ((unit - 1, unit, 29), (-unit, unit, 2))]
    order = sorted({unit for source, target, _ in flows for unit in (source, target)})

    spread = forward_shares(order, inflows(flows), [1])

    for depth in (1, 10, 100, 300, 1000):
        value = Fraction(29, 31) ** depth
        assert spread.exact(1 + depth) == value
        assert Fraction(spread.percent(1 + depth)) == as_shown(value)
        assert spread.grams(1 + depth, 10**9 + 7) == round(value * (10**9 + 7))


@given(
    st.dictionaries(st.text(max_size=3), st.integers(-(10**12), 10**12), min_size=1, max_size=9),
    st.integers(1, 10**6),
)
def test_rounded_parts_add_up_and_none_moves_by_a_whole_gram(
    numerators: dict[str, int], denominator: int
) -> None:
    parts = {name: each * SCALE // denominator for name, each in numerators.items()}
    exact = Fraction(sum(parts.values()), SCALE)

    closed = close(parts, round(exact))

    assert sum(closed.values()) == round(exact)
    for name, part in parts.items():
        assert abs(closed[name] - Fraction(part, SCALE)) < 1


@given(st.integers(0, 10**30), st.integers(1, 10**30), st.integers(0, 9))
def test_per_cents_are_rounded_once_and_half_to_even(part: int, whole: int, places: int) -> None:
    shown = percent(part, whole, places)

    assert Fraction(shown) == round(Fraction(100 * part, whole), places)


@pytest.mark.parametrize(
    ("part", "whole", "shown"),
    [(15, 25, "60.0"), (1, 8, "12.5"), (1, 3, "33.333333"), (2, 3, "66.666667"), (0, 7, "0.0"),
     (1, 1, "100.0"), (1, 512, "0.195312"), (3, 512, "0.585938")],
)  # fmt: skip
def test_per_cents_show_one_decimal_at_least(part: int, whole: int, shown: str) -> None:
    assert str(percent(part, whole)) == shown
