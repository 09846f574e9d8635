"""Sizes that carry no sign (flatness, ranges, roundness): a folded normal fit and its resampled copies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spc.distribution import Fit, fit_shape, folded_from_moments

Array = NDArray[np.floating]

RESAMPLES = 2_000


@dataclass(frozen=True)
class SizeFit:
    """Folded normal fit of all readings, with its copies on resampled parts.

    `drawn` holds mean and sigma of each copy, one array each. [unit of the readings]
    """

    fit: Fit
    drawn: tuple[Array, Array]


def fit_sizes(readings: Array, rng: np.random.Generator, resamples: int = RESAMPLES) -> SizeFit:
    """Fit sizes by moments, and again on parts drawn with replacement.

    Whole parts are drawn, so readings that share a part stay together. All copies are fitted at once.

    Parameters
    ----------
    readings : array, shape (n_parts, p)
        0 and above; NaN = not measured. At least 2 readings. [any unit]
    rng : numpy.random.Generator
    resamples : int
        Number of copies.

    Returns
    -------
    SizeFit

    Raises
    ------
    SpcError
        A size lies below 0.

    References
    ----------
    .. [1] Davison, A. C. & Hinkley, D. V. (1997), Bootstrap Methods and their Application, section 3.8
       (resampling of whole groups; from memory).
    """
    known = np.isfinite(readings)
    rows = known.any(axis=1)
    sizes = np.where(known, readings, 0.0)[rows]
    count = known[rows].sum(axis=1).astype(float)
    n = sizes.shape[0]
    # How often each part was drawn: sums over parts become one matrix product.
    times = rng.multinomial(n, np.full(n, 1 / n), resamples).astype(float)
    total = times @ count
    drawn = folded_from_moments(times @ sizes.sum(axis=1) / total, times @ (sizes**2).sum(axis=1) / total)
    return SizeFit(fit_shape(readings[known], "folded normal"), drawn)
