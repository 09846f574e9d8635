"""Shewhart charts: individuals and moving range, mean and range, mean and standard deviation, between/within.

Called with a known level and sigma they judge by those; `spc.charts.frozen` keeps limits that were agreed on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.constants import c4, chart_factors, d2
from spc.errors import LARGEST, SpcError, TooFewReadings
from spc.shown import Shown
from spc.variation import finite_series

Array = NDArray[np.floating]


@dataclass(frozen=True)
class Panel(Shown):
    """One statistic over time with its limits.

    Attributes
    ----------
    name : str
    values, lower, upper : arrays, shape (n,)
        The statistic and its control limits at each point. [unit of the readings]
    center : float
        [unit]
    """

    name: str
    values: Array
    center: float
    lower: Array
    upper: Array

    @property
    def beyond(self) -> NDArray[np.intp]:
        """Indices, from 0, of the points outside the limits; a point on a limit is inside."""
        return np.flatnonzero((self.values > self.upper) | (self.values < self.lower))


@dataclass(frozen=True)
class IndividualsChart(Shown):
    """Single values and their moving ranges of two; the ranges start at the second value.

    `sigma` is the one the limits stand on. [unit]
    """

    values: Panel
    moving_range: Panel
    center: float
    sigma: float


@dataclass(frozen=True)
class SubgroupChart(Shown):
    """Subgroup means above, their ranges or standard deviations below.

    `sigma` is that of a single reading within a subgroup. [unit]
    """

    means: Panel
    spreads: Panel
    center: float
    sigma: float


@dataclass(frozen=True)
class BetweenWithinChart(Shown):
    """Part means as individuals, their moving ranges, and the standard deviation within each part.

    `sigma_between` is that of a part mean from one part to the next; `sigma_within` that of a reading on one
    part, position pattern included. [unit]
    """

    means: Panel
    moving_range: Panel
    within: Panel
    sigma_between: float
    sigma_within: float


def individuals(
    values: ArrayLike, *, center: float | None = None, sigma: float | None = None, width: float = 3.0
) -> IndividualsChart:
    """Individuals and moving range chart.

    Parameters
    ----------
    values : array-like, shape (n,)
        In order of machining, at least 2. [any unit]
    center, sigma : float, optional
        Known level and standard deviation; by default the mean and the mean moving range over d2. [unit]
    width : float
        Half width of the limits in sigma.

    Returns
    -------
    IndividualsChart

    Raises
    ------
    TooFewReadings
        Fewer than 2 values.
    SpcError
        A value is not finite, or a given sigma is below 0.

    References
    ----------
    .. [1] ISO 7870-2 (from memory); NIST/SEMATECH e-Handbook, 6.3.2.2.
    """
    x = finite_series(values, "an individuals chart", 2)
    factors = chart_factors(2, width)
    ranges = np.abs(np.diff(x))
    middle = float(x[0] + (x - x[0]).mean()) if center is None else center
    spread = float(ranges.mean()) / d2(2) if sigma is None else _spread(sigma)
    mean_range = spread * d2(2)
    return IndividualsChart(
        values=make_panel("individuals", x, middle, middle - width * spread, middle + width * spread),
        moving_range=make_panel(
            "moving range", ranges, mean_range, factors.D3 * mean_range, factors.D4 * mean_range
        ),
        center=middle,
        sigma=spread,
    )


def mean_range(
    subgroups: ArrayLike, *, center: float | None = None, sigma: float | None = None, width: float = 3.0
) -> SubgroupChart:
    """Mean and range chart of subgroups of one size.

    Parameters
    ----------
    subgroups : array-like, shape (n, m)
        n subgroups of m readings, m at least 2, none missing. [any unit]
    center, sigma : float, optional
        Known level and standard deviation of a single reading. [unit]
    width : float
        Half width of the limits in standard deviations of what is charted.

    Returns
    -------
    SubgroupChart

    Raises
    ------
    TooFewReadings
        No subgroup, or subgroups of one.
    SpcError
        A reading is missing or infinite.

    References
    ----------
    .. [1] ASTM E2587 (from memory); worked examples in the tests.
    """
    y = _subgroups(subgroups, "a mean and range chart")
    m = y.shape[1]
    factors = chart_factors(m, width)
    means, ranges = _means(y), np.ptp(y, axis=1)
    middle = float(means.mean()) if center is None else center
    average = float(ranges.mean()) if sigma is None else _spread(sigma) * d2(m)
    return SubgroupChart(
        means=make_panel("mean", means, middle, middle - factors.A2 * average, middle + factors.A2 * average),
        spreads=make_panel("range", ranges, average, factors.D3 * average, factors.D4 * average),
        center=middle,
        sigma=average / d2(m),
    )


def mean_sd(
    subgroups: ArrayLike, *, center: float | None = None, sigma: float | None = None, width: float = 3.0
) -> SubgroupChart:
    """Mean and standard deviation chart; sizes may differ, the limits then follow the size.

    With one size, sigma is the mean standard deviation over c4. With several, each subgroup's s / c4 is
    weighted by c4^2 / (1 - c4^2), the reciprocal of its variance.

    Parameters
    ----------
    subgroups : array-like, shape (n, m)
        NaN = not measured; every subgroup has at least 2 readings. [any unit]
    center, sigma : float, optional
        Known level and standard deviation of a single reading. [unit]
    width : float
        Half width of the limits in standard deviations of what is charted.

    Returns
    -------
    SubgroupChart
        `spreads.center` is the expected standard deviation at the most common size.

    Raises
    ------
    TooFewReadings
        No subgroup, or one with fewer than 2 readings.
    SpcError
        A reading is infinite.

    References
    ----------
    .. [1] ASTM E2587 (from memory); Burr, I. W. (1969), Journal of Quality Technology 1, 163-167 (weights;
       from memory).
    """
    y = _subgroups(subgroups, "a mean and standard deviation chart", missing=True)
    size = np.isfinite(y).sum(axis=1)
    means, sds = _means(y), _sds(y)
    bias = np.array([c4(int(k)) for k in size])
    weight = bias**2 / (1 - bias**2)
    spread = float(np.sum(weight * sds / bias) / weight.sum()) if sigma is None else _spread(sigma)
    middle = float(np.sum(size * means) / size.sum()) if center is None else center
    half = width * spread / np.sqrt(size)
    sway = width * spread * np.sqrt(1 - bias**2)
    usual = int(np.bincount(size).argmax())
    return SubgroupChart(
        means=make_panel("mean", means, middle, middle - half, middle + half),
        spreads=make_panel(
            "standard deviation",
            sds,
            c4(usual) * spread,
            np.maximum(0.0, bias * spread - sway),
            bias * spread + sway,
        ),
        center=middle,
        sigma=spread,
    )


def between_within(readings: ArrayLike, *, width: float = 3.0) -> BetweenWithinChart:
    """Part means by their moving range, and the spread within each part.

    For parts with many readings that share a set-up. Limits of part means from the spread within a part would
    be far too tight, because parts differ by more than their readings do.

    Parameters
    ----------
    readings : array-like, shape (n_parts, p)
        NaN = not measured; every part has at least 2 readings. [any unit]
    width : float
        Half width of the limits in standard deviations of what is charted.

    Returns
    -------
    BetweenWithinChart

    Raises
    ------
    TooFewReadings
        Fewer than 2 parts, or a part with fewer than 2 readings.
    SpcError
        A reading is infinite.

    References
    ----------
    .. [1] Common practice for batches with structure, no source.
    """
    inner = mean_sd(readings, width=width)
    outer = individuals(inner.means.values, width=width)
    return BetweenWithinChart(
        means=outer.values,
        moving_range=outer.moving_range,
        within=inner.spreads,
        sigma_between=outer.sigma,
        sigma_within=inner.sigma,
    )


def make_panel(name: str, values: Array, center: float, lower: float | Array, upper: float | Array) -> Panel:
    """Panel with limits given once, or point by point. Units and shapes as in `Panel`."""
    return Panel(
        name,
        values,
        center,
        np.broadcast_to(np.asarray(lower, dtype=float), values.shape),
        np.broadcast_to(np.asarray(upper, dtype=float), values.shape),
    )


def _spread(sigma: float) -> float:
    if not (math.isfinite(sigma) and sigma >= 0):
        raise SpcError(f"a standard deviation is 0 or above; got {sigma}")
    return sigma


def _subgroups(subgroups: ArrayLike, what: str, *, missing: bool = False) -> Array:
    y = np.asarray(subgroups, dtype=float)
    if y.ndim != 2:
        raise SpcError(f"{what} needs a table of subgroups by readings; got shape {y.shape}")
    if (np.abs(y) > LARGEST).any() or (not missing and np.isnan(y).any()):
        raise SpcError(
            f"{what} needs {'finite readings' if missing else 'complete subgroups of finite readings'}"
        )
    if y.shape[0] < 1:
        raise TooFewReadings(what, "1 subgroup", 0)
    fewest = int(np.isfinite(y).sum(axis=1).min())
    if fewest < 2:
        raise TooFewReadings(what, "2 readings in every subgroup", fewest)
    return y


def _means(y: Array) -> Array:
    known = np.isfinite(y)
    # Every row has a reading; subtracting one keeps the digits of readings with a large common part.
    first = y[np.arange(y.shape[0]), known.argmax(axis=1)]
    return first + np.where(known, y - first[:, None], 0.0).sum(axis=1) / known.sum(axis=1)


def _sds(y: Array) -> Array:
    known = np.isfinite(y)
    centred = np.where(known, y - _means(y)[:, None], 0.0)
    return np.sqrt((centred**2).sum(axis=1) / (known.sum(axis=1) - 1))
