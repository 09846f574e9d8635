"""What a service did to each feature of a machine, freed of families, gauges, wear and drift, all features at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.change.comparison import BeforeAfter, LevelChange, PatternChange, SpreadChange, before_after
from spc.change.trends import trend
from spc.errors import SpcError
from spc.intervals import Index

Array = NDArray[np.float64]

FALSE_SHARE = 0.05


@dataclass(frozen=True)
class Served:
    """One feature of a machine around something that was done to it.

    Attributes
    ----------
    name : str
    readings : array, shape (n, p)
        Parts in order of machining; NaN = not measured. [any unit]
    after : bool array, shape (n,)
        Whether a part was made after.
    family, gauge : sequence of str, each shape (n,)
        What was made, and what measured it.
    touched : frozenset of str
        Gauges that were repaired or in doubt meanwhile: their readings say nothing of the machine.
    wear : array, shape (n,), optional
        Uses of the tool before each part, for a tool that is renewed by itself.
    day : int array, shape (n,), optional
        Given where a gauge or the machine is set daily: the parts of a day then count once.
    """

    name: str
    readings: Array
    after: NDArray[np.bool_]
    family: Sequence[str]
    gauge: Sequence[str]
    touched: frozenset[str] = frozenset()
    wear: Array | None = None
    day: NDArray[np.int64] | None = None


@dataclass(frozen=True)
class Effect:
    """What happened to one feature.

    Attributes
    ----------
    name : str
    parts_before, parts_after : int
        Compared.
    left_out : int
        Parts measured with a touched gauge.
    level : LevelChange or None
        None when it was not compared; `reason` says why.
    spread : SpreadChange or None
    pattern : PatternChange or None
        Of the family made most.
    p_adjusted : float or None
        That neither level nor spread nor pattern changed, held against everything compared.
    found : bool
        Whether it stands out from everything compared.
    reason : str or None
    warnings : tuple of str
    """

    name: str
    parts_before: int
    parts_after: int
    left_out: int
    level: LevelChange | None
    spread: SpreadChange | None
    pattern: PatternChange | None
    p_adjusted: float | None
    found: bool
    reason: str | None
    warnings: tuple[str, ...]

    @property
    def level_found(self) -> bool:
        """Whether it is the level that stands out."""
        return self.found and self.level is not None and self.level.p_value <= FALSE_SHARE

    @property
    def pattern_found(self) -> bool:
        """Whether it is the position pattern that stands out."""
        return self.found and self.pattern is not None and self.pattern.p_value <= FALSE_SHARE


def service_effects(
    served: Sequence[Served], *, false_share: float = FALSE_SHARE, confidence: float = 0.95
) -> tuple[Effect, ...]:
    """Compare every feature before and after, and tell which stand out from all that was compared.

    Each family on each gauge keeps its own level, so that neither another mix of families nor another gauge is
    taken for the service. What the process was doing anyway is taken out as one slope along the parts, or along
    the wear of its tool: a drift that simply goes on is then no effect.

    Parameters
    ----------
    served : sequence of Served
    false_share : float
        Expected share of false ones among those found.
    confidence : float
        Of each interval, two-sided.

    Returns
    -------
    tuple of Effect
        In the order given. A feature that cannot be compared is named with the reason.

    References
    ----------
    .. [1] `spc.change.comparison`; Benjamini & Hochberg (1995) over level (Welch), spread (Brown-Forsythe) and position
       pattern (Hotelling) of every feature, as in scipy `false_discovery_control`.
    """
    from scipy.stats import false_discovery_control

    found = [_compared(one, confidence) for one in served]
    tests = [
        (i, p)
        for i, effect in enumerate(found)
        if effect.level is not None and effect.spread is not None
        for p in (
            effect.level.p_value,
            effect.spread.p_robust,
            *([effect.pattern.p_value] if effect.pattern is not None else []),
        )
    ]
    if not tests:
        return tuple(found)
    adjusted = np.atleast_1d(false_discovery_control([min(1.0, p) for _, p in tests]))
    least: dict[int, float] = {}
    for (i, _), p in zip(tests, adjusted, strict=True):
        least[i] = min(least.get(i, 1.0), float(p))
    return tuple(
        effect
        if i not in least
        else Effect(**{**effect.__dict__, "p_adjusted": least[i], "found": least[i] <= false_share})
        for i, effect in enumerate(found)
    )


def _compared(served: Served, confidence: float) -> Effect:
    y, side = np.asarray(served.readings, dtype=float), np.asarray(served.after, dtype=bool)
    family, gauge = np.asarray(served.family, dtype=str), np.asarray(served.gauge, dtype=str)
    kept = np.isfinite(y).any(axis=1) & ~np.isin(gauge, sorted(served.touched))
    left_out = int((np.isfinite(y).any(axis=1) & ~kept).sum())
    y, side, family, gauge = y[kept], side[kept], family[kept], gauge[kept]
    uses = None if served.wear is None else np.asarray(served.wear, dtype=float)[kept]
    means = _level_of_parts(y, family)
    labels = np.array([f"{f} on {g}" for f, g in zip(family, gauge, strict=True)], dtype=str)
    course = np.arange(len(means), dtype=float) if uses is None else uses
    pattern = _pattern(y, side, family, course)
    if served.day is not None:
        means, side, labels, course = _by_day(means, side, labels, course, np.asarray(served.day)[kept])
    counts = int((~side).sum()), int(side.sum())
    try:
        told, warnings = _adjusted(means, side, labels, course, confidence)
    except SpcError as error:
        return Effect(
            served.name,
            *counts,
            left_out,
            None,
            None,
            None,
            None,
            found=False,
            reason=str(error),
            warnings=(),
        )
    return Effect(
        served.name,
        told.parts_before,
        told.parts_after,
        left_out,
        told.level,
        told.spread,
        pattern,
        None,
        found=False,
        reason=None,
        warnings=warnings,
    )


def _level_of_parts(y: Array, family: NDArray[np.str_]) -> Array:
    """Mean of each part with the offsets of its family's positions taken out, so that a gap moves nothing."""
    means = np.zeros(len(y))
    for name in np.unique(family):
        mine = family == name
        rows = y[mine]
        known = np.isfinite(rows)
        count = known.sum(axis=0)
        usual = np.where(known, rows, 0.0).sum(axis=0) / np.maximum(count, 1)
        middle = float(usual[count > 0].mean())
        away = np.where(known, rows - usual, 0.0)
        means[mine] = middle + away.sum(axis=1) / known.sum(axis=1)
    return means


def _by_day(
    means: Array, side: NDArray[np.bool_], labels: NDArray[np.str_], course: Array, day: NDArray[np.int64]
) -> tuple[Array, NDArray[np.bool_], NDArray[np.str_], Array]:
    """One value for each day, side and label: parts that share a setting share its error."""
    keys = [f"{d}/{int(s)}/{label}" for d, s, label in zip(day, side, labels, strict=True)]
    _, first, which = np.unique(keys, return_index=True, return_inverse=True)
    count = np.bincount(which.ravel())
    order = np.argsort(np.bincount(which.ravel(), weights=course) / count, kind="stable")
    together = [np.bincount(which.ravel(), weights=values) / count for values in (means, course)]
    return together[0][order], side[first][order], labels[first][order], together[1][order]


def _adjusted(
    means: Array, side: NDArray[np.bool_], labels: NDArray[np.str_], course: Array, confidence: float
) -> tuple[BeforeAfter, tuple[str, ...]]:
    try:
        told = before_after(means, side, family=labels, wear=course, confidence=confidence)
    except SpcError:
        told = before_after(means, side, family=labels, confidence=confidence)
        return told, (*told.warnings, "too few parts to tell a drift that went on from the service itself")
    return told, told.warnings


def _pattern(
    y: Array, side: NDArray[np.bool_], family: NDArray[np.str_], course: Array
) -> PatternChange | None:
    """Step of every position of the family made most, with a slope of its own for each taken out.

    Multivariate regression on the side and the course; Hotelling's T-squared of the step (Rencher & Christensen 2012,
    chapter 10, from memory). The last position follows from the others.
    """
    from scipy.special import fdtrc

    names, count = np.unique(family, return_counts=True)
    if not len(names):
        return None
    mine = family == names[count.argmax()]
    rows = y[mine]
    rows = rows[:, np.isfinite(rows).any(axis=0)]
    whole = np.isfinite(rows).all(axis=1)
    rows, after, along = rows[whole], side[mine][whole], course[mine][whole]
    n, places = rows.shape
    p, free = places - 1, n - 3
    if p < 1 or free - p + 1 < 1 or min(after.sum(), (~after).sum()) < 2:
        return None
    away = rows - rows.mean(axis=1, keepdims=True)
    x = np.column_stack(
        [np.ones(n), after.astype(float), (along - along.mean()) / max(float(np.ptp(along)), 1e-12)]
    )
    if np.linalg.matrix_rank(x) < 3:
        return None
    solve = np.linalg.pinv(x)
    step = (solve @ away)[1]
    rest = (away - x @ (solve @ away))[:, :-1]
    spread = rest.T @ rest / free
    scale = np.sqrt(np.diag(spread))
    if not (scale > 1e-12 * float(np.abs(rows).max())).all():
        return None
    spread = spread / np.outer(scale, scale)
    if np.linalg.matrix_rank(spread) < p:
        return None
    bent = step[:-1] / scale
    square = float(bent @ np.linalg.solve(spread, bent)) / float(np.sum(solve[1] ** 2))
    p_value = float(fdtrc(p, free - p + 1, square * (free - p + 1) / (free * p)))
    return PatternChange(tuple(float(c) for c in step), p_value)


def differ_by_family(out: ArrayLike, of: ArrayLike) -> bool:
    """Whether families differ in their share of bad parts by more than noise.

    Parameters
    ----------
    out, of : array-like, shape (families,)
        Parts beyond a limit and parts judged.

    Returns
    -------
    bool
        Chi-square test of homogeneity at 5 %; False with one family, or when none or all are out.
    """
    from scipy.stats import chi2_contingency

    k, n = np.asarray(out, dtype=float), np.asarray(of, dtype=float)
    k, n = k[n > 0], n[n > 0]
    if len(k) < 2 or k.sum() in (0.0, n.sum()):
        return False
    return bool(chi2_contingency(np.array([k, n - k]))[1] <= FALSE_SHARE)  # type: ignore[index]


def chance_larger(out_now: ArrayLike, of_now: ArrayLike, out_then: ArrayLike, of_then: ArrayLike) -> float:
    """Chance that a share is larger now than it was then, families taken together by what is made now.

    Parameters
    ----------
    out_now, of_now, out_then, of_then : array-like, shape (families,)
        Parts beyond a limit and parts judged.

    Returns
    -------
    float
        Between 0 and 1, from 20,000 draws of Jeffreys' posterior with a fixed seed.
    """
    rng = np.random.default_rng(0)
    k1, n1, k0, n0 = (np.asarray(x, dtype=float)[:, None] for x in (out_now, of_now, out_then, of_then))
    size = (len(k1), 20_000)
    now = rng.beta(k1 + 0.5, n1 - k1 + 0.5, size)
    then = rng.beta(k0 + 0.5, n0 - k0 + 0.5, size)
    weight = n1 / n1.sum()
    return float(np.mean(((now - then) * weight).sum(axis=0) > 0))


def share_ahead(over: ArrayLike, day: ArrayLike, at: float, *, confidence: float = 0.95) -> Index | None:
    """Share of parts beyond a limit on a day to come, if every part goes on drifting as the latest did.

    Parameters
    ----------
    over : array-like, shape (n,)
        How far each part is beyond its limit, negative within. [any unit]
    day : array-like, shape (n,)
        When it was made. [days]
    at : float
        The day to come. [days]
    confidence : float
        Of the interval, which holds the slope only.

    Returns
    -------
    Index or None
        None without a clear drift outwards, or where it brings no more parts beyond. [-]

    References
    ----------
    .. [1] Slope and its error as in `spc.change.trends.trend`; carrying each part on along it is
       common practice, no source.
    """
    y, when = np.asarray(over, dtype=float), np.asarray(day, dtype=float)
    try:
        slope = trend(y, when, confidence=confidence)
    except SpcError:
        return None
    if slope.p_value > 1 - confidence or slope.slope.estimate <= 0:
        return None

    def share(rate: float) -> float:
        return float(np.mean(y + max(rate, 0.0) * (at - when) > 0))

    if share(slope.slope.estimate) <= float(np.mean(y > 0)):
        return None
    return Index(
        share(slope.slope.estimate),
        share(slope.slope.lower),
        share(slope.slope.upper),
        slope.slope.confidence,
    )
