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
HOLDS = 5.0
"""Gain in log likelihood that makes a drift that came to hold believed: among ten places to stop chance seldom gives
as much (tests)."""

Floats = NDArray[np.float64]


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
        Drift since the start, until it held; None with fewer than `FEW_AFTER` checks after it. [unit per unit of time]
    held : float or None
        When the drift ended and the error held; None while it goes on. [unit of time]
    before : Ranged or None
        Mean error before the start; None without a check before it, and then taken as 0. [unit]
    sd : float or None
        Scatter of a check around the course. [unit]
    """

    at: tuple[Ranged, ...]
    step: Ranged
    slope: Ranged | None
    held: float | None
    before: Ranged | None
    sd: float | None


def error_course(
    time: ArrayLike, error: ArrayLike, start: float, at: ArrayLike, *, confidence: float = 0.95
) -> ErrorCourse:
    """Error of a gauge that went off at a known start, by a step, a steady drift, or both; a drift may come to hold.

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
       Regression Analysis, 3rd ed., ch. 14; from memory). The start is taken as known. That a drift came to hold, at
       the check that fits best, is believed when it betters the logarithm of the likelihood by `HOLDS`.
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
    held = _held(t, y, start, has_before) if has_slope else None

    def design(moments: Floats) -> Floats:
        return _design(moments, start, has_before, has_slope, held)

    x = design(t)
    beta, triangle, rest = _least_squares(x, y)
    dof = t.size - x.shape[1] - (held is not None)
    sd = math.sqrt(rest / dof) if dof > 0 else None
    reach = float(stdtrit(dof, (1 + confidence) / 2)) * sd if sd is not None else None

    def ranged(weights: Floats) -> Ranged:
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
        held=held,
        before=ranged(unit[0]) if has_before else None,
        sd=sd,
    )


def _design(moments: Floats, start: float, has_before: bool, has_slope: bool, held: float | None) -> Floats:
    late = (moments >= start).astype(float)
    since = np.minimum(moments, math.inf if held is None else held) - start
    columns = [late] + ([late * since] if has_slope else [])
    table = np.column_stack(([np.ones(len(moments))] if has_before else []) + columns)
    return np.asarray(table, dtype=np.float64)


def _least_squares(x: Floats, y: Floats) -> tuple[Floats, Floats, float]:
    """Coefficients, the triangle behind their errors, and the sum of squares that is left."""
    root, triangle = np.linalg.qr(x)
    beta = np.linalg.solve(triangle, root.T @ y)
    rest = float(np.sum((y - x @ beta) ** 2))
    return np.asarray(beta, dtype=np.float64), np.asarray(triangle, dtype=np.float64), rest


def _held(t: Floats, y: Floats, start: float, has_before: bool) -> float | None:
    """The check at which a drift came to hold; None while going on fits as well."""
    late = np.unique(t[t >= start])
    # Two moments of drift and two of holding at the least.
    candidates = [float(h) for h in late[1:-2]] if late.size > FEW_AFTER else []
    straight = _least_squares(_design(t, start, has_before, True, None), y)[2]
    best, at = straight, None
    for candidate in candidates:
        rest = _least_squares(_design(t, start, has_before, True, candidate), y)[2]
        if rest < best:
            best, at = rest, candidate
    # Below this the likelihood of data without scatter is one of arithmetic.
    least = 1e-18 * float(y @ y) + 1e-300
    if at is None or straight <= least:
        return None
    gained = t.size / 2 * math.log(straight / max(best, least))
    return at if gained > HOLDS else None


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
