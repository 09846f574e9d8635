"""Statistics of many processes against one pass of numpy and against the loops they replace."""

import math

import numpy as np
import pandas as pd

from spc.capability.resample import bootstrap_index
from spc.charts.many import many_charts, many_components, many_indices
from spc.charts.run_rules import (
    BEYOND,
    EIGHT_OUTSIDE,
    FIFTEEN_WITHIN,
    FOUR_OF_FIVE,
    NINE_IN_A_ROW,
    SIX_TREND,
    TWO_OF_THREE,
)
from spc.intervals import one_sided_limits
from tests.benchmarks.pairs import compare, show

SEVEN = (BEYOND, TWO_OF_THREE, FOUR_OF_FIVE, NINE_IN_A_ROW, SIX_TREND, FIFTEEN_WITHIN, EIGHT_OUTSIDE)


def loop_of_limits(estimates: np.ndarray, n: np.ndarray) -> np.ndarray:
    """The same limits by root finding, one process after the other."""
    from scipy.optimize import brentq
    from scipy.special import nctdtr

    found = []
    for estimate, size in zip(estimates, n, strict=True):
        root = 3 * math.sqrt(size)
        t = root * estimate
        for tail in (0.025, 0.975):
            found.append(
                brentq(lambda d: 1 - nctdtr(size - 1, d, t) - tail, -3.0, 4 + 3 * t, xtol=1e-10) / root  # noqa: B023 - called at once
            )
    return np.array(found).reshape(-1, 2).T


def loop_of_copies(readings: np.ndarray, copies: int) -> np.ndarray:
    """Ppk of copies drawn one after the other."""
    rng = np.random.default_rng(0)
    found = np.empty(copies)
    for i in range(copies):
        y = readings[rng.integers(0, len(readings), len(readings) - 1)]
        found[i] = min(4 - y.mean(), y.mean() + 4) / (3 * y.std(ddof=1))
    return found


def fit_one(readings: np.ndarray) -> None:
    """Components of one process by the general library."""
    import warnings

    from statsmodels.regression.mixed_linear_model import MixedLM

    parts, p = readings.shape
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        MixedLM(readings.ravel(), np.ones(readings.size), groups=np.repeat(np.arange(parts), p)).fit()


def by_groups(points: np.ndarray) -> pd.DataFrame:
    """The same counts as `many_charts`, the way a notebook does it: a group a process, rolling windows."""
    processes, n = points.shape
    frame = pd.DataFrame({"process": np.repeat(np.arange(processes), n), "x": points.ravel()})

    def one(x: pd.Series) -> pd.Series:
        z = (x - x.mean()) / (x.diff().abs().mean() / 1.128379)

        def some(member: pd.Series, count: int, of: int) -> int:
            return int((member & (member.rolling(of, min_periods=1).sum() >= count)).sum())

        told = {
            f"{count} of {of}": some(z > zone, count, of) + some(z < -zone, count, of)
            for count, of, zone in ((1, 1, 3.0), (2, 3, 2.0), (4, 5, 1.0), (9, 9, 0.0))
        }
        step = z.diff()
        told["trend"] = some(step > 0, 5, 5) + some(step < 0, 5, 5)
        told["within"], told["outside"] = some(z.abs() < 1, 15, 15), some(z.abs() > 1, 8, 8)
        told["average"] = int((z.ewm(alpha=0.2, adjust=False).mean().abs() > 0.987).sum())
        for side in (z, -z):
            total = (side - 0.5).cumsum()
            told["sum"] = told.get("sum", 0) + int((total - total.cummin().clip(upper=0) > 5).sum())
        return pd.Series(told)

    return frame.groupby("process")["x"].apply(one).unstack()


def main() -> None:
    """Print the ratios."""
    rng = np.random.default_rng(1)
    points = rng.normal(size=(500, 2_000))
    show(
        "limits, 7 rules, EWMA, CUSUM of 1e6 points in 500 processes / numpy sum",
        compare(lambda: many_charts(points, SEVEN), lambda: points.sum(), pairs=5, calls=5),
        at_most=80,
    )
    long = rng.normal(size=(500, 20_000))
    show(
        "the same of 1e7 points / numpy sum, which no longer fits the cache",
        compare(lambda: many_charts(long, SEVEN), lambda: long.sum(), pairs=3),
        at_most=80,
    )
    show(
        "the same of 1e6 points / pandas, a group a process",
        compare(lambda: many_charts(points, SEVEN), lambda: by_groups(points), pairs=3),
        at_most=1 / 8,
    )
    board = rng.normal(size=(200, 200))
    show(
        "the same of 200 processes of 200 points / pandas, a group a process",
        compare(lambda: many_charts(board, SEVEN), lambda: by_groups(board), pairs=3, calls=3),
        at_most=1 / 80,
    )
    estimates, n = rng.normal(1.3, 0.3, 500), rng.integers(5, 100, 500)
    show(
        "exact one-sided intervals of 500 processes / a loop of brentq",
        compare(lambda: one_sided_limits(estimates, n), lambda: loop_of_limits(estimates, n)),
        at_most=0.1,
    )
    mean, sd = rng.normal(0, 0.3, 500), rng.uniform(0.8, 1.2, 500)
    show(
        "two-sided Ppk intervals of 500 processes / a loop of brentq for one limit",
        compare(lambda: many_indices(mean, sd, n, -4.0, 4.0), lambda: loop_of_limits(estimates, n)),
    )
    one = rng.normal(size=(100, 5))
    show(
        "bootstrap by part, 2,000 copies of 100 parts x 5 / a loop of copies",
        compare(lambda: bootstrap_index(one, -4.0, 4.0, copies=2_000), lambda: loop_of_copies(one, 2_000)),
        at_most=1 / 15,
    )
    cube = rng.normal(size=(500, 50, 10)) + rng.normal(size=(500, 50, 1))
    show(
        "variance components of 500 processes of 50 x 10 / one MixedLM fit",
        compare(lambda: many_components(cube), lambda: fit_one(cube[0])),
        at_most=1,
    )
