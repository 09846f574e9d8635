"""Johnson shapes: curves of four constants that are normal after one of three transformations."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.errors import SpcError
from spc.shown import Shown
from spc.variation import finite_series, has_spread

Array = NDArray[np.float64]

JOHNSON_Z = 0.524
"""Half distance of the four normal points that fix a Johnson curve, as its authors propose."""
LEAST_JOHNSON = 25
"""Fewest readings for a shape of four constants."""


@dataclass(frozen=True)
class Johnson(Shown):
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

    def density(self, at: ArrayLike) -> Array:
        """Probability density of one curve; 0 beyond its ends. [1 / unit]"""
        u = (np.asarray(at, dtype=float) - self.xi) / self.lam
        if self.family == "SU":
            f, rise = np.arcsinh(u), 1 / np.sqrt(1 + u**2)
        else:
            held = (u > 0) & ((u < 1) | (self.family == "SL"))
            inside = np.where(held, u, 0.5)
            f = np.log(inside) if self.family == "SL" else np.log(inside) - np.log1p(-inside)
            rise = np.where(held, 1 / inside if self.family == "SL" else 1 / (inside * (1 - inside)), 0.0)
        z = self.gamma + self.delta * f
        return np.abs(self.delta / self.lam) * rise * np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)


def fit_johnson(values: ArrayLike, z: float = JOHNSON_Z, *, likelihood: bool = False) -> Johnson:
    """Johnson curve through four points of the readings, or the likeliest one near it.

    Parameters
    ----------
    values : array-like, shape (n,)
        25 or more. [any unit]
    z : float
        Normal points at +- z and +- 3 z are matched; larger for many readings, about 0.524 for hundreds.
    likelihood : bool
        Climb from that curve to the nearest top of the likelihood, within its family: fits the bulk of the readings
        better. The points are the steadier guide to the tails of few readings, and the ones with an interval.

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

    x = finite_series(values, "a johnson fit", LEAST_JOHNSON)
    if not has_spread(float(np.std(x)), x):
        raise SpcError("a johnson fit needs values that differ; all are equal, so its points coincide")
    shares = ndtr(np.array([-3 * z, -z, z, 3 * z]))
    points = np.quantile(x, shares, method="hazen")
    begun = johnson_through(points[:, None], z, single=True)
    return _likeliest(begun, x) if likelihood else begun


def _likeliest(begun: Johnson, x: Array) -> Johnson:
    from scipy.optimize import minimize

    centre, scale = float(np.median(x)), float(np.std(x))

    def curve(of: Array) -> Johnson:
        return Johnson(
            begun.family,
            of[0],
            np.exp(of[1]) * np.sign(begun.delta),
            centre + scale * of[2],
            np.exp(of[3]) * scale * np.sign(begun.lam),
        )

    def unlikely(of: Array) -> float:
        # A curve that ends within a thousandth of the spread of the outermost reading has no top to climb to.
        if np.abs(of[[1, 3]]).max() > 20:
            return np.inf
        own = curve(of)
        ends = {"SB": (own.xi, own.xi + own.lam), "SL": (own.xi,), "SU": ()}[str(begun.family)]
        if any(abs(float(end) - edge) < 1e-3 * scale for end in ends for edge in (x.min(), x.max())):
            return np.inf
        density = own.density(x)
        return -float(np.log(density).sum()) if (density > 0).all() else np.inf

    first = np.array([
        float(begun.gamma), math.log(abs(float(begun.delta))),
        (float(begun.xi) - centre) / scale, math.log(abs(float(begun.lam)) / scale),
    ])  # fmt: skip
    if not np.isfinite(unlikely(first)):
        return begun
    found = minimize(
        unlikely, first, method="Nelder-Mead", options={"maxiter": 4_000, "xatol": 1e-7, "fatol": 1e-9}
    )
    return curve(found.x)


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
