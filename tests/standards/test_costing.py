"""Cost formulas, conversion of prices, and ABC."""

from decimal import Decimal
from fractions import Fraction

import pytest

from app.standards.buying import PriceUnit
from app.standards.costing import UNPRICED, Pool, abc, added, per_gram, shown, times


def _bought(pool: Pool, units: int, price: str) -> None:
    pool.receive(units, {"USD": Fraction(price) * units})


def _usd(amount: str | int) -> dict[str, Fraction]:
    return {"USD": Fraction(amount)}


def test_first_in_first_out_and_the_moving_average_are_those_of_the_textbooks() -> None:
    # An exercise on FIFO of an accounting course (coursehero.com): purchases, sales and answers.
    first, average = Pool(average=False), Pool(average=True)
    for pool in (first, average):
        _bought(pool, 10, "91")
        _bought(pool, 15, "106")
    assert first.draw(20, {}) == _usd(1970)
    assert average.draw(20, {}) == _usd(2000)
    for pool in (first, average):
        _bought(pool, 20, "115")
        _bought(pool, 10, "119")
    assert first.draw(23, {}) == _usd(2600)
    assert first.grams == 12
    assert first.money == _usd(1420)
    # The moving average of the same moves is our own reckoning: 100.00, then 114.00.
    assert average.draw(23, {}) == _usd(2622)
    assert average.grams == 12
    assert average.money == _usd(1368)


def test_what_is_left_at_the_average_of_a_year_is_that_of_the_textbook() -> None:
    # Accounting Principles: A Business Perspective, page 293.
    pool = Pool(average=True)
    for units, price in (
        (10, "8.00"), (10, "8.50"), (20, "8.40"), (10, "9.00"), (20, "8.80"), (10, "9.10"),
    ):  # fmt: skip
        _bought(pool, units, price)

    assert pool.money == _usd(690)
    assert pool.draw(60, {}) == _usd("517.50")
    assert pool.money == _usd("172.50")


def test_currencies_stay_apart_and_what_has_no_price_stays_visible() -> None:
    pool = Pool(average=True)
    pool.receive(1000, {"EUR": Fraction(8)})
    pool.receive(1000, {"USD": Fraction(6), UNPRICED: Fraction(500)})

    assert pool.draw(500, {}) == {"EUR": 2, "USD": Fraction(3, 2), UNPRICED: 125}
    assert added({"EUR": Fraction(1)}, {"USD": Fraction(2)}) == {"EUR": 1, "USD": 2}


def test_a_draw_beyond_what_is_there_is_priced_by_its_lot_until_the_coffee_is_found() -> None:
    own = {"EUR": Fraction(7)}
    for average in (False, True):
        pool = Pool(average=average)
        pool.receive(10, {"EUR": Fraction(50)})
        spent = pool.draw(12, own)
        found = pool.find(5, own)

        assert spent == {"EUR": 64}
        assert found == {"EUR": 35}
        assert pool.grams == 3
        assert pool.money == {"EUR": 21}
        assert pool.find(1, {"EUR": Fraction(9)}) == {"EUR": 7}


def test_a_price_for_a_pound_is_converted_exactly() -> None:
    # 1 lb = 0.45359237 kg exactly (international yard and pound agreement of 1959).
    exact = per_gram(Decimal("2.50"), PriceUnit.LB) * 1000

    assert exact == Fraction("2.50") / Fraction("0.45359237")
    assert shown(exact, 4) == Decimal("5.5116")
    assert per_gram(Decimal("8.00"), PriceUnit.KG) * 1000 == 8


def test_roast_loss_raises_the_cost_of_what_is_left() -> None:
    # Common practice, no source: green divided by what stays, never multiplied by one and the loss.
    # Blends of roasts and of green have theirs in a test through the book (test_costs.py).
    def roasted(price: str, loss: str) -> Fraction:
        return times({"EUR": Fraction(price)}, 1 / (1 - Fraction(loss)))["EUR"]

    assert shown(roasted("8.00", "0.15"), 4) == Decimal("9.4118")
    assert shown(roasted("8.00", "0.16"), 4) == Decimal("9.5238")


@pytest.mark.parametrize(
    ("values", "letters"),
    [
        # A class exercise on inventory; cut at 80 and 95 per cent from memory.
        ([74400, 56000, 25500, 13500, 8400, 6000], "AABBCC"),
        ([100], "A"),
        ([97, 2, 1], "ACC"),
        ([], ""),
        ([5, 0], "A"),
    ],
)
def test_what_is_used_for_most_money_is_a(values: list[int], letters: str) -> None:
    ranked = abc({f"L{place}": Fraction(value) for place, value in enumerate(values)})

    assert "".join(each.letter for each in ranked) == letters
    if len(values) == 6:
        assert [shown(each.cumulative, 2) for each in ranked] == [
            Decimal(share) for share in ("40.48", "70.95", "84.82", "92.17", "96.74", "100.00")
        ]
