"""Bootstrap by part: whole parts are drawn again, since readings on one part share their set-up.

Indices of mean and spread are studentised. Plain percentiles of the copies missed the lower limit of Ppk of 25
parts in 10 to 13 % of simulated cases, copies read as ratios covered 88 to 92 % of cases with 10 and 25 parts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.capability.tolerance import LEAST_PARTS, check_limits
from spc.errors import LARGEST, SpcError, TooFewReadings

Array = NDArray[np.float64]
COPIES = 2_000
_CELLS = 4_000_000
_LEAST_REACH = 1e-60
"""Readings nearer to each other have squares beyond the range of a float. [unit]"""


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


def resampled_index(
    readings: ArrayLike, weights: Array, lower: float | None, upper: float | None
) -> tuple[Array, Array]:
    """Ppk of each copy and its standard error, by matrix products.

    The spread is that of the part means plus what lies within a part, which is unbiased however few the parts
    are. The standard error follows from what each part contributes to mean and spread (delta method).

    Parameters
    ----------
    readings : array-like, shape (parts, p) or (processes, parts, p)
        NaN = not measured; every part has a reading. [any unit]
    weights : array, shape (copies, parts)
        From `part_weights`; shared by all processes.
    lower, upper : float or None
        At least one. [unit]

    Returns
    -------
    index, error : arrays, shape (copies,) or (processes, copies)
        Of the nearer side of each copy. [-]
    """
    y = np.asarray(readings, dtype=float)
    table = y[None] if y.ndim == 2 else y
    known = np.isfinite(table)
    count = known.sum(axis=2)
    values = np.where(known, table, 0.0)
    middle = (values.sum(axis=2) / count).mean(axis=1)[:, None]
    centred = np.where(known, values - middle[:, :, None], 0.0)
    mean = centred.sum(axis=2) / count
    within = (np.where(known, centred - mean[:, :, None], 0.0) ** 2).sum(axis=2) / count
    size = np.max(np.abs(centred), axis=(1, 2), keepdims=True)[:, :, 0]
    square = mean**2 + within
    k = weights.sum(axis=1)
    m, q, mm, mq, qq = (a @ weights.T for a in (mean, square, mean**2, mean * square, square**2))
    at = m / k
    # Copies whose parts were all alike are held a millionth of the largest deviation apart.
    variance = np.maximum((mm - k * at**2) / (k - 1) + (q - mm) / k, (1e-6 * size) ** 2)
    sigma = np.sqrt(variance)
    index, error = np.full(at.shape, np.inf), np.zeros(at.shape)
    for side, limit in ((1, upper), (-1, lower)):
        if limit is None:
            continue
        own = side * (limit - middle - at) / (3 * sigma)
        of_mean, of_variance = -side / (3 * sigma * k), -own / (2 * variance * k)
        # A part with mean a and mean square b moves the index by c0 + c1 a + c2 b.
        c1, c2 = of_mean - 2 * at * of_variance, of_variance
        c0 = -of_mean * at + of_variance * (at**2 - variance)
        total = c0**2 * k + c1**2 * mm + c2**2 * qq + 2 * (c0 * c1 * m + c0 * c2 * q + c1 * c2 * mq)
        nearer = own < index
        index = np.where(nearer, own, index)
        error = np.where(nearer, np.sqrt(np.maximum(total, 0.0) * k / (k - 1)), error)
    return (index[0], error[0]) if y.ndim == 2 else (index, error)


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
    """Believable Ppk by mean and spread, for one process or many with the same number of parts.

    Studentised: how far a copy's index lies from the sample's, in its own standard errors, is taken for how far
    the sample's lies from the truth. As the copies of few parts scatter less than samples do, these distances
    are widened by the ratio of a Student variance, (n - 1) / (n - 3).

    Parameters
    ----------
    readings : array-like, shape (parts, p) or (processes, parts, p)
        5 parts or more; NaN = not measured. [any unit]
    lower, upper : float or None
        At least one. [unit]
    copies, seed : int
        The same seed gives the same result.

    Returns
    -------
    array, shape (copies,) or (processes, copies)
        Its quantiles are the ends of an interval.

    Raises
    ------
    SpcError
        No limit or impossible ones, an infinite reading, a part without a reading, or a process whose readings are
        all equal.
    TooFewReadings
        Fewer than 5 parts, the smallest number at which the intervals were verified.

    References
    ----------
    .. [1] Davison & Hinkley (1997), 2.4 and 5.2 (studentised bootstrap; from memory). Verified by simulation in the
       tests.
    """
    check_limits(lower, upper)
    if lower is None and upper is None:
        raise SpcError("an index of the distance to a limit needs a limit")
    y = np.asarray(readings, dtype=float)
    if y.ndim not in (2, 3):
        raise SpcError(f"a bootstrap by part needs a table of parts by readings; got shape {y.shape}")
    parts = y.shape[-2]
    if parts < LEAST_PARTS:
        raise TooFewReadings("a bootstrap by part", f"{LEAST_PARTS} parts", parts)
    if (np.abs(y) > LARGEST).any():
        raise SpcError(f"{int((np.abs(y) > LARGEST).sum())} reading(s) are infinite or beyond {LARGEST:g}")
    if not np.isfinite(y).any(axis=-1).all():
        raise SpcError("a part has no reading: leave it out")
    table = y.reshape(-1, parts * y.shape[-1])
    reach = np.nanmax(table, axis=1) - np.nanmin(table, axis=1)
    flat = np.flatnonzero(~(reach > np.maximum(1e-12 * np.nanmax(np.abs(table), axis=1), _LEAST_REACH)))
    if flat.size:
        raise SpcError(
            f"process {flat[0] + 1}: all readings are equal, the spread is below what the gauge shows"
        )
    weights = part_weights(parts, np.random.default_rng(seed), copies)
    copy, error = resampled_index(y, weights, lower, upper)
    whole, whole_error = resampled_index(y, np.ones((1, parts)), lower, upper)
    away = (copy - whole) / np.maximum(error, 1e-6)
    return whole - whole_error * away * np.sqrt((parts - 1) / (parts - 3))


def _first_at_least(counts: Array, wanted: Array) -> NDArray[np.intp]:
    return (counts >= wanted[:, None]).argmax(axis=1)
