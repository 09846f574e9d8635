"""Charts, capability and variance components of many processes at once, in array operations.

The same figures as the functions for one process, which the tests hold against these; for tables with a row a
process and for looking back over years.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.charts.lanes import Lanes
from spc.charts.packed_rules import count_broken, room_for
from spc.charts.run_rules import BEYOND, Rule
from spc.constants import d2
from spc.errors import LARGEST, SpcError, TooFewReadings
from spc.intervals import one_sided_limits
from spc.shown import Shown

Array = NDArray[np.float64]
Ints = NDArray[np.int_]

_BLOCK = 160_000
"""Points worked on at a time, so that the intermediate arrays stay in the processor's cache."""
DRAWS = 2_000


@dataclass(frozen=True)
class ManyCharts(Shown):
    """Individuals charts of many processes; arrays have one entry a process.

    Attributes
    ----------
    center, sigma, lower, upper : arrays, shape (processes,)
        Mean, mean moving range over d2, and limits at three sigma. [unit]
    rules : tuple of str
    counts : int array, shape (processes, rules)
        Points that break each rule.
    last : int array, shape (processes, rules)
        Index of the last of them; -1 for none.
    average_out, sum_out : int arrays, shape (processes,)
        Points at which the weighted average, or the cumulative sum, is beyond its limits.
    flat : bool array, shape (processes,)
        All values equal: no limits, no signals.
    """

    center: Array
    sigma: Array
    lower: Array
    upper: Array
    rules: tuple[str, ...]
    counts: Ints
    last: Ints
    average_out: Ints
    sum_out: Ints
    flat: NDArray[np.bool_]


def many_charts(
    values: ArrayLike,
    rules: Sequence[Rule] = (BEYOND,),
    *,
    weight: float = 0.2,
    width: float = 2.962,
    allowance: float = 0.5,
    limit: float = 5.0,
) -> ManyCharts:
    """Limits, run rules, weighted average and cumulative sum of many processes.

    Parameters
    ----------
    values : array-like, shape (processes, n)
        Complete series in order of machining, n at least 2. [any unit, one a process]
    rules : sequence of Rule
    weight, width : float
        Of the weighted average, as `ewma_chart`; limits that open up.
    allowance, limit : float
        Of the cumulative sum, as `cusum_chart`. [sigma]

    Returns
    -------
    ManyCharts

    Raises
    ------
    TooFewReadings
        Fewer than 2 values a process.
    SpcError
        Not a table, a value is not finite, or a setting is out of range.

    References
    ----------
    .. [1] As `individuals`, `check_rules`, `ewma_chart` and `cusum_chart`.
    """
    x = np.ascontiguousarray(values, dtype=float)
    if x.ndim != 2:
        raise SpcError(f"many charts need a table of processes by values; got shape {x.shape}")
    if x.shape[1] < 2:
        raise TooFewReadings("an individuals chart", "2 values", x.shape[1])
    if not (0 < weight <= 1 and width > 0 and allowance >= 0 and limit > 0):
        raise SpcError(
            "weight lies above 0 and up to 1, width and limit above 0, the allowance at 0 or above"
        )
    m, n = x.shape
    if not np.isfinite(x.sum(axis=1)).all():
        bad = np.argwhere(~np.isfinite(x))
        if bad.size:
            raise SpcError(f"value {bad[0][1] + 1} of process {bad[0][0] + 1} is {x[tuple(bad[0])]}")
    center, sigma = np.empty(m), np.empty(m)
    counts, last = np.zeros((m, len(rules)), dtype=int), np.full((m, len(rules)), -1)
    average_out, sum_out = np.zeros(m, dtype=int), np.zeros(m, dtype=int)
    # Cut off where nothing of it is left: smaller powers are slow to compute.
    faded = np.maximum(2 * math.log1p(-min(weight, 1 - 1e-15)) * np.arange(1, n + 1), -100.0)
    bounds = width * np.sqrt(weight / (2 - weight) * -np.expm1(faded))
    step = max(1, _BLOCK // n)
    for begin in range(0, m, step):
        part = slice(begin, begin + step)
        block = x[part]
        if begin == 0 or len(block) < step:
            room, lanes = room_for(len(block), n, rules), Lanes(len(block), n)
            z, steps = room[:, :n], np.zeros(block.shape)
        np.subtract(block.ravel()[1:], block.ravel()[:-1], out=steps.ravel()[:-1])
        steps[:, -1] = 0.0
        sigma[part] = np.abs(steps, out=steps).sum(axis=1) / (n - 1) / d2(2)
        center[part] = block[:, 0] + np.subtract(block, block[:, :1], out=z).mean(axis=1)
        # Values that are all equal have no score: NaN breaks no rule and passes no limit.
        spread = np.where(sigma[part] > 0, sigma[part], np.nan)
        np.divide(np.subtract(block, center[part, None], out=z), spread[:, None], out=z)
        counts[part], last[part] = count_broken(room, rules)
        lanes.take(z)
        average_out[part] = lanes.average_out(weight, bounds)
        sum_out[part] = lanes.sum_out(allowance, limit)
    return ManyCharts(
        center,
        sigma,
        center - 3 * sigma,
        center + 3 * sigma,
        tuple(rule.name for rule in rules),
        counts,
        last,
        average_out,
        sum_out,
        sigma == 0,
    )


@dataclass(frozen=True)
class ManyIndices(Shown):
    """Ppk of many processes with limits, and Pp where both limits exist (NaN elsewhere). Shape (processes,)."""

    ppk: Array
    ppk_lower: Array
    ppk_upper: Array
    pp: Array
    pp_lower: Array
    pp_upper: Array


def many_indices(
    mean: ArrayLike,
    sd: ArrayLike,
    n: ArrayLike,
    lower: ArrayLike,
    upper: ArrayLike,
    *,
    confidence: float = 0.95,
    seed: int = 0,
) -> ManyIndices:
    """Ppk and Pp of many processes of independent normal values, with their intervals.

    One limit: exact, by the noncentral t. Two: the lower end from pivotal draws with the nearer side taken
    within each, the upper end by formula, as `limit_index`; Pp by chi-square.

    Parameters
    ----------
    mean, sd : array-like, shape (processes,)
        sd with n - 1, above 0. [unit of the process]
    n : array-like of int, shape (processes,)
        Values, 2 or more.
    lower, upper : array-like, shape (processes,)
        Specification limits; NaN for none, at least one a process. [unit of the process]
    confidence : float
        Two-sided.
    seed : int
        Of the draws; the same seed gives the same result.

    Returns
    -------
    ManyIndices

    Raises
    ------
    SpcError
        An sd that is not above 0, a mean that is no number, no limit, or limits the wrong way round (the
        message names the first process).
    TooFewReadings
        An n below 2.

    References
    ----------
    .. [1] As `one_sided_interval`, `limit_index` and `spread_index_interval`.
    """
    from scipy.special import chdtri, stdtrit

    try:
        asked = np.broadcast_arrays(*(np.atleast_1d(v) for v in (mean, sd, n, lower, upper)))
    except ValueError:
        raise SpcError("mean, sd, n and limits have lengths that do not fit each other") from None
    m, s, size, low, high = (a.astype(float) for a in asked)
    if m.ndim != 1 or m.size < 1:
        raise SpcError(f"many indices need a series with an entry a process; got shape {m.shape}")
    for wrong, words in (
        (~np.isfinite(m), "has a mean that is no number"),
        (~(s > 0) | np.isinf(s), "has no spread: its sd must be above 0"),
        (np.isnan(low) & np.isnan(high), "has no limit"),
        (low >= high, "has its limits the wrong way round"),
    ):
        if wrong.any():
            raise SpcError(f"process {int(np.flatnonzero(wrong)[0]) + 1} {words}")
    if size.min() < 2:
        raise TooFewReadings("an interval of a capability index", "2 values", int(size.min()))
    tail = (1 - confidence) / 2
    sides = np.stack([(high - m) / (3 * s), (m - low) / (3 * s)])
    ppk = np.nanmin(sides, axis=0)
    both = ~np.isnan(sides).any(axis=0)
    least, most = np.empty(m.size), np.empty(m.size)
    if not both.all():
        one = ~both
        least[one], most[one] = one_sided_limits(ppk[one], size[one].astype(int), confidence)
    pp, pp_lower, pp_upper = (np.full(m.size, np.nan) for _ in range(3))
    if both.any():
        k, nu = size[both], size[both] - 1
        rng = np.random.default_rng(seed)
        ratio = np.sqrt(nu[:, None] / rng.chisquare(nu[:, None], (k.size, DRAWS)))
        away = rng.standard_normal((k.size, DRAWS)) * ratio / (3 * np.sqrt(k)[:, None])
        up, down = sides[0][both][:, None], sides[1][both][:, None]
        drawn = np.concatenate(
            [np.minimum(up - away, down + away) / ratio, np.minimum(up + away, down - away) / ratio], axis=1
        )
        least[both] = np.minimum(np.quantile(drawn, tail, axis=1), ppk[both])
        t = stdtrit(nu, 1 - tail)
        most[both] = ppk[both] + t * np.sqrt(1 / (9 * k) + ppk[both] ** 2 / (2 * nu))
        pp[both] = (high - low)[both] / (6 * s[both])
        pp_lower[both] = pp[both] * np.sqrt(chdtri(nu, 1 - tail) / nu)
        pp_upper[both] = pp[both] * np.sqrt(chdtri(nu, tail) / nu)
    return ManyIndices(ppk, least, most, pp, pp_lower, pp_upper)


def many_components(readings: ArrayLike) -> tuple[Array, Array]:
    """Variance from part to part and within a part of many balanced processes.

    Parameters
    ----------
    readings : array-like, shape (processes, parts, p)
        Complete; 2 parts and 2 readings a part or more. [any unit, one a process]

    Returns
    -------
    between, within : arrays, shape (processes,)
        Components by expected mean squares; a negative one is left as it is, for the caller to judge.
        [unit squared]

    Raises
    ------
    SpcError
        Not such a table, or a reading is missing.
    TooFewReadings
        Fewer than 2 parts or readings.

    References
    ----------
    .. [1] As `variance_components` without a position pattern.
    """
    y = np.asarray(readings, dtype=float)
    if y.ndim != 3 or not (np.abs(y) <= LARGEST).all():
        raise SpcError("many components need complete tables of processes by parts by readings")
    _, parts, p = y.shape
    if min(parts, p) < 2:
        raise TooFewReadings("variance components", "2 parts and 2 readings a part", min(parts, p))
    y = y - y[:, :1, :1]
    means = y.mean(axis=2)
    within = np.sum((y - means[:, :, None]) ** 2, axis=(1, 2)) / (parts * (p - 1))
    return means.var(axis=1, ddof=1) - within / p, within
