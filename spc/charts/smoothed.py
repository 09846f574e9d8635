"""Charts with a memory: exponentially weighted moving average and tabular cumulative sum."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.charts.classical import Panel
from spc.errors import SpcError
from spc.shown import Shown
from spc.variation import finite_series

Array = NDArray[np.floating]


@dataclass(frozen=True)
class CusumChart(Shown):
    """Upper and lower cumulative sums.

    Attributes
    ----------
    high, low : arrays, shape (n,)
        Sums of what exceeds the target by more than the allowance, upwards and downwards; both 0 and above.
        [unit of the values]
    plain : array, shape (n,)
        Running sum of deviations from the target. [unit]
    limit : float
        Decision interval. [unit]
    """

    high: Array
    low: Array
    plain: Array
    limit: float

    @property
    def beyond(self) -> NDArray[np.intp]:
        """Indices, from 0, at which either sum exceeds the limit."""
        return np.flatnonzero((self.high > self.limit) | (self.low > self.limit))


def ewma_chart(
    values: ArrayLike,
    *,
    target: float,
    sigma: float,
    weight: float = 0.2,
    width: float = 2.962,
    asymptotic: bool = False,
) -> Panel:
    """Exponentially weighted moving average with its limits.

    Parameters
    ----------
    values : array-like, shape (n,)
        In order of machining. [any unit]
    target, sigma : float
        Level it starts from, and standard deviation of one value. [unit]
    weight : float
        Of the newest value, above 0 and up to 1. The default pair has an in-control run length of about 500.
    width : float
        Half width of the limits in standard deviations of the average.
    asymptotic : bool
        Limits of the steady state from the first point on, instead of exact ones that open up.

    Returns
    -------
    Panel

    Raises
    ------
    TooFewReadings
        There is no value.
    SpcError
        A value is not finite, or weight or sigma is out of range.

    References
    ----------
    .. [1] Roberts, S. W. (1959), Technometrics 1, 239-250; Lucas, J. M. & Saccucci, M. S. (1990),
       Technometrics 32, 1-12 (from memory); NIST/SEMATECH e-Handbook, 6.3.2.4.
    """
    from scipy.signal import lfilter

    x = finite_series(values, "a weighted average chart", 1)
    if not 0 < weight <= 1:
        raise SpcError(f"the weight of the newest value lies above 0 and up to 1; got {weight}")
    if not (math.isfinite(sigma) and sigma >= 0):
        raise SpcError(f"a standard deviation is 0 or above; got {sigma}")
    smoothed = target + np.asarray(lfilter([weight], [1.0, weight - 1.0], x - target))
    steps = np.arange(1, x.size + 1)
    grown = np.ones(x.size) if asymptotic else 1 - (1 - weight) ** (2 * steps)
    half = width * sigma * np.sqrt(weight / (2 - weight) * grown)
    return Panel("weighted average", smoothed, target, target - half, target + half)


def cusum_chart(values: ArrayLike, *, target: float, allowance: float, limit: float) -> CusumChart:
    """Tabular cumulative sum.

    Parameters
    ----------
    values : array-like, shape (n,)
        In order of machining. [any unit]
    target : float
        [unit]
    allowance : float
        Deviation that is let pass, usually half the shift to be found; 0 or above. [unit]
    limit : float
        Decision interval, above 0. [unit]

    Returns
    -------
    CusumChart

    Raises
    ------
    TooFewReadings
        There is no value.
    SpcError
        A value is not finite, or allowance or limit is out of range.

    References
    ----------
    .. [1] Page, E. S. (1954), Biometrika 41, 100-115 (from memory); NIST/SEMATECH e-Handbook, 6.3.2.3.
    """
    x = finite_series(values, "a cumulative sum chart", 1)
    if not (allowance >= 0 and limit > 0):
        raise SpcError(f"the allowance is 0 or above and the limit above 0; got {allowance} and {limit}")
    deviation = x - target
    return CusumChart(
        high=_reflected(deviation - allowance),
        low=_reflected(-deviation - allowance),
        plain=deviation.cumsum(),
        limit=limit,
    )


def _reflected(steps: Array) -> Array:
    """Cumulative sum that never falls below 0: the plain sum less its lowest point so far."""
    total = np.cumsum(steps)
    return total - np.minimum(np.minimum.accumulate(total), 0.0)
