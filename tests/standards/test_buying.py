"""Claims, clocks, quantities, counts and prices of green coffee, against published figures.

ITC: International Trade Centre, The Coffee Guide, web edition (thecoffeeguide.org), by chapter.
"""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.standards.buying import (
    Agreed,
    Count,
    Customs,
    Form,
    PriceUnit,
    Standing,
    WeightBasis,
    accepted,
    clocks,
    is_over,
    price_per_kg,
    reconcile,
    settle,
    tare_g,
    weigh_up,
)

CUSTOMS = Customs(Decimal("0.5"), Decimal(3), 14, 15, 21, 15, 45)
HALF = Decimal("0.5")


@pytest.mark.parametrize(
    ("landed_kg", "loss_kg", "claim_kg"),
    [
        # ITC, Contracts: "Quantity, weights and packing": the seller refunds a loss in excess of
        # 0.5 % of the shipped weight. 19 200 kg shipped; the rest is arithmetic.
        (19_050, 150, 54),
        (19_110, 90, 0),
        (19_104, 96, 0),  # a loss of exactly 0.5 %
        (19_103, 97, 1),
        (19_200, 0, 0),
        (19_250, -50, 0),
    ],
)
def test_a_loss_beyond_the_franchise_is_claimed_and_the_franchise_itself_is_not(
    landed_kg: int, loss_kg: int, claim_kg: int
) -> None:
    found = weigh_up(19_200_000, landed_kg * 1000, HALF)

    assert found.loss_g == loss_kg * 1000
    assert found.franchise_g == 96_000
    assert found.claimable_g == claim_kg * 1000


def test_the_loss_is_shown_in_per_cent_of_what_was_shipped() -> None:
    assert weigh_up(19_200_000, 19_050_000, HALF).loss_pct == Decimal("0.78125")
    assert weigh_up(240_000, 241_020, HALF).loss_pct == Decimal("-0.425")


def test_a_gram_beyond_an_uneven_franchise_is_claimed_in_whole_grams() -> None:
    # 0.5 % of 60.001 kg is 300.005 g, which no scale shows.
    assert weigh_up(60_001, 60_001 - 300, HALF).claimable_g == 0
    assert weigh_up(60_001, 60_001 - 301, HALF).claimable_g == 0
    assert weigh_up(60_001, 60_001 - 302, HALF).claimable_g == 1


@given(st.integers(1, 30_000_000), st.integers(1, 30_000_000), st.integers(0, 100_000))
def test_nothing_is_claimed_that_the_exact_fraction_does_not_allow(
    shipped_g: int, landed_g: int, milli_pct: int
) -> None:
    found = weigh_up(shipped_g, landed_g, Decimal(milli_pct).scaleb(-3))

    beyond = (shipped_g - landed_g) * 100_000 - shipped_g * milli_pct
    assert found.claimable_g == max(0, beyond // 100_000)


@pytest.mark.parametrize(
    ("form", "days"),
    [
        # ITC, Arbitration: "Types of dispute and claims": European form 21 calendar days from final
        # discharge for quality and 45 for technical claims; US form 15 for quality. 14 days for
        # weighing: a garbled copy of ITC, "Quantity, weights and packing"; 15 from memory.
        (
            Form.EUROPEAN,
            {"weigh": "2026-03-16", "quality_claim": "2026-03-23", "technical_claim": "2026-04-16"},
        ),
        (Form.US, {"weigh": "2026-03-17", "quality_claim": "2026-03-17"}),
        # Our rule: another form counts as the European does until the contract says otherwise.
        (
            Form.OTHER,
            {"weigh": "2026-03-16", "quality_claim": "2026-03-23", "technical_claim": "2026-04-16"},
        ),
    ],
)
def test_the_clocks_start_on_the_day_of_final_discharge(form: Form, days: dict[str, str]) -> None:
    terms = settle(Agreed(WeightBasis.SHIPPED, form), CUSTOMS)

    running = {clock.what: clock.by.isoformat() for clock in clocks(date(2026, 3, 2), terms)}

    assert running == days


def test_what_a_contract_says_goes_before_custom_nothing_at_all_included() -> None:
    agreed = Agreed(WeightBasis.SHIPPED, Form.EUROPEAN, Decimal(0), Decimal(0), 0, 7, 10)

    assert settle(agreed, CUSTOMS)[1:] == (Decimal(0), Decimal(0), 0, 7, 10)


def test_the_us_form_has_no_franchise_unless_one_was_agreed() -> None:
    # ITC, Contracts: "Quantity, weights and packing"; Logistics: "Weights and supervision".
    silent = settle(Agreed(WeightBasis.SHIPPED, Form.US), CUSTOMS)
    agreed = settle(Agreed(WeightBasis.SHIPPED, Form.US, franchise_pct=HALF), CUSTOMS)

    assert (silent.franchise_pct, agreed.franchise_pct) == (Decimal(0), HALF)


@pytest.mark.parametrize(
    ("received_g", "standing"),
    [
        # ITC, Contracts: "Quantity, weights and packing": a tolerance of 3 %; 19 200 kg agreed.
        (18_623_999, Standing.UNDER),
        (18_624_000, Standing.WITHIN),
        (19_776_000, Standing.WITHIN),
        (19_776_001, Standing.OVER),
    ],
)
def test_both_ends_of_the_tolerance_are_within(received_g: int, standing: Standing) -> None:
    limits = accepted(19_200_000, Decimal(3))

    assert limits == (18_624_000, 19_776_000)
    assert limits.standing(received_g) is standing


def test_an_uneven_tolerance_accepts_the_whole_grams_within_it() -> None:
    # 0.333 % of 1.001 kg are 3.33333 g.
    assert accepted(1001, Decimal("0.333")) == (998, 1004)
    assert accepted(1001, Decimal(0)) == (1001, 1001)


@pytest.mark.parametrize(("missing", "off"), [(1, 0), (0, -1)])
def test_sacks_reconcile_when_each_invoiced_one_is_found_or_missing(missing: int, off: int) -> None:
    # Our rule.
    count = Count(275, sound=268, slack=3, torn=2, wet=1, mouldy=0, missing=missing, over=0)

    result = reconcile(count, booked=274)

    assert result == (off, 0)
    assert result.reconciles is (off == 0)


def test_sacks_over_are_taken_off_and_the_book_is_held_against_what_is_here() -> None:
    count = Count(4, sound=4, slack=0, torn=0, wet=0, mouldy=1, missing=0, over=1)

    assert reconcile(count, booked=5).reconciles
    assert reconcile(count, booked=4) == (0, 1)
    assert reconcile(count, booked=6) == (0, -1)


@pytest.mark.parametrize(
    ("sample_g", "empties", "sacks", "expected"),
    [
        (9800, 10, 1, 980),
        (9804, 10, 1, 980),
        (9805, 10, 1, 981),  # half a gram goes up
        (9805, 10, 40, 39_220),  # rounded once, not forty times
        (1, 2, 1, 1),
    ],
)
def test_the_mean_of_weighed_empties_is_rounded_half_up_to_the_gram(
    sample_g: int, empties: int, sacks: int, expected: int
) -> None:
    # Weighing ten empties: common practice, no source.
    assert tare_g(sample_g, empties, sacks) == expected


def test_a_price_a_pound_is_shown_a_kilogram() -> None:
    # 1 lb = 0.45359237 kg exactly (international yard and pound agreement of 1959; from memory).
    assert price_per_kg(Decimal("2.50"), PriceUnit.LB) == Decimal("5.5116")
    assert price_per_kg(Decimal("5.50"), PriceUnit.KG) == Decimal("5.50")


@pytest.mark.parametrize(("loss_g", "over"), [(96_000, False), (96_001, True), (-1, False)])
def test_a_loss_is_unusual_above_the_share_and_not_at_it(loss_g: int, over: bool) -> None:
    # ITC, Logistics: "Weights and supervision": most containers land within 0.5 %; the hint itself
    # is our rule.
    assert is_over(loss_g, 19_200_000, HALF) is over
