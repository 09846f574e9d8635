"""How far off a gauge was over time, from checks and audits, and how far a re-set moved it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.errors import SpcError, TooFewReadings
from spc.mean_squares import Ranged
from spc.variation import finite_series

FEW_AFTER = 4
"""Checks after the start from which a slope is fitted beside the step."""


@dataclass(frozen=True)
class ErrorCourse:
    """The error of a gauge at some moments.

    Attributes
    ----------
    at : tuple of Ranged
        Error at each asked moment, with the interval of its mean course; no interval without a degree of
        freedom. [unit]
    step : Ranged
        Jump at the start. [unit]
    slope : Ranged or None
        Drift since the start; None with fewer than `FEW_AFTER` checks after it. [unit per unit of time]
    before : Ranged or None
        Mean error before the start; None without a check before it, and then taken as 0. [unit]
    sd : float or None
        Scatter of a check around the course. [unit]
    """

    at: tuple[Ranged, ...]
    step: Ranged
    slope: Ranged | None
    before: Ranged | None
    sd: float | None


def error_course(
    time: ArrayLike, error: ArrayLike, start: float, at: ArrayLike, *, confidence: float = 0.95
) -> ErrorCourse:
    """Error of a gauge that went off at a known start, by a step, a steady drift, or both.

    Parameters
    ----------
    time, error : array-like, shape (n,)
        When each check was, and its error: read less true. 1 or more at or after the start.
        [any unit of time], [unit]
    start : float
        When the gauge began to go off. [unit of time]
    at : array-like, shape (m,)
        Moments to tell the error of. [unit of time]
    confidence : float
        Two-sided, for each moment by itself.

    Returns
    -------
    ErrorCourse

    Raises
    ------
    TooFewReadings
        No check at or after the start.
    SpcError
        Shapes differ or a value is not a number.

    References
    ----------
    .. [1] Least squares on a constant, a step and a broken line, with Student's t (Draper & Smith, Applied
       Regression Analysis, 3rd ed., ch. 14; from memory). The start is taken as known.
    """
    from scipy.special import stdtrit

    t = finite_series(time, "the course of a gauge's error", 1)
    y = finite_series(error, "the course of a gauge's error", 1)
    asked = np.asarray(at, dtype=float).reshape(-1)
    if t.shape != y.shape:
        raise SpcError(f"every check needs its moment; got {t.size} moments and {y.size} errors")
    if not (math.isfinite(start) and np.isfinite(asked).all()):
        raise SpcError("the start and the moments asked for must be numbers")
    after = int((t >= start).sum())
    if after < 1:
        raise TooFewReadings("the course of a gauge's error", "1 check after the start", 0)
    has_before, has_slope = after < t.size, after >= FEW_AFTER and bool(np.ptp(t[t >= start]) > 0)

    def design(moments: NDArray[np.float64]) -> NDArray[np.float64]:
        late = (moments >= start).astype(float)
        columns = [late] + ([late * (moments - start)] if has_slope else [])
        return np.column_stack(([np.ones(len(moments))] if has_before else []) + columns)

    x = design(t)
    root, triangle = np.linalg.qr(x)
    beta = np.linalg.solve(triangle, root.T @ y)
    dof = t.size - x.shape[1]
    sd = float(np.sqrt(np.sum((y - x @ beta) ** 2) / dof)) if dof > 0 else None
    reach = float(stdtrit(dof, (1 + confidence) / 2)) * sd if sd is not None else None

    def ranged(weights: NDArray[np.float64]) -> Ranged:
        value = float(weights @ beta)
        if reach is None:
            return Ranged(value)
        half = reach * float(np.linalg.norm(np.linalg.solve(triangle.T, weights)))
        return Ranged(value, value - half, value + half)

    unit = np.eye(x.shape[1])
    first = 1 if has_before else 0
    return ErrorCourse(
        at=tuple(ranged(row) for row in design(asked)),
        step=ranged(unit[first]),
        slope=ranged(unit[first + 1]) if has_slope else None,
        before=ranged(unit[0]) if has_before else None,
        sd=sd,
    )


def step_between(before: ArrayLike, after: ArrayLike, *, confidence: float = 0.95) -> Ranged:
    """How far a re-set moved a gauge: mean after less mean before, spreads not taken as equal.

    Parameters
    ----------
    before, after : array-like
        Errors of checks on either side; 1 or more each, an interval needs 2 each. [unit]
    confidence : float
        Two-sided.

    Returns
    -------
    Ranged
        [unit]

    Raises
    ------
    TooFewReadings
        No check on a side.
    SpcError
        A value is not a number.

    References
    ----------
    .. [1] Welch, B. L. (1947), Biometrika 34, 28-35 (from memory).
    """
    from scipy.special import stdtrit

    a, b = finite_series(before, "a step at a re-set", 1), finite_series(after, "a step at a re-set", 1)
    value = float(b.mean() - a.mean())
    if min(a.size, b.size) < 2:
        return Ranged(value)
    shares = np.array([a.var(ddof=1) / a.size, b.var(ddof=1) / b.size])
    if not shares.sum() > 0:
        return Ranged(value)
    dof = float(shares.sum() ** 2 / np.sum(shares**2 / np.array([a.size - 1, b.size - 1])))
    half = float(stdtrit(dof, (1 + confidence) / 2)) * math.sqrt(shares.sum())
    return Ranged(value, value - half, value + half)


def mean_error(error: ArrayLike, *, confidence: float = 0.95) -> Ranged:
    """Mean of independent errors with Student's interval; without one for a single value or equal values.

    Parameters
    ----------
    error : array-like, shape (n,)
        1 or more. [unit]
    confidence : float
        Two-sided.

    Returns
    -------
    Ranged
        [unit]

    Raises
    ------
    TooFewReadings
        No value.
    SpcError
        A value is not a number.

    References
    ----------
    .. [1] Student (1908), Biometrika 6, 1-25 (from memory).
    """
    from scipy.special import stdtrit

    y = finite_series(error, "a mean error", 1)
    mean = float(y[0] + (y - y[0]).mean())
    sd = float(np.std(y - y[0], ddof=1)) if y.size > 1 else 0.0
    if not sd > 0:
        return Ranged(mean)
    half = float(stdtrit(y.size - 1, (1 + confidence) / 2)) * sd / math.sqrt(y.size)
    return Ranged(mean, mean - half, mean + half)
