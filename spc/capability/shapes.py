"""Shapes with a tail of their own: Weibull and Johnson, and which shape readings follow best.

`spc.capability.distribution` holds the shapes that are normal on some scale; they need fewer readings and come first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.capability.distribution import Fit, Shape, fit_shape, log_likelihood, share_out
from spc.errors import SpcError, TooFewReadings
from spc.variation import finite_series, has_spread

Array = NDArray[np.float64]
Family = Literal["SU", "SB", "SL"]
AnyShape = Literal["normal", "lognormal", "folded normal", "weibull", "johnson"]

JOHNSON_Z = 0.524
"""Half distance of the four normal points that fix a Johnson curve, as its authors propose."""
LEAST = {"weibull": 5, "johnson": 25}
"""Fewest readings for a shape of two and of four constants."""


@dataclass(frozen=True)
class Weibull:
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


@dataclass(frozen=True)
class Johnson:
    """Johnson shape: gamma + delta f((x - xi) / lam) is standard normal, f by family.

    SU: asinh (both tails open); SB: log(u / (1 - u)) (both ends bounded); SL: log (one end bounded). Arrays
    hold many fits of one family each, told by `family`.
    """

    family: NDArray[np.str_]
    gamma: Array
    delta: Array
    xi: Array
    lam: Array

    def quantile(self, share: float) -> Array:
        """Value below which a share lies. [unit]"""
        from scipy.special import expit, ndtri

        u = (float(ndtri(share)) - self.gamma) / self.delta
        open_ = np.sinh(np.clip(u, -300, 300))
        grown = np.where(self.family == "SU", open_, np.exp(np.clip(u, -300, 300)))
        return self.xi + self.lam * np.where(self.family == "SB", expit(u), grown)

    def below(self, at: ArrayLike) -> Array:
        """Share below a value."""
        from scipy.special import ndtr

        u = (np.asarray(at, dtype=float) - self.xi) / self.lam
        inside = np.clip(u, 1e-300, 1 - 1e-16)
        with np.errstate(divide="ignore"):
            bounded = np.log(inside / (1 - inside))
            one_end = np.log(np.maximum(u, 1e-300))
        f = np.where(self.family == "SU", np.arcsinh(u), np.where(self.family == "SB", bounded, one_end))
        out = ndtr(self.gamma + self.delta * f)
        low = np.where(self.family != "SU", np.where(u <= 0, 0.0, out), out)
        # A lognormal that is skewed the other way runs downwards from its end.
        low = np.where((self.family == "SL") & (self.lam < 0), np.where(u <= 0, 1.0, out), low)
        return np.where((self.family == "SB") & (u >= 1), 1.0, low)


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
    x = finite_series(values, "a weibull fit", LEAST["weibull"])
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


def fit_johnson(values: ArrayLike, z: float = JOHNSON_Z) -> Johnson:
    """Johnson curve through four points of the readings.

    Parameters
    ----------
    values : array-like, shape (n,)
        25 or more. [any unit]
    z : float
        Normal points at +- z and +- 3 z are matched; larger for many readings, about 0.524 for hundreds.

    Returns
    -------
    Johnson

    Raises
    ------
    TooFewReadings
        Fewer than 25 values.
    SpcError
        A value is not finite, or the four points do not all differ.

    References
    ----------
    .. [1] Slifker, J. F. & Shapiro, S. S. (1980), Technometrics 22, 239-246 (from memory); exact points of
       scipy's `johnsonsu` and `johnsonsb` give their own constants back in the tests.
    """
    from scipy.special import ndtr

    x = finite_series(values, "a johnson fit", LEAST["johnson"])
    if not has_spread(float(np.std(x)), x):
        raise SpcError("a johnson fit needs values that differ; all are equal, so its points coincide")
    shares = ndtr(np.array([-3 * z, -z, z, 3 * z]))
    points = np.quantile(x, shares, method="hazen")
    return johnson_through(points[:, None], z, single=True)


def johnson_through(points: Array, z: float = JOHNSON_Z, *, single: bool = False) -> Johnson:
    """Johnson curves through given points.

    Parameters
    ----------
    points : array, shape (4, copies)
        At the normal points -3 z, -z, z, 3 z. [unit]
    z : float
    single : bool
        Return scalars; there is one copy.

    Returns
    -------
    Johnson

    Raises
    ------
    SpcError
        The points of the only copy do not all differ. Such copies among many are given the lognormal border
        with the smallest distances that a float holds apart.

    References
    ----------
    .. [1] Slifker & Shapiro (1980), as in `fit_johnson`.
    """
    far_low, low, high, far_high = (np.asarray(p, dtype=float) for p in points)
    m, n, p = far_high - high, low - far_low, high - low
    if single and not (m[0] > 0 and n[0] > 0 and p[0] > 0):
        raise SpcError("a johnson fit needs values that differ; too many are equal, so its points coincide")
    tiny = np.maximum(np.abs(far_high - far_low), 1e-300) * 1e-9
    m, n, p = np.maximum(m, tiny), np.maximum(n, tiny), np.maximum(p, tiny)
    ratio = m * n / p**2
    family = np.where(ratio > 1 + 1e-3, "SU", np.where(ratio < 1 - 1e-3, "SB", "SL"))
    a, b = m / p, n / p
    middle = (low + high) / 2
    # SU. Each branch is computed for all; the floors keep the branches that are not taken finite.
    over = np.maximum(a * b - 1, 1e-6)
    su_delta = 2 * z / np.arccosh(np.maximum((a + b) / 2, 1 + 1e-9))
    su_gamma = su_delta * np.arcsinh((b - a) / (2 * np.sqrt(over)))
    su_lam = 2 * p * np.sqrt(over) / ((a + b - 2).clip(1e-9) * np.sqrt(a + b + 2))
    su_xi = middle + p * (b - a) / (2 * (a + b - 2).clip(1e-9))
    # SB.
    c, d = 1 / a, 1 / b
    under = np.maximum(c * d - 1, 1e-6)
    inner = np.sqrt((1 + c) * (1 + d))
    sb_delta = z / np.arccosh(np.maximum(inner / 2, 1 + 1e-9))
    sb_gamma = sb_delta * np.arcsinh((d - c) * np.sqrt(np.maximum(inner**2 - 4, 0.0)) / (2 * under))
    sb_lam = p * np.sqrt(np.maximum((inner**2 - 2) ** 2 - 4, 0.0)) / under
    sb_xi = middle - sb_lam / 2 + p * (d - c) / (2 * under)
    # SL, from its longer tail; the shorter one gives the mirrored curve.
    up = m >= n
    q = np.maximum(np.where(up, a, b), 1 + 1e-6)
    sl_delta = 2 * z / np.log(q)
    sl_log = sl_delta * np.log((q - 1) / (p * np.sqrt(q)))
    sl_xi = np.where(up, middle - p * (q + 1) / (2 * (q - 1)), middle + p * (q + 1) / (2 * (q - 1)))
    picks = (family == "SU", family == "SB")
    constants = (
        np.select(picks, (su_gamma, sb_gamma), np.where(up, sl_log, -sl_log)),
        np.select(picks, (su_delta, sb_delta), np.where(up, sl_delta, -sl_delta)),
        np.select(picks, (su_xi, sb_xi), sl_xi),
        np.select(picks, (su_lam, sb_lam), np.where(up, 1.0, -1.0)),
    )
    if single:
        return Johnson(family[0], *(constant[0] for constant in constants))
    return Johnson(family, *constants)


@dataclass(frozen=True)
class ShapeFit:
    """How well a shape fits.

    Attributes
    ----------
    shape : AnyShape
    anderson_darling : float
        A^2 of the readings under the fit; smaller is better. [-]
    criterion : float or None
        Minus twice the log-likelihood, plus the number of constants times log n: smaller is better. None for
        Johnson curves, which are not fitted by likelihood. [-]
    """

    shape: AnyShape
    anderson_darling: float
    criterion: float | None


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
        u = x / weibull.scale
        height = np.log(weibull.slope / weibull.scale) + (weibull.slope - 1) * np.log(u) - u**weibull.slope
        found.append(
            ShapeFit(
                "weibull",
                anderson_darling_of(weibull.below(x)),
                float(-2 * height.sum() + 2 * math.log(x.size)),
            )
        )
    if x.size >= LEAST["johnson"]:
        try:
            found.append(ShapeFit("johnson", anderson_darling_of(fit_johnson(x).below(x)), None))
        except TooFewReadings:
            raise
        except SpcError:
            pass  # Its points coincide: coarse readings hold no such curve.
    return tuple(sorted(found, key=lambda fit: fit.anderson_darling))


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
