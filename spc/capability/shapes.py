"""The Weibull shape, and which shape readings follow best.

`spc.capability.distribution` holds the shapes that are normal on some scale; they need fewer readings and come first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.capability.distribution import AnyShape, Fit, Shape, fit_shape, log_likelihood, share_out
from spc.capability.johnson import LEAST_JOHNSON, Johnson, fit_johnson
from spc.errors import SpcError
from spc.shown import Shown
from spc.variation import finite_series, has_spread

Array = NDArray[np.float64]

LEAST_WEIBULL = 5
"""Fewest readings for a shape of two constants."""


@dataclass(frozen=True)
class Weibull(Shown):
    """Weibull shape of values above 0: share below x is 1 - exp(-(x / scale)^slope).

    `slope` has no unit, `scale` that of the readings. Arrays hold many fits at once.
    """

    slope: Array
    scale: Array

    def quantile(self, share: float) -> Array:
        """Value below which a share lies. [unit]"""
        return self.scale * (-math.log1p(-share)) ** (1 / self.slope)

    def below(self, at: ArrayLike) -> Array:
        """Share below a value; 0 for values that are not above 0."""
        x = np.maximum(np.asarray(at, dtype=float), 0.0)
        return -np.expm1(-((x / self.scale) ** self.slope))

    def density(self, at: ArrayLike) -> Array:
        """Probability density of one fit; 0 for values that are not above 0. [1 / unit]"""
        x = np.asarray(at, dtype=float)
        u = np.where(x > 0, x, self.scale) / self.scale
        return np.where(
            x > 0, self.slope / self.scale * u ** (self.slope - 1) * np.exp(-(u**self.slope)), 0.0
        )


Drawable = Fit | Weibull | Johnson
"""Any fit that has a density."""


def fit_weibull(values: ArrayLike, weights: ArrayLike | None = None) -> Weibull:
    """Maximum likelihood fit of a Weibull shape, for one series or many reweighted copies of it.

    Parameters
    ----------
    values : array-like, shape (n,)
        Above 0; 5 or more. [any unit]
    weights : array-like, shape (copies, n), optional
        How often each value counts in each copy (a bootstrap); once by default.

    Returns
    -------
    Weibull
        Of scalars, or of arrays of shape (copies,).

    Raises
    ------
    TooFewReadings
        Fewer than 5 values.
    SpcError
        A value is not finite or not above 0, or all are equal.

    References
    ----------
    .. [1] Thoman, D. R., Bain, L. J. & Antle, C. E. (1969), Technometrics 11, 445-460 (the equation for the
       slope; from memory). Agrees with scipy's `weibull_min.fit` in the tests.
    """
    x = finite_series(values, "a weibull fit", LEAST_WEIBULL)
    if (x <= 0).any():
        raise SpcError(f"a weibull shape needs readings above 0; the smallest is {x.min():g}")
    if not has_spread(float(np.std(x)), x):
        raise SpcError("a weibull fit needs values that differ; all are equal")
    w = np.ones((1, x.size)) if weights is None else np.asarray(weights, dtype=float)
    found = weibull_of_rows(np.log(x)[None, :], w)
    return found if weights is not None else Weibull(found.slope[0], found.scale[0])


def weibull_of_rows(logs: Array, weights: Array) -> Weibull:
    """Maximum likelihood fits of many samples, by Newton steps for all at once.

    Parameters
    ----------
    logs : array, shape (1 or samples, n)
        Logarithms of the values.
    weights : array, shape (1 or samples, n)
        How often each counts.

    Returns
    -------
    Weibull
        Of arrays of shape (samples,).

    References
    ----------
    .. [1] As `fit_weibull`.
    """
    total = weights.sum(axis=1)
    top, spread = logs.max(), logs.std()
    y = (logs - top) / spread
    mean = (weights * y).sum(1) / total
    squared = np.maximum((weights * y**2).sum(1) / total - mean**2, 1e-12)
    # The logarithm of a Weibull value has standard deviation pi / sqrt(6) / slope.
    slope = math.pi / math.sqrt(6) / np.sqrt(squared)
    for _ in range(60):
        e = weights * np.exp(slope[:, None] * y)
        a, b, c = e.sum(1), (e * y).sum(1), (e * y**2).sum(1)
        step = (b / a - 1 / slope - mean) / (c / a - (b / a) ** 2 + 1 / slope**2)
        slope = np.maximum(slope - step, slope / 4)
        if np.max(np.abs(step) / slope) < 1e-12:
            break
    level = np.log((weights * np.exp(slope[:, None] * y)).sum(1) / total) / slope
    return Weibull(slope / spread, np.exp(top + spread * level))


@dataclass(frozen=True)
class ShapeFit(Shown):
    """How well a shape fits.

    Attributes
    ----------
    shape : AnyShape
    anderson_darling : float
        A^2 of the readings under the fit; smaller is better. [-]
    criterion : float
        Minus twice the log-likelihood, plus the number of constants times log n: smaller is better. [-]
    """

    shape: AnyShape
    anderson_darling: float
    criterion: float


def compare_shapes(values: ArrayLike) -> tuple[ShapeFit, ...]:
    """How well each shape fits independent readings, the best first by A^2.

    Parameters
    ----------
    values : array-like, shape (n,)
        8 or more, one a part. [any unit]

    Returns
    -------
    tuple of ShapeFit
        Shapes that cannot hold the readings (below 0, too few) are left out.

    Raises
    ------
    TooFewReadings
        Fewer than 8 values.
    SpcError
        A value is not finite, or all are equal.

    References
    ----------
    .. [1] Anderson, T. W. & Darling, D. A. (1954), Journal of the American Statistical Association 49,
       765-769; Schwarz, G. (1978), Annals of Statistics 6, 461-464 (both from memory).
    """
    x = finite_series(values, "a comparison of shapes", 8)
    if not has_spread(float(np.std(x)), x):
        raise SpcError("a comparison of shapes needs values that differ; all are equal")
    plain: list[Shape] = ["normal"]
    if (x > 0).all():
        plain.append("lognormal")
    if (x >= 0).all():
        plain.append("folded normal")
    found: list[ShapeFit] = []
    for shape in plain:
        fit = fit_shape(x, shape)
        found.append(
            ShapeFit(
                shape,
                anderson_darling_of(below(x, fit)),
                -2 * log_likelihood(x, fit) + 2 * math.log(x.size),
            )
        )
    if (x > 0).all():
        weibull = fit_weibull(x)
        found.append(
            ShapeFit(
                "weibull",
                anderson_darling_of(weibull.below(x)),
                _criterion(weibull.density(x), 2),
            )
        )
    if x.size >= LEAST_JOHNSON:
        try:
            johnson = fit_johnson(x, likelihood=True)
        except SpcError:
            pass  # Its points coincide: coarse readings hold no such curve.
        else:
            a_squared = anderson_darling_of(johnson.below(x))
            found.append(ShapeFit("johnson", a_squared, _criterion(johnson.density(x), 4)))
    return tuple(sorted(found, key=lambda fit: fit.anderson_darling))


def _criterion(density: Array, constants: int) -> float:
    logs = np.log(np.maximum(density, 1e-300))
    return float(-2 * logs.sum() + constants * math.log(logs.size))


def below(values: Array, fit: Fit) -> Array:
    """Share below each value under a fit of `spc.capability.distribution`.

    Parameters
    ----------
    values : array
        [unit]
    fit : Fit

    Returns
    -------
    array, same shape
    """
    shares = [float(share_out(fit.shape, fit.mean, fit.sigma, float(v), None)[0]) for v in values]
    return np.array(shares)


def anderson_darling_of(shares: Array) -> float:
    """A^2 of readings, given the share that a fit puts below each.

    Parameters
    ----------
    shares : array, shape (n,)
        In any order.

    Returns
    -------
    float
        Finite: shares of 0 and 1 are taken as the nearest a float holds.
    """
    u = np.sort(np.clip(shares, 1e-300, 1 - 1e-16))
    n = u.size
    weights = 2 * np.arange(1, n + 1) - 1
    return float(-n - np.mean(weights * (np.log(u) + np.log1p(-u[::-1]))))
