"""Gauge study by averages and ranges, as it was done by hand; beside the analysis of variance, for comparison."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.constants import d2, d3
from spc.errors import LARGEST, SpcError, TooFewReadings
from spc.shown import Shown


@dataclass(frozen=True)
class AverageAndRange(Shown):
    """Standard deviations of a gauge study by averages and ranges. [unit of the readings]

    Attributes
    ----------
    repeatability, reproducibility, gauge, part, total : float
        `gauge` and `total` are root sums of squares.
    percent_total_variation : float
        gauge / total. [%]
    ndc : int or None
        sqrt(2) part / gauge, cut to a whole number; None when the gauge showed no spread.
    zeroed : bool
        Whether the operators differed by less than repeatability explains, so that reproducibility is 0.
    """

    repeatability: float
    reproducibility: float
    gauge: float
    part: float
    total: float
    percent_total_variation: float
    ndc: int | None
    zeroed: bool


def average_and_range(readings: ArrayLike) -> AverageAndRange:
    """Gauge study by averages and ranges.

    It has no term for an interaction and uses less of the data than mean squares do; `gauge_study` is the one
    to report.

    Parameters
    ----------
    readings : array-like, shape (parts, operators, trials)
        None missing; 2 or more each. [any unit]

    Returns
    -------
    AverageAndRange

    Raises
    ------
    TooFewReadings
        Fewer than 2 parts, operators or trials.
    SpcError
        The shape is not a complete study, a reading is not finite, or all are equal.

    References
    ----------
    .. [1] AIAG, Measurement Systems Analysis, 4th ed., chapter III: K1 = 1/d2(trials), K2 and K3 = 1/d2* of
       one range of operators and of parts, d2*^2 = d2^2 + d3^2 (from memory; the worked example is in the
       tests).
    """
    y = np.asarray(readings, dtype=float)
    if y.ndim != 3 or not (np.abs(y) <= LARGEST).all():
        raise SpcError(
            "averages and ranges need a complete table, of finite readings, of parts by operators by trials"
        )
    p, o, r = y.shape
    if min(p, o, r) < 2:
        raise TooFewReadings("averages and ranges", "2 parts, 2 operators and 2 trials", min(p, o, r))
    if not np.ptp(y) > 0:
        raise SpcError(
            "all readings are equal: the gauge shows no difference, so nothing can be told from it"
        )
    repeatability = float(np.ptp(y, axis=2).mean()) / d2(r)
    apart = float(np.ptp(y.mean(axis=(0, 2)))) / _one_range(o)
    squared = apart**2 - repeatability**2 / (p * r)
    reproducibility = math.sqrt(max(0.0, squared))
    part = float(np.ptp(y.mean(axis=(1, 2)))) / _one_range(p)
    gauge = math.hypot(repeatability, reproducibility)
    total = math.hypot(gauge, part)
    return AverageAndRange(
        repeatability,
        reproducibility,
        gauge,
        part,
        total,
        100 * gauge / total,
        math.floor(math.sqrt(2) * part / gauge) if gauge > 0 else None,
        squared < 0,
    )


def _one_range(n: int) -> float:
    """d2* of a single range: what makes the square of range / d2* unbiased for the variance."""
    return math.hypot(d2(n), d3(n))
