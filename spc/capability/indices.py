"""Capability and performance indices of a spread within limits, each with its interval."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from spc.capability.distribution import Shape, quantiles
from spc.capability.tolerance import distance_index
from spc.errors import SpcError
from spc.intervals import Index, one_sided_interval, spread_index_interval, upper_limit
from spc.spread import Spread

Array = NDArray[np.floating]


def width_index(
    shape: Shape,
    spread: Spread,
    drawn: tuple[Array, Array],
    lower: float,
    upper: float,
    confidence: float = 0.95,
) -> Index:
    """Tolerance over the spread of the shape: Cp of a spread within, Pp of an overall one.

    Parameters
    ----------
    shape : Shape
    spread : Spread
        On the normal scale of the shape, with a variance above 0.
    drawn : (mean, sigma) arrays of one shape
        `pivotal_draws` of that spread.
    lower, upper : float
        [unit of the readings]
    confidence : float
        Two-sided.

    Returns
    -------
    Index

    Raises
    ------
    SpcError
        There is no spread.

    References
    ----------
    .. [1] ISO 22514-2, ISO 21747: (U - L) / (X99.865 - X0.135) (from memory).
    """
    _spreads(spread)
    if shape == "normal":
        return spread_index_interval((upper - lower) / (6 * spread.sigma), spread, drawn[1], confidence)
    low, _, high = quantiles(shape, spread.mean, spread.sigma)
    drawn_low, _, drawn_high = quantiles(shape, *drawn)
    return from_draws(
        float((upper - lower) / (high - low)), (upper - lower) / (drawn_high - drawn_low), confidence
    )


def limit_index(
    shape: Shape,
    spread: Spread,
    drawn: tuple[Array, Array],
    lower: float | None,
    upper: float | None,
    confidence: float = 0.95,
) -> Index:
    """Distance to the nearer limit over the spread on that side: Cpk or Ppk.

    Lower limit: quantile of the pivotal draws, the nearer side taken within each draw. Upper limit: the
    formula of `upper_limit` for the normal shape, otherwise the draws, for the lognormal shape of each side by
    itself. With one limit, one reading a part and the overall spread of a normal process both are exact, by the
    noncentral t.

    Parameters
    ----------
    shape : Shape
    spread : Spread
        On the normal scale of the shape, with a variance above 0.
    drawn : (mean, sigma) arrays of one shape
        `pivotal_draws` of that spread.
    lower, upper : float or None
        At least one. [unit of the readings]
    confidence : float
        Two-sided.

    Returns
    -------
    Index

    Raises
    ------
    SpcError
        There is no limit, or no spread.

    References
    ----------
    .. [1] ISO 22514-2, ISO 21747 (from memory). Intervals: see `spc.intervals`.
    """
    if lower is None and upper is None:
        raise SpcError("an index of the distance to a limit needs a limit")
    _spreads(spread)
    estimate = float(distance_index(*quantiles(shape, spread.mean, spread.sigma), lower, upper))
    exact = len(spread.squares) == 1 and spread.dofs[0] == spread.n_parts - 1
    if shape == "normal" and exact and (lower is None or upper is None):
        return one_sided_interval(estimate, spread.n_parts, confidence)
    found = from_draws(estimate, distance_index(*quantiles(shape, *drawn), lower, upper), confidence)
    if shape == "folded normal":
        # A drawn mean strays away from 0 more than back to it; for the upper limit it may only come closer.
        closer = np.minimum(np.abs(drawn[0]), abs(spread.mean))
        best = distance_index(*quantiles(shape, closer, drawn[1]), lower, upper)
        return replace(found, upper=from_draws(estimate, best, confidence).upper)
    if shape == "lognormal":
        # The nearer side of each draw is the smaller of two: its upper quantile falls short where both are near.
        sides = ((lower, None), (None, upper))
        ends = [
            from_draws(estimate, distance_index(*quantiles(shape, *drawn), *side), confidence).upper
            for side in sides
            if side != (None, None)
        ]
        return replace(found, upper=min(ends))
    return Index(estimate, found.lower, upper_limit(estimate, spread, confidence), confidence)


def _spreads(spread: Spread) -> None:
    least = 1e-12 * abs(spread.mean)
    if not spread.sigma > least:
        raise SpcError("there is no spread: all parts read the same, so that no index can be given")


def from_set(estimate: float, believable: Array, confidence: float = 0.95) -> Index:
    """Estimate with the smallest and largest figure among all believable fits.

    Parameters
    ----------
    estimate : float
    believable : array, shape (fits,)
    confidence : float
        At which the fits are believable, two-sided.

    Returns
    -------
    Index
    """
    return Index(
        estimate, min(float(believable.min()), estimate), max(float(believable.max()), estimate), confidence
    )


def from_draws(estimate: float, drawn: Array, confidence: float = 0.95) -> Index:
    """Estimate with the quantiles of its draws; the estimate stays inside its own interval.

    Parameters
    ----------
    estimate : float
    drawn : array, shape (draws,)
    confidence : float
        Two-sided.

    Returns
    -------
    Index
    """
    tail = (1 - confidence) / 2
    low, high = (float(end) for end in np.quantile(drawn, [tail, 1 - tail]))
    return Index(estimate, min(low, estimate), max(high, estimate), confidence)
