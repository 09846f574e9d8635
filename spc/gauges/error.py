"""How far off a gauge was over time, from checks and audits, and how far a re-set moved it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.errors import SpcError, TooFewReadings
from spc.halving import halve
from spc.mean_squares import Ranged
from spc.variation import finite_series

FEW_AFTER = 4
"""Checks after the start from which a slope is fitted beside the step."""
HOLDS = 5.0
"""Gain in log likelihood that makes a drift that came to hold believed: among ten places to stop chance seldom gives
as much (tests)."""
STARTS = 25
"""Places tried for a start that is known by a range."""

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
    start : float
        When it began to go off, likeliest. [unit of time]
    held : float or None
        When the drift ended and the error held; None while it goes on. [unit of time]
    before : Ranged or None
        Mean error before the start; None without a check before it, and then taken as 0. [unit]
    sd : float or None
        Scatter of a check around the likeliest course. [unit]
    """

    at: tuple[Ranged, ...]
    step: Ranged
    slope: Ranged | None
    start: float
    held: float | None
    before: Ranged | None
    sd: float | None


def error_course(
    time: ArrayLike,
    error: ArrayLike,
    start: float,
    at: ArrayLike,
    *,
    latest: float | None = None,
    confidence: float = 0.95,
) -> ErrorCourse:
    """Error of a gauge that went off by a step, a steady drift, or both; a drift may come to hold.

    Parameters
    ----------
    time, error : array-like, shape (n,)
        When each check was, and its error: read less true. 1 or more at or after the start.
        [any unit of time], [unit]
    start : float
        When the gauge began to go off; with `latest` the earliest it may have. [unit of time]
    at : array-like, shape (m,)
        Moments to tell the error of. [unit of time]
    latest : float, optional
        The latest moment at which it may have begun, not before `start`; without it the start is taken as known.
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
        Shapes differ, a value is not a number, or the latest start lies before the earliest.

    Notes
    -----
    Where the start is not known, courses from `STARTS` moments between the earliest and the latest are averaged, each
    weighted by how well it fits the checks; the intervals are those of the mixture, so that they carry the doubt about
    the start too.

    References
    ----------
    .. [1] Least squares on a constant, a step and a broken line, with Student's t (Draper & Smith, Applied
       Regression Analysis, 3rd ed., ch. 14; from memory). That a drift came to hold, at the check that fits best, is
       believed when it betters the logarithm of the likelihood by `HOLDS`.
    .. [2] Weights exp(-BIC / 2): Kass & Raftery (1995), J. Amer. Statist. Assoc. 90, 773-795 (from memory).
    """
    t = finite_series(time, "the course of a gauge's error", 1)
    y = finite_series(error, "the course of a gauge's error", 1)
    asked = np.asarray(at, dtype=float).reshape(-1)
    if t.shape != y.shape:
        raise SpcError(f"every check needs its moment; got {t.size} moments and {y.size} errors")
    last = start if latest is None else latest
    if not (math.isfinite(start) and math.isfinite(last) and np.isfinite(asked).all()):
        raise SpcError("the start and the moments asked for must be numbers")
    if last < start:
        raise SpcError(f"the latest start must not lie before the earliest; got {last} and {start}")
    if not (t >= start).any():
        raise TooFewReadings("the course of a gauge's error", "1 check after the start", 0)
    starts = np.unique(np.linspace(start, min(last, max(start, float(t.max()))), STARTS))
    fits = [_fit(t, y, float(s)) for s in starts]
    merit = np.array([f.merit for f in fits])
    weights = np.exp(merit - merit.max())
    # What is a millionth as likely moves no figure, and its empty degrees of freedom shall not forbid an interval.
    fits = [f for f, w in zip(fits, weights, strict=True) if w > 1e-6]
    weights = weights[weights > 1e-6] / weights[weights > 1e-6].sum()
    best = fits[int(np.argmax(weights))]

    def ranged(rows: list[Floats], of: list[_Fit], shares: Floats) -> tuple[Ranged, ...]:
        values = np.stack([row @ f.beta for row, f in zip(rows, of, strict=True)])
        mean = shares @ values
        if any(f.dof < 1 for f in of):
            return tuple(Ranged(float(v)) for v in mean)
        spreads = np.stack([f.spread(row) for row, f in zip(rows, of, strict=True)])
        low, high = _mixture_limits(values, spreads, np.array([f.dof for f in of]), shares, confidence)
        return tuple(Ranged(*three) for three in zip(*(a.tolist() for a in (mean, low, high)), strict=True))

    def coefficient(name: str) -> Ranged | None:
        having = [n for n, f in enumerate(fits) if name in f.names]
        if name not in best.names:
            return None
        of = [fits[n] for n in having]
        rows = [np.eye(len(f.names))[[f.names.index(name)]] for f in of]
        return ranged(rows, of, weights[having] / weights[having].sum())[0]

    step = coefficient("step")
    assert step is not None, "every course has its step"
    return ErrorCourse(
        at=ranged([f.design(asked) for f in fits], fits, weights),
        step=step,
        slope=coefficient("slope"),
        start=best.start,
        held=best.held,
        before=coefficient("before"),
        sd=best.sd if best.dof > 0 else None,
    )


@dataclass(frozen=True)
class _Fit:
    """The course from one start."""

    start: float
    held: float | None
    names: tuple[str, ...]
    beta: Floats
    triangle: Floats
    sd: float
    dof: int
    merit: float

    def design(self, moments: Floats) -> Floats:
        return _design(moments, self.start, "before" in self.names, "slope" in self.names, self.held)

    def spread(self, rows: Floats) -> Floats:
        """Standard error of the course at rows of its design."""
        return self.sd * np.linalg.norm(np.linalg.solve(self.triangle.T, rows.T), axis=0)


def _fit(t: Floats, y: Floats, start: float) -> _Fit:
    after = int((t >= start).sum())
    has_before, has_slope = after < t.size, after >= FEW_AFTER and bool(np.ptp(t[t >= start]) > 0)
    held = _held(t, y, start, has_before) if has_slope else None
    x = _design(t, start, has_before, has_slope, held)
    beta, triangle, rest = _least_squares(x, y)
    used = x.shape[1] + (held is not None)
    dof = t.size - used
    names = (("before",) if has_before else ()) + ("step",) + (("slope",) if has_slope else ())
    floor = 1e-18 * float(y @ y) + 1e-300
    merit = -t.size / 2 * math.log(max(rest, floor)) - used / 2 * math.log(t.size)
    return _Fit(start, held, names, beta, triangle, math.sqrt(rest / dof) if dof > 0 else 0.0, dof, merit)


def _mixture_limits(
    values: Floats, spreads: Floats, dof: NDArray[np.int_], shares: Floats, confidence: float
) -> tuple[Floats, Floats]:
    """Limits of a mixture of Student's t for each moment; values and spreads of shape (fits, moments)."""
    from scipy.special import stdtr, stdtrit

    half = stdtrit(dof, (1 + confidence) / 2)[:, None] * spreads
    outer = (values - half).min(axis=0), (values + half).max(axis=0)
    if len(values) == 1:
        return outer
    # A course without scatter is a point: a tiny width keeps the division finite.
    width = np.maximum(spreads, 1e-12 * (np.abs(values) + 1e-300))
    limits = []
    for share in ((1 - confidence) / 2, (1 + confidence) / 2):

        def under(at: Floats, wanted: float = share) -> NDArray[np.bool_]:
            return shares @ stdtr(dof[:, None], (at - values) / width) < wanted

        limits.append(halve(under, *outer))
    return limits[0], limits[1]


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
    candidates = [float(h) for h in late[1:-2] if h > start] if late.size > FEW_AFTER else []
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
