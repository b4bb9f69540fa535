"""Forecasts of demand that comes now and then, and how long a stock may last by them.

A series is what was used in each period, oldest first, zeros counted. Six methods are kept: the
plain mean, simple exponential smoothing (SES), Croston's, its corrections by Syntetos and Boylan
(SBA) and by Shale, Boylan and Johnston (SBJ), and that of Teunter, Syntetos and Babai (TSB), which
alone falls while nothing is used. All are recursions that look one period ahead, so one pass over
a series gives every forecast that could have been made on the way, and with them the errors from
rolling origins by which a method is chosen.

Forecasts are statistics, so binary floats do; masses come in as they are and nothing
here is booked.
"""

from collections.abc import Mapping, Sequence
from enum import StrEnum
from math import inf, isfinite, sqrt
from statistics import fmean, pvariance
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

ALPHA: Final = 0.1
"""How much of every new figure goes into a smoothed one."""
ADI_BORDER: Final = 1.32
CV2_BORDER: Final = 0.49
FEWEST_ORIGINS: Final = 4
"""With fewer rolling origins than this nothing is chosen: the mean stands."""
FEWEST_FOR_TSB: Final = 12
"""TSB begins with whether the first period had demand, which weighs on short series."""
SEED: Final = 20_250_930
"""Every simulation begins here, so that the same question has the same answer."""
PATHS: Final = 2_000


class DemandClass(StrEnum):
    """How demand comes, after Syntetos, Boylan and Croston (2005)."""

    SMOOTH = "smooth"
    ERRATIC = "erratic"
    INTERMITTENT = "intermittent"
    LUMPY = "lumpy"
    TOO_FEW = "too_few"
    """Fewer than two periods with demand."""


class Method(StrEnum):
    """How a forecast is made, the simpler first."""

    MEAN = "mean"
    SES = "ses"
    CROSTON = "croston"
    SBA = "sba"
    SBJ = "sbj"
    TSB = "tsb"


class Shape(NamedTuple):
    """What a series looks like."""

    demand_class: DemandClass
    demands: int
    """Periods with demand."""
    adi: float | None
    """Average interval between demands: all periods by those with demand."""
    cv2: float | None
    """Squared coefficient of variation of the demands that are not zero (of the population)."""


class Forecast(NamedTuple):
    """What is expected of every period to come."""

    rate: float
    probability: float
    """Of there being any demand."""
    weight: float = inf
    """How many periods it rests on: all, or as many as smoothing gives weight to."""


class Chosen(NamedTuple):
    """The method that erred least, and what each would have erred by."""

    method: Method
    forecast: Forecast
    errors: Mapping[Method, float]
    """Root mean square of the errors one period ahead; none where there were too few origins."""
    origins: int


class Cover(NamedTuple):
    """So many days the stock lasts at least, with a chance of 50 % and of 90 %."""

    days_50: float | None
    """None for longer than was looked ahead."""
    days_90: float | None
    looked_ahead_days: int


def classify(series: Sequence[float]) -> Shape:
    """Tell how demand comes: by its average interval and by how its sizes vary."""
    at = [period for period, grams in enumerate(series, start=1) if grams]
    if not at:
        return Shape(DemandClass.TOO_FEW, 0, None, None)
    sizes = [series[period - 1] for period in at]
    adi = len(series) / len(at)
    if len(at) < 2:  # noqa: PLR2004 - one size does not vary
        return Shape(DemandClass.TOO_FEW, 1, adi, None)
    cv2 = pvariance(sizes) / fmean(sizes) ** 2
    if adi < ADI_BORDER:
        found = DemandClass.SMOOTH if cv2 < CV2_BORDER else DemandClass.ERRATIC
    else:
        found = DemandClass.INTERMITTENT if cv2 < CV2_BORDER else DemandClass.LUMPY
    return Shape(found, len(at), adi, cv2)


def forecasts(
    series: Sequence[float], method: Method, alpha: float = ALPHA, beta: float | None = None
) -> list[Forecast]:
    """Forecast after each period, from what was known by then.

    `beta` smooths the probability of TSB; it is `alpha` where nothing is said. Before the first
    demand nothing is expected.
    """
    if method is Method.MEAN:
        return _means(series)
    if method is Method.SES:
        return _smoothed(series, alpha)
    if method is Method.TSB:
        return _tsb(series, alpha, alpha if beta is None else beta)
    factor = {Method.SBA: 1 - alpha / 2, Method.SBJ: 1 - alpha / (2 - alpha)}.get(method, 1.0)
    return _croston(series, alpha, factor)


def forecast(
    series: Sequence[float], method: Method, alpha: float = ALPHA, beta: float | None = None
) -> Forecast:
    """Forecast the periods after the last; they are all expected to be alike."""
    made = forecasts(series, method, alpha, beta)
    return made[-1] if made else Forecast(0.0, 0.0)


def _means(series: Sequence[float]) -> list[Forecast]:
    made, total, demands = [], 0.0, 0
    for period, size in enumerate(series, start=1):
        total += size
        demands += size > 0
        made.append(Forecast(total / period, demands / period))
    return made


def _smoothed(series: Sequence[float], alpha: float) -> list[Forecast]:
    made, demands, level = [], 0, None
    for period, size in enumerate(series, start=1):
        level = _toward(level, size, alpha)
        demands += size > 0
        made.append(Forecast(level, demands / period, _weight(alpha)))
    return made


def _croston(series: Sequence[float], alpha: float, factor: float) -> list[Forecast]:
    made: list[Forecast] = []
    size_level = interval = None
    since = 0
    now = Forecast(0.0, 0.0)
    for size in series:
        since += 1
        if size:
            size_level = _toward(size_level, size, alpha)
            interval = _toward(interval, since, alpha)
            since = 0
            now = Forecast(factor * size_level / interval, 1 / interval, _weight(alpha))
        made.append(now)
    return made


def _tsb(series: Sequence[float], alpha: float, beta: float) -> list[Forecast]:
    made, size_level, probability = [], None, None
    for size in series:
        probability = _toward(probability, float(size > 0), beta)
        if size:
            size_level = _toward(size_level, size, alpha)
        made.append(Forecast(probability * (size_level or 0.0), probability, _weight(beta)))
    return made


def _toward(level: float | None, new: float, share: float) -> float:
    """Move a smoothed figure towards a new one; the first is taken as it is."""
    return float(new) if level is None else share * new + (1 - share) * level


def _weight(share: float) -> float:
    """Tell over how many periods a plain mean would be as steady as a smoothed figure."""
    return (2 - share) / share


def choose(series: Sequence[float], alpha: float = ALPHA) -> Chosen:
    """Choose the method whose forecasts from rolling origins erred least in the second half.

    The error is squared, since an absolute one would favour forecasts of nothing wherever most
    periods are empty. Of two that erred alike the simpler is taken.
    """
    first = max((len(series) + 1) // 2, 1)
    origins = max(len(series) - first, 0)
    if origins < FEWEST_ORIGINS:
        return Chosen(Method.MEAN, forecast(series, Method.MEAN), {}, origins)
    errors, last = {}, {}
    for method in Method:
        if method is Method.TSB and len(series) < FEWEST_FOR_TSB:
            continue
        made = forecasts(series, method, alpha)
        squares = [(made[t - 1].rate - series[t]) ** 2 for t in range(first, len(series))]
        errors[method] = sqrt(fmean(squares))
        last[method] = made[-1]
    best = min(errors, key=errors.__getitem__)
    return Chosen(best, last[best], errors, origins)


def simulate(
    series: Sequence[float],
    ahead: Forecast,
    periods: int,
    *,
    paths: int = PATHS,
    seed: int = SEED,
) -> NDArray[np.float64]:
    """Let chance play the periods to come: a row a path, a column a period.

    Whether there is demand follows the probability of the forecast; how much is drawn from the
    sizes of the series, scaled so that together they come to the rate. A forecast rests on as many
    periods as `weight` says, so every path has a probability and a scale of its own, spread as
    they would be if they had been counted in so many periods.
    """
    sizes = np.array([size for size in series if size], dtype=np.float64)
    if not sizes.size or not ahead.probability:
        return np.zeros((paths, periods))
    scaled = sizes * (ahead.rate / ahead.probability / sizes.mean())
    chance = np.random.Generator(np.random.PCG64(seed))
    weight = min(ahead.weight, len(series))
    often = _shares(chance, ahead.probability, weight, paths)
    counted = max(round(weight * ahead.probability), 1)
    scale = chance.choice(sizes, (paths, counted)).mean(axis=1) / sizes.mean()
    there = chance.random((paths, periods)) < often[:, None]
    return np.where(there, chance.choice(scaled, (paths, periods)) * scale[:, None], 0.0)


def _shares(
    chance: np.random.Generator, probability: float, weight: float, paths: int
) -> NDArray[np.float64]:
    """Draw what a probability may really be that was counted in so many periods."""
    if probability >= 1:
        return np.ones(paths)
    return chance.beta(probability * weight, (1 - probability) * weight, paths)


def demand_range(
    series: Sequence[float],
    ahead: Forecast,
    periods: int,
    share: float = 0.9,
    *,
    seed: int = SEED,
) -> tuple[float, float]:
    """Bound what so many periods will use: inside with the given chance, as much beside either end.

    Only the chance in demand is played, not that the forecast itself is off.
    """
    totals = simulate(series, ahead, periods, seed=seed).sum(axis=1)
    beside = (1 - share) / 2
    low, high = np.quantile(totals, [beside, 1 - beside], method="inverted_cdf")
    return float(low), float(high)


def cover_range(
    stock: float,
    series: Sequence[float],
    *,
    days_per_period: int = 1,
    ahead: Forecast | None = None,
    look_ahead_days: int = 730,
    seed: int = SEED,
) -> Cover:
    """Say for how many days a stock will last at least, with a chance of 50 % and of 90 %.

    Of a period in which it runs out, the days count by the part of the demand that is met.
    `ahead` is what is expected; where nothing is said, the forecast of the method that erred least.
    """
    periods = -(-look_ahead_days // days_per_period)
    if stock <= 0:
        return Cover(0.0, 0.0, periods * days_per_period)
    played = simulate(series, ahead or choose(series).forecast, periods, seed=seed)
    used = played.cumsum(axis=1)
    short = used > stock
    empty = short.argmax(axis=1)
    rows = np.arange(len(used))
    wanted = played[rows, empty]
    met = stock - (used[rows, empty] - wanted)
    with np.errstate(invalid="ignore", divide="ignore"):
        lasts = np.where(short.any(axis=1), (empty + met / wanted) * days_per_period, np.inf)
    low, middle = np.quantile(lasts, [0.1, 0.5], method="inverted_cdf")
    return Cover(_finite(middle), _finite(low), periods * days_per_period)


def stock_bands(
    stock: float,
    arriving: Sequence[float],
    wanted: Sequence[float],
    series: Sequence[float],
    ahead: Forecast,
    *,
    days_per_period: int = 1,
    seed: int = SEED,
) -> list[tuple[float, float, float, float]]:
    """Say between what a stock will be at the end of each day.

    Five of ten times it is between the inner two, and nine of ten times between the outer.

    Each day something arrives and something is wanted, as planned. Chance plays by how much use is
    off that: as the demand of its period, spread evenly over its days, is off the forecast. Nothing
    comes back out of use, and what is short is not made up for.
    """
    periods = -(-len(wanted) // days_per_period)
    played = simulate(series, ahead, periods, seed=seed) / days_per_period
    off = np.repeat(played, days_per_period, axis=1)[:, : len(wanted)]
    due = np.asarray(wanted, dtype=np.float64) - ahead.rate / days_per_period
    taken = np.maximum.accumulate(np.maximum((off + due).cumsum(axis=1), 0.0), axis=1)
    left, before = np.full(len(taken), float(stock)), np.zeros(len(taken))
    bands = []
    for day, came in enumerate(arriving):
        left = np.maximum(left + came - (taken[:, day] - before), 0.0)
        before = taken[:, day]
        shares = np.quantile(left, [0.05, 0.25, 0.75, 0.95], method="inverted_cdf")
        low, some_low, some_high, high = map(float, shares)
        bands.append((low, some_low, some_high, high))
    return bands


def _finite(days: float) -> float | None:
    return float(days) if isfinite(days) else None
