"""Forecasts of demand, held against published figures and against real demand.

Outside figures come from the package *forecast* of R (its function `croston`, on the series of
prescriptions `pbs`) and from runs of the open-source library *statsforecast* 2.1.1, which is too
heavy to be installed for these tests (584 MB). The methods, titles from memory: J. D. Croston,
Forecasting and stock control for intermittent demands (1972); A. A. Syntetos and J. E. Boylan, The
accuracy of intermittent demand estimates (2005); R. H. Teunter, A. A. Syntetos and M. Z. Babai,
Intermittent demand: linking forecasting to inventory obsolescence (2011).
"""

import csv
import json
import random
from collections import Counter, defaultdict
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from app.standards.forecasting import (
    Cover,
    DemandClass,
    Method,
    choose,
    classify,
    cover_range,
    demand_range,
    forecast,
    stock_bands,
)

# From a tutorial on spare parts by a consultancy (P. Morgan); the figures by statsforecast.
SPARES = [2, 0, 0, 1, 0, 5, 4, 0, 0, 3, 0, 0, 1, 1]
# From a trade article by H. Canitz.
SLOW = [0, 0, 10, 0, 0, 20, 0, 0, 0, 15]
ENDING = [60, 0, 0, 0, 120, 0, 60, 0, 0, 60]


@pytest.fixture(scope="module")
def demand(shared: Path) -> Path:
    return shared / "data" / "open" / "demand"


@pytest.fixture(scope="module")
def expected(demand: Path) -> Any:
    return json.loads((demand / "EXPECTED.json").read_text())


@pytest.fixture(scope="module")
def car_parts(demand: Path) -> dict[str, list[float]]:
    with (demand / "carparts.csv").open() as file:
        return {row[0]: [float(cell) for cell in row[1:]] for row in list(csv.reader(file))[1:]}


@pytest.mark.parametrize(
    ("series", "method", "rate"),
    [
        (SPARES, Method.CROSTON, 1.425293),
        (SPARES, Method.SBA, 1.354028),
        (SPARES, Method.SBJ, 1.350278),
        (SLOW, Method.CROSTON, 3.677419),
        (SLOW, Method.SBA, 3.493548),
        (SLOW, Method.SBJ, 3.483871),
        (ENDING, Method.CROSTON, 42.309198),
        (ENDING, Method.SBA, 40.193738),
        (ENDING, Method.TSB, 40.172305),
        (ENDING, Method.MEAN, 30),
    ],
)
def test_small_series_are_forecast_as_published(
    series: list[float], method: Method, rate: float
) -> None:
    assert forecast(series, method).rate == pytest.approx(rate, abs=1e-6)


@pytest.mark.parametrize(
    ("series", "size", "interval"),
    # As the two texts split their series into sizes and intervals, then smoothed by 0.1 by hand:
    # 2 1 5 4 3 1 1 after 1 3 2 1 3 3 1, and 10 20 15 after 3 3 4.
    [(SPARES, 2.174581, 1.525708), (SLOW, 11.4, 3.1)],
)
def test_croston_smooths_sizes_and_intervals_apart(
    series: list[float], size: float, interval: float
) -> None:
    found = forecast(series, Method.CROSTON)

    assert 1 / found.probability == pytest.approx(interval, abs=1e-6)
    assert found.rate / found.probability == pytest.approx(size, abs=1e-6)


def test_of_a_coffee_that_runs_out_only_tsb_and_the_means_fall() -> None:
    quiet = [*ENDING, 0, 0, 0, 0, 0, 0]
    rates = {method: forecast(quiet, method).rate for method in Method}

    assert rates[Method.CROSTON] == forecast(ENDING, Method.CROSTON).rate
    assert rates[Method.SBA] == forecast(ENDING, Method.SBA).rate
    # By statsforecast: six periods without demand, each of which leaves nine tenths.
    assert rates[Method.TSB] == pytest.approx(21.349210, abs=1e-6)
    assert rates[Method.TSB] == pytest.approx(forecast(ENDING, Method.TSB).rate * 0.9**6)
    assert rates[Method.MEAN] == 18.75
    assert rates[Method.SES] < forecast(ENDING, Method.SES).rate


def test_demand_is_classed_by_its_interval_and_its_sizes() -> None:
    # The borders of A. A. Syntetos, J. E. Boylan and J. D. Croston, On the categorization of demand
    # patterns (2005), from memory. The variance is that of a population; a sample's gives 0.4441.
    spares = classify(SPARES)

    assert (spares.demand_class, spares.demands, spares.adi) == (DemandClass.INTERMITTENT, 7, 2.0)
    assert spares.cv2 == pytest.approx(0.3806, abs=1e-4)
    assert classify([10, 11, 9, 10]).demand_class is DemandClass.SMOOTH
    assert classify([1, 40, 2, 3]).demand_class is DemandClass.ERRATIC
    assert classify([1, 0, 0, 90, 0, 2]).demand_class is DemandClass.LUMPY
    assert classify([0, 5, 0]).demand_class is DemandClass.TOO_FEW
    assert classify([]) == (DemandClass.TOO_FEW, 0, None, None)


@pytest.mark.parametrize(("file", "column"), [("pbs", "Scripts"), ("partx", "sales")])
def test_long_series_are_forecast_as_the_libraries_do(
    demand: Path, expected: Any, file: str, column: str
) -> None:
    with (demand / f"{file}.csv").open() as rows:
        series = [float(row[column]) for row in csv.DictReader(rows)]
    known = expected[file]

    assert len(series) == known["periods"]
    assert classify(series).demand_class == known["class"]
    for alpha, rates in known["forecasts"].items():
        found = [
            forecast(series, method, float(alpha)).rate
            for method in (Method.CROSTON, Method.SBA, Method.TSB)
        ]
        assert found == pytest.approx(list(rates.values()), abs=1e-12)
    for alpha, rate in known.get("published_R_values", {}).items():
        # Printed with seven digits.
        assert forecast(series, Method.CROSTON, float(alpha)).rate == pytest.approx(rate, rel=1e-6)


def test_1473_series_of_car_parts_are_classed_and_forecast_as_by_the_library(
    demand: Path, expected: Any, car_parts: dict[str, list[float]]
) -> None:
    columns = {
        "croston_0.1": (Method.CROSTON, 0.1), "sba_0.1": (Method.SBA, 0.1),
        "tsb_0.1_0.1": (Method.TSB, 0.1), "croston_0.05": (Method.CROSTON, 0.05),
        "croston_0.5": (Method.CROSTON, 0.5),
    }  # fmt: skip
    classes: Counter[str] = Counter()
    with (demand / "carparts_expected.csv").open() as file:
        for row in csv.DictReader(file):
            series = car_parts[row["series"]]
            found = classify(series).demand_class
            assert found == row["class"]
            classes[found] += 1
            for column, (method, alpha) in columns.items():
                if row[column]:
                    rate = forecast(series, method, alpha).rate
                    assert rate == pytest.approx(float(row[column]), abs=1e-9)

    assert classes == expected["carparts"]["classes"]
    assert classes.total() == 1473


def test_the_method_is_the_one_that_erred_least_from_rolling_origins() -> None:
    # A level that steps up: the mean of all lags behind, smoothing follows.
    stepped = choose([10.0] * 20 + [30.0] * 20)
    steady = choose([10.0, 12.0] * 20)
    short = choose([5.0, 0.0, 3.0, 4.0])

    assert stepped.method is Method.SES
    assert stepped.errors[Method.SES] == min(stepped.errors.values())
    assert stepped.origins == 20
    assert steady.method is Method.MEAN
    # Too short to choose by.
    assert (short.method, short.errors, short.forecast.rate) == (Method.MEAN, {}, 3.0)
    assert choose([]).forecast.rate == 0
    # TSB is no candidate before there are twelve periods.
    assert Method.TSB not in choose(SLOW).errors
    assert Method.TSB in choose(SPARES).errors


def test_what_is_chosen_forecasts_a_year_of_car_parts_better_than_croston_or_the_mean(
    car_parts: dict[str, list[float]],
) -> None:
    squares: Counter[str] = Counter()
    for series in car_parts.values():
        past, used = series[:-12], sum(series[-12:])
        squares["chosen"] += (12 * choose(past).forecast.rate - used) ** 2  # type: ignore[assignment]
        for method in (Method.CROSTON, Method.SBA, Method.MEAN):
            squares[method] += (12 * forecast(past, method).rate - used) ** 2  # type: ignore[assignment]

    assert min(squares, key=squares.__getitem__) == "chosen"


def test_nine_of_ten_times_real_demand_falls_into_the_range_of_nine_of_ten(
    car_parts: dict[str, list[float]],
) -> None:
    some = list(car_parts.values())[::5]
    inside = 0
    for series in some:
        past, used = series[:-6], sum(series[-6:])
        low, high = demand_range(past, choose(past).forecast, 6)
        inside += low <= used <= high

    # Whole numbers and series that died: the share of six months is near nine in ten, not on it.
    assert 0.86 <= inside / len(some) <= 0.96


def test_stock_of_a_bakery_lasts_as_long_as_the_range_says(demand: Path) -> None:
    # Real sales by day: the stock is what was sold in four weeks, so it lasted 28 days.
    sold: dict[str, Counter[date]] = defaultdict(Counter)
    with (demand / "bakery_daily.csv").open() as file:
        for row in csv.DictReader(file):
            sold[row["item"]][date.fromisoformat(row["date"])] += int(row["units"])
    lasted_90 = lasted_50 = items = 0
    for units in sold.values():
        series = [units[date(2016, 10, 30) + timedelta(days)] for days in range(134)]
        past, stock = series[:106], sum(series[106:])
        if sum(past) < 20 or not stock:
            continue
        cover = cover_range(stock, past)
        items += 1
        lasted_90 += (cover.days_90 or 730) <= 28
        lasted_50 += (cover.days_50 or 730) <= 28

    assert items == 35
    assert 0.8 <= lasted_90 / items <= 0.98
    assert 0.35 <= lasted_50 / items <= 0.65


def test_projected_stock_is_in_its_bands_as_often_as_they_say_where_demand_goes_on_as_it_did(
    car_parts: dict[str, list[float]],
) -> None:
    some = list(car_parts.values())[::5]
    near = far = 0
    for series in some:
        past, used = series[:-6], sum(series[-6:])
        ahead = choose(past).forecast
        low, some_low, some_high, high = stock_bands(9000, [0] * 6, [ahead.rate] * 6, past, ahead)[
            -1
        ]
        near += some_low <= 9000 - used <= some_high
        far += low <= 9000 - used <= high

    # Whole numbers, so a band holds more than its share where its ends are demand of no part.
    assert 0.88 <= far / len(some) <= 0.97
    assert 0.5 <= near / len(some) <= 0.7


def test_where_the_trade_changes_bands_are_too_narrow_and_the_notes_say_so(demand: Path) -> None:
    # A bakery whose range changes, its items foretold for 28 days by week from six days on.
    sold: dict[str, Counter[date]] = defaultdict(Counter)
    with (demand / "bakery_daily.csv").open() as file:
        for row in csv.DictReader(file):
            sold[row["item"]][date.fromisoformat(row["date"])] += int(row["units"])
    inside = items = 0
    for start in (84, 98, 105, 112, 119, 126):
        for units in sold.values():
            days = [units[date(2016, 10, 30) + timedelta(n)] for n in range(start + 28)]
            weeks = [sum(days[n : n + 7]) for n in range(0, start, 7)]
            used = sum(days[start:])
            if sum(weeks) < 20 or not used:
                continue
            ahead = choose(weeks).forecast
            wanted = [ahead.rate / 7] * 28
            bands = stock_bands(5000, [0] * 28, wanted, weeks, ahead, days_per_period=7)
            items += 1
            inside += bands[-1][0] <= 5000 - used <= bands[-1][3]

    assert items == 208
    assert 0.65 <= inside / items <= 0.8


def test_bands_follow_the_plan_and_what_arrives_and_never_fall_below_nothing() -> None:
    # By hand: 60 a day as ever, 900 in stock; 300 arrive on the fourth day.
    steady, ahead = [60] * 10, forecast([60] * 10, Method.MEAN)
    bands = stock_bands(900, [0, 0, 0, 300, 0], [60, 60, 100, 0, 2000], steady, ahead)
    assert bands == [(each,) * 4 for each in (840, 780, 680, 980, 0)]

    # Demand now and then: a wide band inside of which is the narrow one, the same every time.
    series = [0, 30, 0, 0, 60, 0, 30, 0, 90, 0, 0, 30]
    ahead = choose(series).forecast
    asked = (500, [0] * 28, [ahead.rate / 7] * 28, series, ahead)
    bands = stock_bands(*asked, days_per_period=7)
    assert bands == stock_bands(*asked, days_per_period=7)
    for low, some_low, some_high, high in bands:
        assert 0 <= low <= some_low <= some_high <= high <= 500
    assert bands[-1][0] < bands[-1][1] < bands[-1][2] < bands[-1][3]
    # A day of a plan that takes less than is expected gives nothing back.
    assert stock_bands(500, [0] * 7, [0] * 7, series, ahead, days_per_period=7)[-1][3] == 500


def test_steady_use_has_no_range_and_is_the_plain_days_of_cover() -> None:
    # 900 in stock at 60 a day: 15 days, as simple days of cover are reckoned.
    assert cover_range(900, [60] * 10) == Cover(15.0, 15.0, 730)
    assert cover_range(900, [420] * 8, days_per_period=7) == Cover(15.0, 15.0, 735)
    assert cover_range(0, [60] * 10) == Cover(0.0, 0.0, 730)


def test_stock_that_nobody_draws_on_has_no_days() -> None:
    assert cover_range(900, [0] * 10) == Cover(None, None, 730)
    assert cover_range(900, []) == Cover(None, None, 730)
    # And one that outlasts the look ahead has none either.
    assert cover_range(900_000, [60] * 10).days_50 is None


def test_the_same_question_has_the_same_answer_and_more_stock_lasts_longer() -> None:
    chance = random.Random(7)  # noqa: S311 - no secret
    series = [chance.choice([0, 0, 12_000, 24_000, 36_000]) for _ in range(56)]
    covers = [cover_range(stock, series) for stock in (100_000, 200_000, 400_000)]

    assert covers == [cover_range(stock, series) for stock in (100_000, 200_000, 400_000)]
    assert covers == sorted(covers)
    for cover in covers:
        assert cover.days_90 is not None
        assert cover.days_50 is not None
        assert cover.days_90 < cover.days_50
    low, high = demand_range(series, choose(series).forecast, 28)
    assert low < 28 * choose(series).forecast.rate < high
