"""Whether a series drifts: least squares with errors that allow for memory, and two ways that need no normal law."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.errors import SpcError, TooFewReadings
from spc.intervals import Index
from spc.shown import Shown
from spc.variation import finite_series, has_spread

Array = NDArray[np.float64]

LEAST = 4
_ENOUGH_FOR_BIAS = 4
_MOST_MEMORY = 0.97
_WAVES = 6
_FEW_WORTH = 8.0
"""Independent values' worth below which a slope and a slow wave look alike."""


@dataclass(frozen=True)
class Trend(Shown):
    """Slope of a series, three ways.

    Attributes
    ----------
    slope : Index
        Least squares; its interval allows for memory from value to value. [unit per step]
    p_value : float
        Of no slope, by the same errors.
    memory : float
        Correlation of neighbours that was allowed for, freed of its own bias; 0 to 0.97. [-]
    lags : int or None
        Neighbours that were asked for; None when the memory was allowed for as above.
    robust_slope : Index
        Median of all pairwise slopes (Theil and Sen). [unit per step]
    ranks : RankTrend
        Mann and Kendall's test.
    warnings : tuple of str
        That the memory is too strong for so few values, in words.
    """

    slope: Index
    p_value: float
    memory: float
    lags: int | None
    robust_slope: Index
    ranks: RankTrend
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class RankTrend(Shown):
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

    By default the wider of two intervals is given. One takes the memory for that of neighbours (first order, freed of
    its bias, with the degrees of freedom of as many independent values as the series is worth). The other takes the
    size of slow waves, polynomials of degree 2 to 7, for the error of the slope, which needs no model of the memory.
    At 5 % they alarm in at most 7 % of series of 30 or more whose neighbours correlate by 0.7, in 15 to 20 % of 20 to
    60 values that wander under noise as large as the wander. Summing neighbours as Newey and West do alarmed in 30 %
    of 30 values with 0.7.

    Parameters
    ----------
    values : array-like, shape (n,)
        4 or more; under 20 little can be learnt of the memory. [any unit]
    at : array-like, shape (n,), optional
        Place of each value: part number, day or wear count, rising; 0, 1, 2 ... by default.
    lags : int, optional
        Sum the memory of so many neighbours instead, as Newey and West do.
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
       Journal of the American Statistical Association 63, 1379-1389, as in scipy `theilslopes`; series of slow waves:
       Phillips, P. C. B. (2005), Econometric Theory 21, 116-142 (from memory). Verified by simulation in the tests.
    """
    from scipy.special import stdtr, stdtrit
    from scipy.stats import theilslopes

    y = finite_series(values, "a trend", LEAST)
    x = np.arange(y.size, dtype=float) if at is None else finite_series(at, "a trend", LEAST)
    if x.shape != y.shape:
        raise SpcError(f"every value needs its place; got {x.size} places for {y.size} values")
    if not (np.diff(x) >= 0).all() or not np.ptp(x) > 0:
        raise SpcError("places must rise from the first value to the last")
    if not has_spread(float(np.std(y - y[0])), y):
        raise SpcError("all values are equal: the drift, if any, is below what the gauge shows")
    if lags is not None and not 0 <= lags < y.size - 2:
        raise SpcError(f"an allowance for {lags} neighbours does not fit {y.size} values")
    scale = float(np.std(y - y[0]))
    scaled, centred = (y - y[0]) / scale, x - x.mean()
    wide = float(np.sum(centred**2))
    level = scaled - scaled.mean()
    steep = float(np.sum(centred * level)) / wide
    left = level - steep * centred
    memory = _memory(left)
    worth = y.size * (1 - memory) / (1 + memory)
    if lags is None:
        choices = [_by_neighbours(left, centred, memory, worth), _by_slow_waves(scaled, centred)]
    else:
        design = np.column_stack([np.ones(y.size), centred])
        error = math.sqrt(max(0.0, float(newey_west(design, scaled, lags)[1, 1])) * y.size / (y.size - 2))
        choices = [(error, y.size - 2.0)]
    half, p = 0.0, 0.0
    for error, free in choices:
        half = max(half, float(stdtrit(free, (1 + confidence) / 2)) * error)
        p = max(p, 2 * float(stdtr(free, -abs(steep) / error)) if error > 0 else 0.0)
    slope = Index(steep * scale, (steep - half) * scale, (steep + half) * scale, confidence)
    warnings: tuple[str, ...] = ()
    if lags is None and worth < _FEW_WORTH:
        warnings = (
            f"each value resembles the one before so much ({memory:.2f}) that these {y.size} are worth "
            f"{worth:.0f} independent ones: the slope may be a slow wave",
        )
    middle, _, least, most = (float(v) for v in np.asarray(theilslopes(y, x, alpha=confidence)))
    return Trend(slope, p, memory, lags, Index(middle, least, most, confidence), rank_trend(y), warnings)


def _memory(left: Array) -> float:
    """Correlation of neighbours in what a line leaves, freed of the bias that the line's two constants bring."""
    n, whole = left.size, float(np.sum(left**2))
    if not whole > 0 or n <= _ENOUGH_FOR_BIAS:
        return 0.0
    raw = float(np.sum(left[1:] * left[:-1])) / whole
    return min(max((n * raw + 2) / (n - 4), 0.0), _MOST_MEMORY)


def _by_neighbours(left: Array, centred: Array, memory: float, worth: float) -> tuple[float, float]:
    """Standard error of a least-squares slope, and its degrees of freedom, when neighbours remember."""
    n, wide = left.size, float(np.sum(centred**2))
    fades = memory ** np.arange(n)

    def stretched(v: Array) -> float:
        own = np.correlate(v, v, "full")[n - 1 :]
        return float(own[0] + 2 * np.sum(fades[1:] * own[1:]))

    tilt = stretched(centred)
    free = n - stretched(np.ones(n)) / n - tilt / wide
    variance = float(np.sum(left**2)) / max(free, 1.0)
    return math.sqrt(variance * tilt) / wide, max(worth, 4.0) - 2


def _by_slow_waves(scaled: Array, centred: Array) -> tuple[float, float]:
    """Standard error of a slope from the slowest other polynomials, and how many there are."""
    waves = min(_WAVES, scaled.size - 2)
    reach = float(np.max(np.abs(centred)))
    basis, _ = np.linalg.qr(np.polynomial.legendre.legvander(centred / reach, waves + 1))
    found = basis[:, 2:].T @ (scaled - scaled.mean())
    return math.sqrt(float(np.mean(found**2)) / float(np.sum(centred**2))), float(waves)


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
