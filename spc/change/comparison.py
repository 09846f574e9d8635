"""What a service or a change did: level, spread and position pattern, before and after, and what could be seen."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.errors import LARGEST, SpcError, TooFewReadings
from spc.intervals import Index
from spc.shown import Shown
from spc.variation import finite_series, has_spread

Array = NDArray[np.float64]

LEAST = 3
"""Fewest parts on either side."""
POWER = 0.8


@dataclass(frozen=True)
class LevelChange(Shown):
    """After less before.

    Attributes
    ----------
    difference : Index
        [unit]
    t, dof, p_value : float
        Welch's test of no difference.
    smallest_seen : float
        A difference this large would have been found in 80 of 100 such comparisons. [unit]
    slope : float or None
        Wear per use that was taken out; None without wear. [unit]
    """

    difference: Index
    t: float
    dof: float
    p_value: float
    smallest_seen: float
    slope: float | None


@dataclass(frozen=True)
class SpreadChange(Shown):
    """Standard deviation after over before, level, family and wear taken out.

    Attributes
    ----------
    before, after : float
        [unit]
    ratio : Index
        By the F law, which leans on normal values.
    p_value : float
        Of no change, by F.
    p_robust : float
        Of no change, by Brown and Forsythe: the one to believe where values are not normal.
    smallest_seen : float
        A ratio this large would have been found in 80 of 100 such comparisons. [-]
    """

    before: float
    after: float
    ratio: Index
    p_value: float
    p_robust: float
    smallest_seen: float


@dataclass(frozen=True)
class PatternChange(Shown):
    """Change of each position's offset from its part mean.

    Attributes
    ----------
    change : tuple of float
        [unit]
    p_value : float
        That no position changed (two-sample T-squared over all positions at once).
    """

    change: tuple[float, ...]
    p_value: float


@dataclass(frozen=True)
class BeforeAfter(Shown):
    """Everything a change did. `pattern` is None for one position, gaps, or too few parts."""

    parts_before: int
    parts_after: int
    level: LevelChange
    spread: SpreadChange
    pattern: PatternChange | None
    warnings: tuple[str, ...]


def before_after(
    readings: ArrayLike,
    after: ArrayLike,
    *,
    family: ArrayLike | None = None,
    wear: ArrayLike | None = None,
    confidence: float = 0.95,
) -> BeforeAfter:
    """Compare parts made before and after something was done.

    Level: each family has its own, all share one wear slope and one change; the two sides have their own
    spread. Without families and wear the level test is Welch's.

    Parameters
    ----------
    readings : array-like, shape (n,) or (n, p)
        One row a part; NaN = not measured. [any unit]
    after : array-like of bool, shape (n,)
        Whether a part was made after.
    family : array-like, shape (n,), optional
        Label of each part. Families seen on one side only say nothing about the change and are left out, with
        a warning.
    wear : array-like, shape (n,), optional
        Uses of the tool before each part.
    confidence : float
        Two-sided.

    Returns
    -------
    BeforeAfter

    Raises
    ------
    TooFewReadings
        Fewer than `LEAST` parts on a side, or none left to judge by after families and wear are taken out.
    SpcError
        Shapes differ, a reading is infinite, a side shows no spread, or wear and change cannot be told apart.

    References
    ----------
    .. [1] Welch, B. L. (1947), Biometrika 34, 28-35; Satterthwaite (1946), Biometrics Bulletin 2, 110-114;
       Brown, M. B. & Forsythe, A. B. (1974), Journal of the American Statistical Association 69, 364-367 (from
       memory). NIST/SEMATECH e-Handbook 7.3.1 and 1.3.5.10 in the tests.
    """
    y = np.asarray(readings, dtype=float)
    y = y[:, None] if y.ndim == 1 else y
    side = np.asarray(after, dtype=bool)
    if y.ndim != 2 or side.shape != (y.shape[0],):
        raise SpcError("a comparison needs one row of readings and one side for every part")
    if (np.abs(y) > LARGEST).any():
        raise SpcError(f"{int((np.abs(y) > LARGEST).sum())} reading(s) are infinite or beyond {LARGEST:g}")
    known = np.isfinite(y)
    kept = known.any(axis=1)
    codes = np.zeros(side.size, dtype=int)
    warnings: list[str] = []
    if family is not None:
        labels = np.asarray(family)
        if labels.shape != side.shape:
            raise SpcError("every part needs its family")
        names, codes = np.unique(labels, return_inverse=True)
        codes = codes.ravel()
        seen = [set(codes[kept & s].tolist()) for s in (side, ~side)]
        lonely = sorted(seen[0] ^ seen[1])
        if lonely:
            kept &= ~np.isin(codes, lonely)
            listed = ", ".join(str(names[code]) for code in lonely)
            warnings.append(f"family {listed} was made on one side only and is left out")
    uses = None
    if wear is not None:
        uses = finite_series(wear, "wear", 1)
        if uses.shape != side.shape:
            raise SpcError("every part needs its wear count")
        uses = uses[kept]
    y, known, side, codes = y[kept], known[kept], side[kept], codes[kept]
    counts = int((~side).sum()), int(side.sum())
    if min(counts) < LEAST:
        raise TooFewReadings("a comparison", f"{LEAST} parts before and {LEAST} after", min(counts))
    start = float(y[known][0])
    means = np.where(known, y - start, 0.0).sum(axis=1) / known.sum(axis=1)
    level, spread = _compare(means, side, codes, uses, confidence)
    pattern = _pattern(y, known, side)
    if y.shape[1] > 1 and pattern is None:
        warnings.append("the position pattern is not compared: it needs complete parts, more than positions")
    return BeforeAfter(counts[0], counts[1], level, spread, pattern, tuple(warnings))


def smallest_difference(
    standard_error: float, dof: float, *, chance: float = POWER, level: float = 0.05
) -> float:
    """Difference that a two-sided t test finds with a given chance.

    Parameters
    ----------
    standard_error : float
        Of the difference, above 0. [unit]
    dof : float
    chance, level : float
        Power, and the test's own error rate.

    Returns
    -------
    float
        [unit]

    Raises
    ------
    SpcError
        A value is out of range.

    References
    ----------
    .. [1] Noncentral t (definition); agrees with statsmodels `TTestIndPower` in the tests.
    """
    from scipy.optimize import root_scalar
    from scipy.special import nctdtr, stdtrit

    if not (standard_error > 0 and dof > 0 and 0 < level < chance < 1):
        raise SpcError(
            "a power needs a standard error and degrees of freedom above 0, and level < chance < 1"
        )
    edge = float(stdtrit(dof, 1 - level / 2))

    def excess(away: float) -> float:
        # The far tail of the test adds nothing once the chance is above one half.
        return 1 - float(nctdtr(dof, away, edge)) - chance

    high = edge + 1.0
    while excess(high) < 0:
        high *= 2
    return standard_error * float(root_scalar(excess, bracket=(0.0, high), xtol=1e-9).root)


def equal_spread(*groups: ArrayLike) -> tuple[float, float]:
    """Brown-Forsythe test that groups have one spread.

    Parameters
    ----------
    *groups : array-like, each shape (n,)
        2 or more groups of 2 or more values. [any unit]

    Returns
    -------
    statistic, p_value : float

    Raises
    ------
    SpcError
        Fewer than 2 groups, or no group shows any spread.
    TooFewReadings
        A group with fewer than 2 values.

    References
    ----------
    .. [1] Brown & Forsythe (1974), as in scipy `levene`; NIST/SEMATECH e-Handbook 1.3.5.10 in the tests.
    """
    from scipy.stats import levene

    found = [finite_series(group, "a comparison of spreads", 2) for group in groups]
    if len(found) < 2:
        raise SpcError("a comparison of spreads needs 2 groups or more")
    away = [np.abs(g - np.median(g)) for g in found]
    size = max(float(np.max(a)) for a in away)
    if not any(float(np.ptp(a)) > 1e-12 * size for a in away):
        raise SpcError("no group varies in its distances from the middle: there is nothing to compare by")
    # The test has no unit; deviations of ordinary size keep their squares within the range of a float.
    result = levene(*((g - np.median(g)) / size for g in found), center="median")
    return float(result.statistic), float(result.pvalue)


def _compare(
    means: Array, side: NDArray[np.bool_], codes: NDArray[np.int_], uses: Array | None, confidence: float
) -> tuple[LevelChange, SpreadChange]:
    from scipy.special import stdtr, stdtrit

    columns = [side.astype(float), *(np.eye(codes.max() + 1)[codes].T[np.bincount(codes) > 0])]
    if uses is not None:
        if not np.ptp(uses) > 0:
            raise SpcError("the wear is the same for every part: it explains nothing, leave it out")
        columns.append((uses - uses.mean()) / np.ptp(uses))
    x = np.column_stack(columns)
    if np.linalg.matrix_rank(x) < x.shape[1]:
        raise SpcError("wear and change cannot be told apart: they rise together")
    both = (~side, side)
    variance = np.ones(2)
    free = np.zeros(2)
    # Each side is weighed by its own spread; two rounds suffice, and without columns the first is final.
    for _ in range(4):
        weight = 1 / variance[side.astype(int)]
        solve = np.linalg.solve(x.T @ (weight[:, None] * x), x.T * weight)
        rest = means - x @ (solve @ means)
        hat = np.sum(x * solve.T, axis=1)
        free = np.array([part.sum() - hat[part].sum() for part in both])
        if free.min() < 1:
            raise TooFewReadings("a comparison", "1 more part on each side than families and wear take up", 0)
        variance = np.array([np.sum(rest[part] ** 2) / f for part, f in zip(both, free, strict=True)])
        if not all(has_spread(math.sqrt(v), means) for v in variance):
            raise SpcError("one side shows no spread at all: the readings are too coarse to compare")
    share = np.array([np.sum(solve[0][part] ** 2) for part in both]) * variance
    error = math.sqrt(share.sum())
    dof = float(share.sum() ** 2 / np.sum(share**2 / free))
    difference = float(solve[0] @ means)
    t = difference / error
    half = float(stdtrit(dof, (1 + confidence) / 2)) * error
    slope = None if uses is None else float(solve[-1] @ means) / float(np.ptp(uses))
    level = LevelChange(
        Index(difference, difference - half, difference + half, confidence),
        t,
        dof,
        2 * float(stdtr(dof, -abs(t))),
        smallest_difference(error, dof, level=1 - confidence),
        slope,
    )
    return level, _ratio(variance, free, [rest[part] for part in both], confidence)


def _ratio(variance: Array, free: Array, rest: list[Array], confidence: float) -> SpreadChange:
    from scipy.special import fdtr, fdtri

    tail = (1 - confidence) / 2
    f = float(variance[1] / variance[0])
    low, high = (float(fdtri(free[1], free[0], share)) for share in (tail, 1 - tail))
    under = float(fdtr(free[1], free[0], f))
    ratio = math.sqrt(f)
    return SpreadChange(
        before=math.sqrt(variance[0]),
        after=math.sqrt(variance[1]),
        ratio=Index(ratio, math.sqrt(f / high), math.sqrt(f / low), confidence),
        p_value=2 * min(under, 1 - under),
        p_robust=equal_spread(*rest)[1] if all(r.size > 2 for r in rest) else 1.0,
        smallest_seen=math.sqrt(high / float(fdtri(free[1], free[0], 1 - POWER))),
    )


def _pattern(y: Array, known: NDArray[np.bool_], side: NDArray[np.bool_]) -> PatternChange | None:
    """Two-sample T-squared of positions less their part mean; the last one follows from the others."""
    whole = known.all(axis=1)
    y, side = y[whole], side[whole]
    p = y.shape[1]
    if p < 2 or min(side.sum(), (~side).sum()) < 2 or y.shape[0] < p + 2:
        return None
    away = y - y.mean(axis=1, keepdims=True)
    change = away[side].mean(axis=0) - away[~side].mean(axis=0)
    from statsmodels.stats.multivariate import test_mvmean_2indep as two_sample

    free = away[:, :-1]
    pooled = np.concatenate([free[part] - free[part].mean(axis=0) for part in (side, ~side)])
    scale = np.sqrt(np.mean(pooled**2, axis=0))
    if not (scale > 1e-12 * np.abs(y).max()).all() or np.linalg.matrix_rank(pooled / scale) < p - 1:
        return None
    result = two_sample(free[side] / scale, free[~side] / scale)
    return PatternChange(tuple(float(c) for c in change), float(result.pvalue))
