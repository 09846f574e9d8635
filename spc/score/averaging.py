"""Scores from predictions averaged over what is not known yet."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import gammaln, ndtri, stdtr

from spc.process import Floats
from spc.score.recursion import LARGEST_SCORE


def averaged_scores(residual: Floats, sd: Floats, freedom: Floats, log_weight: Floats) -> Floats:
    """Standard normal scores from predictions averaged over several models.

    Parameters
    ----------
    residual, sd
        (b, K) standardised prediction errors under each model, and their standard deviations.
    freedom
        (b,) degrees of freedom.
    log_weight
        (b, K) logarithms of the belief in each model before the part, up to a constant.

    Returns
    -------
    ndarray
        (b,) PhiInv(sum w T(residual / sd)); NaN below 1 degree of freedom or where nothing is expected.

    Notes
    -----
    The probability integral transform of the predictive distribution (Dawid 1984, from memory): independent
    and standard normal under the average of the models.
    """
    usable = np.isfinite(residual).all(axis=1) & (freedom >= 1) & (sd > 0).all(axis=1)
    weight = np.exp(log_weight - log_weight.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    ratio = np.where(usable[:, None], residual / np.where(sd > 0, sd, 1.0), 0.0)
    nu = np.where(usable, freedom, 1.0)[:, None]
    below = (weight * stdtr(nu, ratio)).sum(axis=1)
    above = (weight * stdtr(nu, -ratio)).sum(axis=1)
    # The smaller tail: the other one has lost its digits.
    tail = np.maximum(np.minimum(below, above), 1e-300)
    size = np.minimum(-ndtri(np.minimum(tail, 0.5)), LARGEST_SCORE)
    return np.where(usable, np.where(above < below, size, -size), np.nan)


def log_density(ratio: Floats, freedom: Floats) -> Floats:
    """Logarithm of the density of Student t.

    Parameters
    ----------
    ratio
        Where; any shape.
    freedom
        Degrees of freedom, at least 1, of a shape that fits.

    Returns
    -------
    ndarray
    """
    nu = freedom
    return (
        gammaln((nu + 1.0) / 2.0)
        - gammaln(nu / 2.0)
        - 0.5 * np.log(nu * math.pi)
        - (nu + 1.0) / 2.0 * np.log1p(ratio**2 / nu)
    )
