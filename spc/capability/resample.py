"""Bootstrap by part: whole parts are drawn again, since readings on one part share their set-up.

Copies are read as ratios: how a copy's spread compares with the sample's is taken for how the sample's compares
with the truth. Plain percentiles of the copies missed the lower limit of Ppk of 25 parts in 10 to 13 % of
simulated cases, this in 3 to 4 %.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.capability.tolerance import check_limits, distance_index
from spc.errors import SpcError, TooFewReadings

Array = NDArray[np.float64]
COPIES = 2_000
_CELLS = 4_000_000


def part_weights(parts: int, rng: np.random.Generator, copies: int = COPIES) -> Array:
    """How often each part counts in each copy of one part fewer.

    One fewer, so that the spread from copy to copy is that of an n - 1 variance and not too small by 1 / n.

    Parameters
    ----------
    parts : int
        2 or more.
    rng : numpy.random.Generator
    copies : int

    Returns
    -------
    array, shape (copies, parts)
        Rows add up to `parts` - 1.

    Raises
    ------
    TooFewReadings
        Fewer than 2 parts.

    References
    ----------
    .. [1] Efron, B. & Tibshirani, R. J. (1993), An Introduction to the Bootstrap; whole clusters: Davison, A. C.
       & Hinkley, D. V. (1997), Bootstrap Methods and their Application, 3.8; n - 1 draws: Rao, J. N. K. & Wu,
       C. F. J. (1988), Journal of the American Statistical Association 83, 231-241 (all from memory).
    """
    if parts < 2:
        raise TooFewReadings("a bootstrap by part", "2 parts", parts)
    drawn = rng.integers(0, parts, size=(copies, parts - 1)) + parts * np.arange(copies)[:, None]
    return np.bincount(drawn.ravel(), minlength=copies * parts).reshape(copies, parts).astype(float)


def resampled_moments(readings: ArrayLike, weights: Array) -> tuple[Array, Array]:
    """Mean and standard deviation of all readings in each copy, by two matrix products.

    Parameters
    ----------
    readings : array-like, shape (parts, p) or (processes, parts, p)
        NaN = not measured. [any unit]
    weights : array, shape (copies, parts)
        From `part_weights`; shared by all processes.

    Returns
    -------
    mean, sd : arrays, shape (copies,) or (processes, copies)
        n - 1 standard deviation of the counted readings. [unit]
    """
    y = np.asarray(readings, dtype=float)
    table = y[None] if y.ndim == 2 else y
    known = np.isfinite(table)
    values = np.where(known, table, 0.0)
    first = values.sum(axis=(1, 2), keepdims=True) / np.maximum(known.sum(axis=(1, 2), keepdims=True), 1)
    centred = np.where(known, values - first, 0.0)
    count = known.sum(axis=2) @ weights.T
    sums = centred.sum(axis=2) @ weights.T
    squares = (centred**2).sum(axis=2) @ weights.T
    mean = sums / count
    variance = np.maximum(squares - count * mean**2, 0.0) / np.maximum(count - 1, 1)
    mean, sd = mean + first[:, :, 0], np.sqrt(variance)
    return (mean[0], sd[0]) if y.ndim == 2 else (mean, sd)


def resampled_points(readings: ArrayLike, weights: Array, shares: tuple[float, ...]) -> Array:
    """Points of the readings of each copy below which given shares lie, at (n + 1) p.

    Parameters
    ----------
    readings : array-like, shape (parts, p)
        NaN = not measured. [any unit]
    weights : array, shape (copies, parts)
    shares : tuple of float
        Within 0 and 1.

    Returns
    -------
    array, shape (len(shares), copies)
        [unit]
    """
    y = np.asarray(readings, dtype=float)
    part, _ = np.nonzero(np.isfinite(y))
    x = y[np.isfinite(y)]
    order = np.argsort(x, kind="stable")
    x, part = x[order], part[order]
    found = np.empty((len(shares), weights.shape[0]))
    step = max(1, _CELLS // x.size)
    for begin in range(0, weights.shape[0], step):
        counts = np.cumsum(weights[begin : begin + step][:, part], axis=1)
        n = counts[:, -1]
        for i, share in enumerate(shares):
            place = np.clip((n + 1) * share, 1, n)
            under = np.floor(place)
            low = x[_first_at_least(counts, under)]
            high = x[_first_at_least(counts, np.minimum(under + 1, n))]
            found[i, begin : begin + step] = low + (place - under) * (high - low)
    return found


def bootstrap_index(
    readings: ArrayLike, lower: float | None, upper: float | None, *, copies: int = COPIES, seed: int = 0
) -> Array:
    """Believable Ppk of normal readings, for one process or many with the same number of parts.

    Parameters
    ----------
    readings : array-like, shape (parts, p) or (processes, parts, p)
        NaN = not measured. [any unit]
    lower, upper : float or None
        At least one. [unit]
    copies, seed : int
        The same seed gives the same result.

    Returns
    -------
    array, shape (copies,) or (processes, copies)

    Raises
    ------
    SpcError
        No limit or impossible ones.
    TooFewReadings
        Fewer than 2 parts.
    """
    check_limits(lower, upper)
    if lower is None and upper is None:
        raise SpcError("an index of the distance to a limit needs a limit")
    y = np.asarray(readings, dtype=float)
    weights = part_weights(y.shape[-2], np.random.default_rng(seed), copies)
    mean, sd = resampled_moments(y, weights)
    whole_mean, whole_sd = resampled_moments(y, np.ones((1, y.shape[-2])))
    middle, side = _turned(mean, sd, whole_mean, np.maximum(whole_sd, 1e-300))
    return np.asarray(distance_index(middle - 3 * side, middle, middle + 3 * side, lower, upper), dtype=float)


def believable_points(points: Array, copies: Array) -> Array:
    """Points that the truth may have, from those of the sample and of its copies.

    Parameters
    ----------
    points : array, shape (3,)
        Low, median and high of the sample, all different. [unit]
    copies : array, shape (3, copies)
        The same of each copy. [unit]

    Returns
    -------
    array, shape (3, copies)
        [unit]
    """
    low, median, high = points
    # Copies whose parts were all alike are held a ten-thousandth of the spread apart.
    least = 1e-4 * (high - low)
    over = np.maximum(copies[2] - copies[1], least)
    under = np.maximum(copies[1] - copies[0], least)
    up, upper_side = _turned(copies[1], over, median, high - median)
    down, lower_side = _turned(copies[1], under, median, median - low)
    middle = np.where(copies[1] < median, up, down)
    return np.array([middle - lower_side, middle, middle + upper_side])


def _turned(mean: Array, spread: Array, whole_mean: Array, whole_spread: Array) -> tuple[Array, Array]:
    """Centre and spread of the truth if it lies to the sample as the sample lies to its copy."""
    ratio = np.maximum(spread / whole_spread, 1e-4)
    return whole_mean - (mean - whole_mean) / ratio, whole_spread / ratio


def _first_at_least(counts: Array, wanted: Array) -> NDArray[np.intp]:
    return (counts >= wanted[:, None]).argmax(axis=1)
