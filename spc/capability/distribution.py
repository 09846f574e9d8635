"""The shape that readings follow: normal, lognormal or folded normal, and what follows from it.

All three are a normal law on some scale: the readings themselves, their logarithms, or signed values of which
only the size is judged. So one model of spread serves them all, and only the quantiles differ.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.errors import SpcError
from spc.halving import halve
from spc.shown import Shown
from spc.variation import finite_series, has_spread

Shape = Literal["normal", "lognormal", "folded normal"]
AnyShape = Literal["normal", "lognormal", "folded normal", "weibull", "johnson"]
"""With the shapes of `spc.capability.shapes` and `spc.capability.johnson`, which have a tail of their own."""
Array = NDArray[np.floating]

# Median and the quantiles that a normal law has at -3 and +3 standard deviations (ISO 22514-2).
LOW_SHARE = 0.0013498980316300933
HIGH_SHARE = 1 - LOW_SHARE

# A fit must be this much more likely (log-likelihood) before it displaces the shape that the kind suggests.
_CLEARLY_BETTER = 3.0


@dataclass(frozen=True)
class NormalityTest(Shown):
    """Anderson-Darling test against the normal law with estimated mean and sigma.

    `statistic` is A^2; `p_value` the chance of one as large from normal data; `n` the values tested.
    """

    statistic: float
    p_value: float
    n: int


@dataclass(frozen=True)
class Fit(Shown):
    """A shape with the mean and sigma of its normal scale.

    `mean` and `sigma` are in the unit of the readings, or in logarithms for the lognormal shape.
    """

    shape: Shape
    mean: float
    sigma: float


def anderson_darling(values: ArrayLike) -> NormalityTest:
    """Test whether independent values look normal.

    Parameters
    ----------
    values : array-like, shape (n,)
        Independent: one value a part. [any unit]

    Returns
    -------
    NormalityTest

    Raises
    ------
    TooFewReadings
        Fewer than 8 values.
    SpcError
        A value is not finite, or all are equal.

    References
    ----------
    .. [1] Stephens, M. A. (1986) in D'Agostino & Stephens, Goodness-of-Fit Techniques, table 4.9. The same
       as statsmodels `normal_ad`, except where that is infinite (a value more than 8 standard deviations
       out) or its p-value rises again (adjusted statistic above 153, as thousands of skewed values reach).
    """
    from scipy.special import log_ndtr

    x = finite_series(values, "the Anderson-Darling test", 8)
    centred = x - x[0]
    if not has_spread(float(np.std(centred)), x):
        raise SpcError("the Anderson-Darling test needs values that differ; all are equal")
    scaled = np.sort(centred / np.std(centred))
    z = (scaled - scaled.mean()) / np.std(scaled, ddof=1)
    n = int(x.size)
    weights = 2 * np.arange(1, n + 1) - 1
    statistic = float(-n - np.mean(weights * (log_ndtr(z) + log_ndtr(-z[::-1]))))
    return NormalityTest(statistic, _p_of_anderson_darling(statistic * (1 + 0.75 / n + 2.25 / n**2)), n)


def _p_of_anderson_darling(adjusted: float) -> float:
    """The published fit, piece by piece; its last piece is a parabola that is left at its lowest point."""
    if adjusted < 0.2:
        p = 1 - np.exp(-13.436 + 101.14 * adjusted - 223.73 * adjusted**2)
    elif adjusted < 0.34:
        p = 1 - np.exp(-8.318 + 42.796 * adjusted - 59.938 * adjusted**2)
    elif adjusted < 0.6:
        p = np.exp(0.9177 - 4.279 * adjusted - 1.38 * adjusted**2)
    else:
        a = min(adjusted, 5.709 / (2 * 0.0186))
        p = np.exp(1.2937 - 5.709 * a + 0.0186 * a**2)
    return float(min(max(p, 0.0), 1.0))


def to_normal_scale(values: ArrayLike, shape: Shape) -> Array:
    """Readings on the scale on which the shape is normal.

    Folded normal readings must still carry their sign.

    Parameters
    ----------
    values : array-like
        NaN = not measured. [any unit]
    shape : Shape

    Returns
    -------
    array, same shape

    Raises
    ------
    SpcError
        A lognormal shape is asked of values that are not all positive.
    """
    x = np.asarray(values, dtype=float)
    if shape != "lognormal":
        return x
    low = x[np.isfinite(x)]
    if (low <= 0).any():
        raise SpcError(f"a lognormal shape needs readings above 0; the smallest is {low.min():g}")
    return np.log(x)


def fit_shape(values: ArrayLike, shape: Shape) -> Fit:
    """Fit one shape to plain values.

    Normal and lognormal by mean and n - 1 standard deviation of their scale. Folded normal, of values
    without a sign, by the mean size and the mean square.

    Parameters
    ----------
    values : array-like, shape (n,)
        [any unit]
    shape : Shape

    Returns
    -------
    Fit

    Raises
    ------
    TooFewReadings
        Fewer than 2 values.
    SpcError
        A value is not finite, below 0 (folded normal), or not above 0 (lognormal).

    References
    ----------
    .. [1] Leone, F. C., Nelson, L. S. & Nottingham, R. B. (1961), Technometrics 3, 543-550 (folded normal by
       moments; from memory).
    """
    x = finite_series(values, f"a {shape} fit", 2)
    if shape == "folded normal":
        if (x < 0).any():
            raise SpcError(f"sizes cannot lie below 0; the smallest is {x.min():g}")
        mean, sigma = folded_from_moments(np.asarray(x.mean()), np.asarray(np.mean(x**2)))
        return Fit(shape, float(mean), float(sigma))
    y = to_normal_scale(x, shape)
    return Fit(shape, float(y[0] + (y - y[0]).mean()), float(np.std(y - y[0], ddof=1)))


def log_likelihood(values: Array, fit: Fit) -> float:
    """Log-likelihood of plain values under a fit; minus infinity is given as a very low number.

    Parameters
    ----------
    values : array, shape (n,)
        [as fitted]
    fit : Fit

    Returns
    -------
    float
    """
    height = density(values, fit)
    return float(np.sum(np.log(np.maximum(height, 1e-300))))


def choose_shape(values: ArrayLike, kind: str, *, signed_sizes: bool = False) -> Shape:
    """Shape by kind of feature and by fit.

    Sizes and heights are taken as normal. Finish and time are lognormal unless the normal fit is clearly
    better. Form (flatness, roundness, taper) is folded normal: with its sign still there that is certain by
    construction, without it a clearly better lognormal fit wins.

    Parameters
    ----------
    values : array-like, shape (n,) or (n_parts, p)
        All readings, NaN allowed. In a table, readings of a row are alike and count as one. [any unit]
    kind : str
        ``"size"``, ``"height"``, ``"form"``, ``"finish"``, ``"time"`` or ``"check"``.
    signed_sizes : bool
        Readings carry a sign, but only their size is judged.

    Returns
    -------
    Shape
    """
    if signed_sizes:
        return "folded normal"
    table = np.asarray(values, dtype=float)
    x = table[np.isfinite(table)]
    candidates = suggested_shapes(x, kind)
    if len(candidates) == 1 or x.size < 3 or not np.ptp(x) > 0:
        return candidates[0]
    first, second = (log_likelihood(x, fit_shape(x, shape)) for shape in candidates)
    alike = np.isfinite(table).any(axis=1).sum() / x.size if table.ndim == 2 else 1.0
    return candidates[1] if (second - first) * alike > _CLEARLY_BETTER else candidates[0]


def suggested_shapes(values: Array, kind: str) -> tuple[Shape, ...]:
    """The shape that a kind of feature suggests, and the one that a clearly better fit may put in its place.

    Values of shape (n,) in any unit, and the kind as in `choose_shape`.
    """
    if kind in ("finish", "time") and (values > 0).all():
        return ("lognormal", "normal")
    if kind == "form" and (values >= 0).all():
        return ("folded normal", "lognormal") if (values > 0).all() else ("folded normal",)
    return ("normal",)


def quantiles(shape: Shape, mean: Array | float, sigma: Array | float) -> tuple[Array, Array, Array]:
    """The 0.135 %, 50 % and 99.865 % points of a shape, for many fits at once.

    Parameters
    ----------
    shape : Shape
    mean, sigma : array or float, one shape
        Of the normal scale.

    Returns
    -------
    low, median, high : arrays
        [unit of the readings]

    References
    ----------
    .. [1] ISO 22514-2, reference limits (from memory).
    """
    m, s = np.asarray(mean, dtype=float), np.asarray(sigma, dtype=float)
    if shape == "normal":
        return m - 3 * s, m + 0 * s, m + 3 * s
    if shape == "lognormal":
        # Draws from a handful of wild values can leave the range of a float; capped, they stay in their order.
        caps = (670.0, 680.0, 690.0)
        low, median, high = (
            np.exp(np.minimum(m + z * s, cap)) for z, cap in zip((-3, 0, 3), caps, strict=True)
        )
        return low, median, high
    at, *tables = _folded_table()
    ratio = np.abs(m) / np.where(s > 0, s, 1.0)
    # The grid is even, so that a value's place in it is arithmetic: a search took half the time of a month's review.
    place = np.fmin(ratio, at[-1]) * ((at.size - 1) / at[-1])
    index = np.minimum(place.astype(np.intp), at.size - 2)
    beyond = place - index
    # Far from zero nothing is folded and the points are those of the normal law.
    found = [
        np.where(
            s > 0,
            np.where(ratio < at[-1], table[index] + beyond * (table[index + 1] - table[index]), ratio + z)
            * s,
            np.abs(m),
        )
        for table, z in zip(tables, (-3.0, 0.0, 3.0), strict=True)
    ]
    return found[0], found[1], found[2]


def share_out(
    shape: Shape, mean: Array | float, sigma: Array | float, lower: float | None, upper: float | None
) -> tuple[Array, Array]:
    """Share of readings below the lower and above the upper limit, for many fits at once.

    Parameters
    ----------
    shape : Shape
    mean, sigma : array or float, one shape
        Of the normal scale.
    lower, upper : float or None
        [unit of the readings]

    Returns
    -------
    below, above : arrays
        Shares between 0 and 1.
    """
    from scipy.special import ndtr

    m, s = np.asarray(mean, dtype=float), np.asarray(sigma, dtype=float)
    none = np.zeros(np.broadcast(m, s).shape)

    def reach(limit: float) -> float:
        if shape != "lognormal":
            return limit
        return math.log(limit) if limit > 0 else -math.inf

    if shape == "folded normal":
        below = none if lower is None or lower <= 0 else ndtr((lower - m) / s) - ndtr((-lower - m) / s)
        above = none if upper is None else ndtr((m - max(upper, 0.0)) / s) + ndtr((-max(upper, 0.0) - m) / s)
        return below, above
    below = none if lower is None else ndtr((reach(lower) - m) / s)
    above = none if upper is None else ndtr((m - reach(upper)) / s)
    return below, above


def density(at: ArrayLike, fit: Fit) -> Array:
    """Probability density of a fit.

    Parameters
    ----------
    at : array-like
        [unit of the readings]
    fit : Fit

    Returns
    -------
    array, same shape
        [1 / unit]
    """
    x = np.asarray(at, dtype=float)
    scale = fit.sigma * math.sqrt(2 * math.pi)

    def bell(y: Array) -> Array:
        return np.exp(-(((y - fit.mean) / fit.sigma) ** 2) / 2) / scale

    if fit.shape == "normal":
        return bell(x)
    if fit.shape == "folded normal":
        return np.where(x >= 0, bell(x) + bell(-x), 0.0)
    positive = np.where(x > 0, x, 1.0)
    return np.where(x > 0, bell(np.log(positive)) / positive, 0.0)


def folded_from_moments(mean_size: Array, mean_square: Array) -> tuple[Array, Array]:
    """Mean (0 or above) and sigma of a folded normal from mean size and mean square, for many at once.

    A ratio that no folded normal can have (mean size below sqrt(2/pi) of the root mean square) is answered by
    the nearest one, centred on 0.

    Parameters
    ----------
    mean_size, mean_square : arrays of one shape
        [unit], [unit squared]

    Returns
    -------
    mean, sigma : arrays
        [unit]
    """
    from scipy.special import ndtr

    ratio = np.linspace(0.0, 40.0, 40_001)
    size = np.sqrt(2 / np.pi) * np.exp(-(ratio**2) / 2) + ratio * (1 - 2 * ndtr(-ratio))
    relative = size / np.sqrt(1 + ratio**2)
    root = np.sqrt(mean_square)
    found = np.interp(mean_size / np.where(root > 0, root, 1.0), relative, ratio)
    sigma = root / np.sqrt(1 + found**2)
    return found * sigma, sigma


@cache
def _folded_table() -> tuple[Array, Array, Array, Array]:
    """Quantiles of |N(r, 1)| over r: the grid and the 0.135 %, 50 % and 99.865 % points."""
    from scipy.special import ndtr

    r = np.linspace(0.0, 12.0, 6_001)
    tables = []
    for share in (LOW_SHARE, 0.5, HIGH_SHARE):

        def under(size: Array, wanted: float = share) -> NDArray[np.bool_]:
            return ndtr(size - r) - ndtr(-size - r) < wanted

        tables.append(halve(under, np.zeros_like(r), r + 6.0))
    return r, tables[0], tables[1], tables[2]
