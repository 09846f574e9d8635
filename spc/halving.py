"""Roots of many rising functions at once, by halving."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STEPS = 60
"""Halvings: what is left of the first interval lies below the digits of a float."""


def halve(under: Callable[[Floats], NDArray[np.bool_]], low: Floats, high: Floats) -> Floats:
    """Where each of many rising functions reaches its wanted value.

    Parameters
    ----------
    under : callable
        Says of one place for each function whether it lies below the wanted one.
    low, high : array, shape (n,)
        Ends between which each is looked for. [unit of the places]

    Returns
    -------
    array, shape (n,)

    References
    ----------
    .. [1] Bisection (definition).
    """
    low, high = low.copy(), high.copy()
    for _ in range(STEPS):
        middle = (low + high) / 2
        below = under(middle)
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return (low + high) / 2
