"""Classes and counts of readings, with the fitted density to the same scale."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.capability.distribution import HIGH_SHARE, LOW_SHARE, Fit, density, quantiles
from spc.capability.shapes import Drawable
from spc.errors import TooFewReadings
from spc.shown import Shown

Array = NDArray[np.floating]


@dataclass(frozen=True)
class Histogram(Shown):
    """Counts of readings per class, and the fitted density as counts per class.

    Attributes
    ----------
    edges : array, shape (classes + 1,)
        [unit of the readings]
    counts : int array, shape (classes,)
    curve_at, curve : arrays, shape (m,)
        Where the fitted density is given, and its height as an expected count. [unit of the readings], [-]
    """

    edges: Array
    counts: NDArray[np.int_]
    curve_at: Array
    curve: Array


def histogram_of(values: ArrayLike, fit: Drawable | None = None, *, resolution: float = 0.0) -> Histogram:
    """Classes, counts and the fitted curve of readings.

    Classes follow Freedman and Diaconis. They are a whole number of resolution steps wide, one at least, so
    that rounding of the gauge does not make a comb.

    Parameters
    ----------
    values : array-like
        NaN = not measured. [any unit]
    fit : Fit, Weibull or Johnson, optional
        Its density is drawn; without it the curve is empty.
    resolution : float
        Step of the gauge; 0 when not known. [unit of the values]

    Returns
    -------
    Histogram

    Raises
    ------
    TooFewReadings
        There is no reading.

    References
    ----------
    .. [1] Freedman, D. & Diaconis, P. (1981), Z. Wahrscheinlichkeitstheorie 57, 453-476 (class width;
       from memory).
    """
    x = np.asarray(values, dtype=float).ravel()
    x = x[np.isfinite(x)]
    if x.size == 0:
        raise TooFewReadings("a histogram", "1 reading", 0)
    low, high = float(x.min()), float(x.max())
    quarter = float(np.subtract(*np.quantile(x, [0.75, 0.25])))
    width = 2 * quarter / x.size ** (1 / 3) or (high - low) / 10 or resolution or abs(low) * 1e-3 or 1.0
    width = max(width, (high - low) / 60)
    if resolution > 0:
        width = math.ceil(width / resolution - 1e-9) * resolution
        # Edges midway between the values that the gauge can show.
        low = (math.floor(low / resolution + 1e-6) - 0.5) * resolution
    classes = max(1, math.ceil((high - low) / width + 1e-9))
    edges = low + width * np.arange(classes + 1)
    edges[-1] = max(edges[-1], high)
    counts, _ = np.histogram(x, edges)
    if fit is None or (isinstance(fit, Fit) and not fit.sigma > 0):
        return Histogram(edges, counts, np.zeros(0), np.zeros(0))
    if isinstance(fit, Fit):
        least, _, most = quantiles(fit.shape, fit.mean, fit.sigma)
    else:
        least, most = fit.quantile(LOW_SHARE), fit.quantile(HIGH_SHARE)
    at = np.linspace(min(low, float(least)), max(float(edges[-1]), float(most)), 121)
    height = density(at, fit) if isinstance(fit, Fit) else fit.density(at)
    return Histogram(edges, counts, at, height * width * x.size)
