"""Specification limits and how readings lie within them: distance index, counts, expected shares."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spc.errors import SpcError
from spc.intervals import Index, binomial_interval
from spc.shown import Shown

LEAST_PARTS = 5
"""Fewest parts for which an index is given: the smallest number at which the intervals were verified."""

Array = NDArray[np.floating]


@dataclass(frozen=True)
class OutOfTolerance(Shown):
    """Parts and readings beyond a limit, and what the shape lets expect.

    Attributes
    ----------
    expected : Index or None
        Share of readings beyond the limits by the fitted shape. [-]
    expected_below, expected_above : float or None
        The two sides of its estimate. [-]
    parts_out, parts : int
        Parts with at least one reading beyond a limit; places on one part fail together.
    observed : Index
        Their share with its exact binomial interval. [-]
    resolvable : float
        Smallest share that this many parts could contradict (3 / parts, the 95 % limit when none of them
        failed). An expected share below it rests on the shape alone and should be shown as "below". [-]
    """

    expected: Index | None
    expected_below: float | None
    expected_above: float | None
    readings_out: int
    parts_out: int
    parts: int
    observed: Index
    resolvable: float


def check_limits(lower: float | None, upper: float | None) -> None:
    """Refuse limits that no reading can satisfy.

    Parameters
    ----------
    lower, upper : float or None
        Specification limits, one unit.

    Raises
    ------
    SpcError
        A limit is not a finite number, or the lower is not below the upper.
    """
    for name, limit in (("lower", lower), ("upper", upper)):
        if limit is not None and not math.isfinite(limit):
            raise SpcError(f"the {name} specification limit is {limit}; it must be a number, or left out")
    if lower is not None and upper is not None and not lower < upper:
        raise SpcError(
            f"the lower specification limit {lower:g} must be below the upper one {upper:g}; "
            "are they the wrong way round?"
        )


def distance_index(
    low: Array | float, median: Array | float, high: Array | float, lower: float | None, upper: float | None
) -> Array:
    """Smaller of the two distances to the limits, each over the spread on its side (Cpk, Ppk).

    Parameters
    ----------
    low, median, high : array or float, one shape
        0.135 %, 50 % and 99.865 % points. [unit]
    lower, upper : float or None
        At least one. [unit]

    Returns
    -------
    array
        [-]

    References
    ----------
    .. [1] ISO 22514-2 and ISO 21747, minimum process performance index (from memory).
    """
    sides = []
    if upper is not None:
        sides.append((upper - np.asarray(median)) / (np.asarray(high) - median))
    if lower is not None:
        sides.append((np.asarray(median) - lower) / (np.asarray(median) - low))
    return np.minimum.reduce(sides)


def count_out(
    judged: Array, lower: float | None, upper: float | None, confidence: float = 0.95
) -> OutOfTolerance | None:
    """Parts and readings beyond the limits, with the exact binomial interval over parts.

    Parameters
    ----------
    judged : array, shape (n_parts, p)
        What the limits apply to; NaN = not measured. At least one reading. [unit]
    lower, upper : float or None
        [unit]
    confidence : float
        Two-sided.

    Returns
    -------
    OutOfTolerance or None
        None without a limit. The expected share is left open.
    """
    if lower is None and upper is None:
        return None
    known = np.isfinite(judged)
    low = -math.inf if lower is None else lower
    high = math.inf if upper is None else upper
    beyond = known & ((judged < low) | (judged > high))
    parts = int(known.any(axis=1).sum())
    parts_out = int(beyond.any(axis=1).sum())
    return OutOfTolerance(
        expected=None,
        expected_below=None,
        expected_above=None,
        readings_out=int(beyond.sum()),
        parts_out=parts_out,
        parts=parts,
        observed=binomial_interval(parts_out, parts, confidence),
        resolvable=min(1.0, 3 / parts),
    )


def wrong_side(median: float, lower: float | None, upper: float | None) -> list[str]:
    """Warning in words when the middle of the readings lies beyond a limit; an empty list otherwise."""
    if lower is not None and median < lower:
        return [
            "the middle of the readings lies below the lower limit: an index below 0 says no more than that"
        ]
    if upper is not None and median > upper:
        return [
            "the middle of the readings lies above the upper limit: an index below 0 says no more than that"
        ]
    return []
