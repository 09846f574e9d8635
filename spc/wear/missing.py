"""A renewal that nobody logged: within one life the parts suddenly look as with a fresh tool."""

from __future__ import annotations

import math

import numpy as np

from spc.wear.model import WearFit, WearRows, wear_basis

FEWEST_BEFORE, FEWEST_AFTER = 8, 5
_ODDS = 6.0
"""Logarithm of the odds from which a renewal is asked about: some 400 to 1, for a life has some 40 places for one."""


def unlogged_renewal(current: WearRows, fit: WearFit) -> float | None:
    """Uses at which a life looks renewed without a logged event.

    Parameters
    ----------
    current
        Parts of one life.
    fit
        What finished lives teach.

    Returns
    -------
    float or None
        Uses before the first part that looks fresh; None where none does, or with fewer than 8 parts before and 5 after
        every place.

    Notes
    -----
    For each place: the mean of the parts after it around the course of a fresh tool, with its level from life to life,
    against the same around the course so far, with the level of this life; both normal (standard formula, from memory).
    """
    current = current.of(np.isin(current.group, fit.groups))
    n = current.value.size
    if n < FEWEST_BEFORE + FEWEST_AFTER:
        return None
    level = fit.common[[fit.groups.index(int(g)) for g in current.group]]
    worn = current.value - level - wear_basis(current.uses, fit.scale, fit.settling) @ fit.common[-3:]
    best, place = _ODDS, None
    for at in range(FEWEST_BEFORE, n - FEWEST_AFTER + 1):
        after, before = slice(at, n), slice(0, at)
        fresh = wear_basis(current.uses[after] - current.uses[at], fit.scale, fit.settling) @ fit.common[-3:]
        count = n - at
        gap_fresh = float(np.mean(current.value[after] - level[after] - fresh))
        gap_worn = float(worn[after].mean() - worn[before].mean())
        reach = float(np.mean(current.uses[after])) / fit.scale
        variance_fresh = fit.sigma**2 / count + float(fit.between[0, 0])
        variance_worn = fit.sigma**2 * (1.0 / count + 1.0 / at) + float(fit.between[1, 1]) * reach**2
        odds = (
            gap_worn**2 / variance_worn
            - gap_fresh**2 / variance_fresh
            + math.log(variance_worn / variance_fresh)
        ) / 2.0
        if odds > best:
            best, place = odds, float(current.uses[at])
    return place
