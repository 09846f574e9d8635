"""Whether a series drifts: least squares with errors that allow for memory, and two ways that need no normal law."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.errors import SpcError, TooFewReadings
from spc.intervals import Index
from spc.variation import finite_series, has_spread

Array = NDArray[np.float64]

LEAST = 4
_ENOUGH_FOR_MEMORY = 20


@dataclass(frozen=True)
class Trend:
    """Slope of a series, three ways.

    Attributes
    ----------
    slope : Index
        Least squares. Errors allow for correlation up to `lags` neighbours. [unit per step]
    p_value : float
        Of no slope, by those errors.
    lags : int
    robust_slope : Index
        Median of all pairwise slopes (Theil and Sen). [unit per step]
    ranks : RankTrend
        Mann and Kendall's test.
    """

    slope: Index
    p_value: float
    lags: int
    robust_slope: Index
    ranks: RankTrend


@dataclass(frozen=True)
class RankTrend:
    """Mann and Kendall's test.

    Attributes
    ----------
    s : int
        Pairs that rise less pairs that fall.
    variance : float
        Of `s` without a trend, ties allowed for.
    z : float
        With the correction for continuity; 0 when s is 0.
    p_value : float
        Two-sided; exact for up to 10 values without ties, otherwise normal.
    tau : float
        s over the number of pairs. [-]
    """

    s: int
    variance: float
    z: float
    p_value: float
    tau: float


def trend(
    values: ArrayLike, at: ArrayLike | None = None, *, lags: int | None = None, confidence: float = 0.95
) -> Trend:
    """Slope of a series in order of machining.

    Parameters
    ----------
    values : array-like, shape (n,)
        4 or more; under 20 the allowance for memory rests on few neighbours. [any unit]
    at : array-like, shape (n,), optional
        Place of each value: part number, day or wear count, rising; 0, 1, 2 ... by default.
    lags : int, optional
        Neighbours that the errors allow for; by default 4 (n / 100)^(2/9), at least 1 from 20 values on.
    confidence : float
        Two-sided.

    Returns
    -------
    Trend

    Raises
    ------
    TooFewReadings
        Fewer than 4 values.
    SpcError
        A value is not finite, shapes differ, places do not rise, or all values are equal.

    References
    ----------
    .. [1] Newey, W. K. & West, K. D. (1987), Econometrica 55, 703-708, as in statsmodels; Sen, P. K. (1968),
       Journal of the American Statistical Association 63, 1379-1389, as in scipy `theilslopes`; lags: Newey &
       West (1994), Review of Economic Studies 61, 631-653 (from memory).
    """
    from scipy.stats import theilslopes
    from statsmodels.regression.linear_model import OLS

    y = finite_series(values, "a trend", LEAST)
    x = np.arange(y.size, dtype=float) if at is None else finite_series(at, "a trend", LEAST)
    if x.shape != y.shape:
        raise SpcError(f"every value needs its place; got {x.size} places for {y.size} values")
    if not (np.diff(x) >= 0).all() or not np.ptp(x) > 0:
        raise SpcError("places must rise from the first value to the last")
    if not has_spread(float(np.std(y - y[0])), y):
        raise SpcError("all values are equal: the drift, if any, is below what the gauge shows")
    if lags is None:
        lags = int(4 * (y.size / 100) ** (2 / 9)) if y.size >= _ENOUGH_FOR_MEMORY else 0
    if not 0 <= lags < y.size - 2:
        raise SpcError(f"an allowance for {lags} neighbours does not fit {y.size} values")
    scale = float(np.std(y - y[0]))
    centred = x - x.mean()
    design = np.column_stack([np.ones(y.size), centred])
    fit = OLS((y - y[0]) / scale, design).fit(
        cov_type="HAC", cov_kwds={"maxlags": lags, "use_correction": True}, use_t=True
    )
    low, high = (float(v) * scale for v in np.asarray(fit.conf_int(alpha=1 - confidence))[1])
    slope = Index(float(fit.params[1]) * scale, low, high, confidence)
    middle, _, least, most = (float(v) for v in np.asarray(theilslopes(y, x, alpha=confidence)))
    return Trend(
        slope,
        float(fit.pvalues[1]) if math.isfinite(float(fit.pvalues[1])) else 0.0,
        lags,
        Index(middle, least, most, confidence),
        rank_trend(y),
    )


def rank_trend(values: ArrayLike) -> RankTrend:
    """Mann and Kendall's test for values that tend to rise or fall.

    Values must be independent: memory from part to part makes it alarm too often.

    Parameters
    ----------
    values : array-like, shape (n,)
        In order; 4 or more. [any unit]

    Returns
    -------
    RankTrend

    Raises
    ------
    TooFewReadings
        Fewer than 4 values.
    SpcError
        A value is not finite, or all are equal.

    References
    ----------
    .. [1] Mann, H. B. (1945), Econometrica 13, 245-259; Kendall, M. G. (1975), Rank Correlation Methods; variance
       with ties: US EPA QA/G-9S (2006) (from memory; worked examples in the tests).
    """
    from scipy.special import ndtr
    from scipy.stats import kendalltau

    y = finite_series(values, "a rank test", LEAST)
    if not np.ptp(y) > 0:
        raise SpcError("all values are equal: their order says nothing")
    n = y.size
    s = sum(int(np.sign(y[i + 1 :] - y[i]).sum()) for i in range(n - 1))
    ties = np.unique(y, return_counts=True)[1].astype(float)
    variance = (n * (n - 1) * (2 * n + 5) - float(np.sum(ties * (ties - 1) * (2 * ties + 5)))) / 18
    z = (s - np.sign(s)) / math.sqrt(variance)
    p = min(1.0, 2 * float(ndtr(-abs(z))))
    if n <= 10 and ties.max() == 1:
        p = float(np.asarray(kendalltau(np.arange(n), y, method="exact"))[1])
    return RankTrend(s, variance, float(z), p, s / (n * (n - 1) / 2))


def newey_west(design: ArrayLike, values: ArrayLike, lags: int) -> Array:
    """Covariance of least-squares coefficients that allows for memory, without small-sample correction.

    Parameters
    ----------
    design : array-like, shape (n, k)
        With its column of ones.
    values : array-like, shape (n,)
        [any unit]
    lags : int
        Neighbours allowed for, 0 or more.

    Returns
    -------
    array, shape (k, k)

    Raises
    ------
    SpcError
        Shapes differ or lags is below 0.
    TooFewReadings
        No more values than columns.

    References
    ----------
    .. [1] Newey & West (1987), as in statsmodels; Greene's investment equation in the tests.
    """
    from statsmodels.regression.linear_model import OLS

    y = finite_series(values, "a regression", 2)
    x = np.asarray(design, dtype=float)
    if x.ndim != 2 or x.shape[0] != y.size or lags < 0:
        raise SpcError("a regression needs one row of its design for every value, and lags of 0 or more")
    if y.size <= x.shape[1]:
        raise TooFewReadings("a regression", f"{x.shape[1] + 1} values", int(y.size))
    fit = OLS(y, x).fit(cov_type="HAC", cov_kwds={"maxlags": lags, "use_correction": False})
    return np.asarray(fit.cov_params())
