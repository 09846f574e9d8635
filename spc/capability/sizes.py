"""Sizes that carry no sign (flatness, ranges, roundness): a folded normal and all fits the data leave open.

With the sign gone, a large mean with a small spread and a small mean with a large spread look alike.
Resampling does not see that: simulated, its lower limit of an index was missed in 45 % of samples of 10 and
in 18 % of 100. The likelihood does, so intervals here span every fit that it does not rule out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spc.capability.distribution import Fit
from spc.errors import SpcError
from spc.strata import split_strata

Array = NDArray[np.floating]

UNFOLDED = 4.0
"""Mean over sigma from which folding no longer matters: one reading in 30,000 lost its sign."""

_GRID = 81
_CLASSES = 400
_PRECISE = {"xatol": 1e-7, "fatol": 1e-9}


@dataclass(frozen=True)
class SizeFit:
    """Folded normal fit by maximum likelihood, and the fits that the data do not rule out.

    `believable` holds their means and sigmas, one array each. [unit of the readings]
    """

    fit: Fit
    believable: tuple[Array, Array]


def fit_sizes(readings: Array, confidence: float = 0.95) -> SizeFit:
    """Fit sizes by maximum likelihood, with the likelihood region around the fit.

    Readings on one part are alike, so the log-likelihood is divided by the design effect 1 + (k - 1) r, with r
    their correlation within a part and k the readings of a part. The region is calibrated as for a mean of
    normal values (t in place of z), which keeps small samples honest.

    Parameters
    ----------
    readings : array, shape (n_parts, p)
        0 and above, not all equal; NaN = not measured. At least 3 parts with a reading. [any unit]
    confidence : float
        Of any figure computed from the fit, two-sided.

    Returns
    -------
    SizeFit

    Raises
    ------
    SpcError
        A size lies below 0.

    References
    ----------
    .. [1] Johnson, N. L. (1962), Technometrics 4, 249-256 (folded normal by maximum likelihood).
    .. [2] Venzon, D. J. & Moolgavkar, S. H. (1988), Applied Statistics 37, 87-94 (likelihood regions). Both
       from memory; coverage is simulated in the tests.
    """
    from scipy.optimize import minimize
    from scipy.special import stdtrit

    x = readings[np.isfinite(readings)]
    if (x < 0).any():
        raise SpcError(f"sizes cannot lie below 0; the smallest is {x.min():g}")
    root = math.sqrt(float(np.mean(x**2)))
    values, weights = _condensed(x / root)

    def loss(parameters: Array) -> float:
        return -float(_log_likelihood(parameters[:1] ** 2, np.exp(parameters[1:]), values, weights)[0])

    spread = max(float(np.std(x / root)), 1e-3)
    starts = ([math.sqrt(float(x.mean()) / root), math.log(spread)], [0.1, 0.0])
    found = [minimize(loss, start, method="Nelder-Mead", options=_PRECISE) for start in starts]
    best = min(found, key=lambda result: result.fun)
    mean, sigma = float(best.x[0] ** 2), float(np.exp(best.x[1]))

    parts = int(np.isfinite(readings).any(axis=1).sum())
    alike = _design_effect(readings)
    free = max(parts - 2, 1)
    # Less than half the tail: where the mean is at its end of 0, all error of the fit lies on one side.
    t = float(stdtrit(free, 1 - (1 - confidence) / 5))
    allowed = alike * parts / 2 * math.log1p(t**2 / free)
    reach = 2.2 * t * math.sqrt(alike / x.size)
    # With a mean near 0 the region is a ridge that ends there.
    low_mean = 0.0 if mean < UNFOLDED * sigma else max(0.0, mean - reach * sigma)
    means = np.linspace(low_mean, max(mean, 0.8) + reach * sigma, _GRID)
    sigmas = np.exp(np.linspace(math.log(sigma) - reach, max(math.log(sigma), 0.0) + reach, _GRID))
    m, s = (grid.ravel() for grid in np.meshgrid(means, sigmas))
    near = _log_likelihood(m, s, values, weights) >= -best.fun - allowed
    believable = (np.append(m[near], mean) * root, np.append(s[near], sigma) * root)
    return SizeFit(Fit("folded normal", mean * root, sigma * root), believable)


def _log_likelihood(mean: Array, sigma: Array, values: Array, weights: Array) -> Array:
    """Log-likelihood of weighted sizes for many fits at once, up to a constant."""
    count = weights.sum()
    bend = np.zeros(mean.size)
    pull = mean / sigma**2
    for at in range(0, mean.size, 512):
        part = np.outer(pull[at : at + 512], values)
        bend[at : at + 512] = (part + np.log1p(np.exp(-2 * part))) @ weights
    square = float(weights @ values**2)
    return bend - count * np.log(sigma) - (square + count * mean**2) / (2 * sigma**2)


def _condensed(x: Array) -> tuple[Array, Array]:
    """Sizes, or where there are very many their means in narrow classes of equal count, with weights."""
    if x.size <= _CLASSES:
        return x, np.ones(x.size)
    classes = np.array_split(np.sort(x), _CLASSES)
    return np.array([c.mean() for c in classes]), np.array([float(c.size) for c in classes])


def _design_effect(readings: Array) -> float:
    """How many readings on one part say as much as one reading on its own part."""
    split = split_strata(readings, pattern=False)
    if len(split.levels) < 2 or not split.noise > 0:
        return 1.0
    shared = max(0.0, float(split.raw_components[0])) / split.noise
    return 1.0 + (split.n_readings / split.n_parts - 1) * min(shared, 1.0)
