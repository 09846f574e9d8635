"""How a tool wears: what all its finished lives on one machine teach, as a mixed model fitted by REML."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spc.errors import SpcError
from spc.process import Bools, Floats, Ints
from spc.wear.life_reml import LivesFit, fit_lives

FEWEST_LIVES = 4
"""Finished lives without a signal from which lives teach one another."""
_FEWEST_PARTS = 4
_SETTLING = (0.03, 0.06, 0.12)
"""Lengths of the settling after a renewal that are tried, as shares of a life. Common practice of the trade: the
first 10 to 20 of some 200 bores run rough."""


@dataclass(frozen=True)
class WearRows:
    """Parts of one process within tool lives, in order of machining.

    Attributes
    ----------
    value
        (n,) part mean [base unit; natural log for a feature on the log scale].
    life
        (n,) number of the tool life.
    uses
        (n,) uses of the tool before the part.
    group
        (n,) family code: families may lie at different levels.
    """

    value: Floats
    life: Ints
    uses: Floats
    group: Ints

    def of(self, chosen: Bools) -> WearRows:
        """The chosen rows."""
        return WearRows(self.value[chosen], self.life[chosen], self.uses[chosen], self.group[chosen])


@dataclass(frozen=True)
class WearFit:
    """What finished lives teach.

    Attributes
    ----------
    groups
        Family codes that were seen.
    scale
        Usual life. [uses]
    settling
        Length of the settling after a renewal, as a share of a life.
    common, common_cov
        (c,) level of each family, slope, bend and settling, and their covariance (c, c).
    between
        (2, 2) covariance of level and slope (per usual life) from life to life.
    bend
        Standard deviation of the bend from life to life. [unit of the values]
    sigma
        Standard deviation of a part around its life. [unit of the values]
    lives, parts
        Numbers that the fit rests on.
    criterion
        Minus twice the restricted log-likelihood, with its constants.
    """

    groups: tuple[int, ...]
    scale: float
    settling: float
    common: Floats
    common_cov: Floats
    between: Floats
    bend: float
    sigma: float
    lives: int
    parts: int
    criterion: float

    @property
    def slope(self) -> float:
        """Usual change over a life, settling apart: from its start to its usual end. [unit of the values]"""
        return float(self.common[-3] + self.common[-2])


def usual_life(uses: Floats, life: Ints, taught: Ints) -> float:
    """Median of the uses seen in the given lives; 0 without any."""
    longest = [float(uses[life == number].max()) for number in taught]
    return float(np.median(longest)) if longest else 0.0


def wear_basis(uses: Floats, scale: float, settling: float) -> Floats:
    """Columns slope, bend and settling of the wear model at some uses, (n, 3).

    Beyond the usual life the bend goes on as a straight line: a parabola carried further than the lives it was
    learned from would turn round.
    """
    share = np.asarray(uses, dtype=float) / scale
    bend = np.where(share <= 1.0, share**2, 2.0 * share - 1.0)
    return np.column_stack([share, bend, np.exp(-share / settling)])


def fit_wear(rows: WearRows, taught: Ints) -> WearFit | None:
    """Fit level, slope, bend and settling of a tool over its lives.

    value = family level + slope, bend and settling common to all lives + level and slope of the life + part.

    Parameters
    ----------
    rows
        Parts in lives.
    taught
        Numbers of the lives to learn from: finished ones without a signal.

    Returns
    -------
    WearFit or None
        None with fewer than 4 such lives of 4 parts, or when nothing is left to tell parts apart.

    Raises
    ------
    SpcError
        Arrays of different lengths, or values that are not finite.

    Notes
    -----
    Fitted by `spc.wear.life_reml.fit_lives`. The length of the settling is that of the least sum of squares
    within lives.
    """
    sizes = {len(a) for a in (rows.value, rows.life, rows.uses, rows.group)}
    if len(sizes) != 1:
        raise SpcError(f"value, life, uses and group must be of one length, got {sorted(sizes)}")
    if not np.isfinite(rows.value).all():
        raise SpcError("value must be finite: leave out parts that were not measured")
    numbers, counts = np.unique(rows.life[np.isin(rows.life, taught)], return_counts=True)
    numbers = numbers[counts >= _FEWEST_PARTS]
    if len(numbers) < FEWEST_LIVES:
        return None
    known = rows.of(np.isin(rows.life, numbers))
    scale = usual_life(known.uses, known.life, numbers)
    spread = float(known.value.std())
    if scale <= 0.0 or spread <= 0.0:
        return None
    settling = min(_SETTLING, key=lambda length: _within_squares(known, scale, length))
    groups = np.unique(known.group)
    columns = _columns(known, groups, scale, settling)
    own = np.column_stack([np.ones(len(known.value)), known.uses / scale])
    try:
        fit = fit_lives(known.value, known.life, own, columns)
    except SpcError:
        return None
    return WearFit(
        groups=tuple(int(g) for g in groups),
        scale=scale,
        settling=settling,
        common=fit.common,
        common_cov=fit.common_cov,
        between=fit.between,
        bend=_bend_of_lives(known, columns, fit, scale),
        sigma=fit.sigma,
        lives=len(numbers),
        parts=len(known.value),
        criterion=fit.criterion,
    )


def _bend_of_lives(rows: WearRows, columns: Floats, fit: LivesFit, scale: float) -> float:
    """Standard deviation of the bend from life to life, by moments: squares of the fitted ones less what parts make."""
    left = rows.value - columns @ fit.common
    excess = []
    for number in np.unique(rows.life):
        own = rows.life == number
        basis = wear_basis(rows.uses[own], scale, 1.0)
        if own.sum() < 6 or np.ptp(basis[:, 0]) < 0.5:
            continue
        lines = np.column_stack([np.ones(own.sum()), basis[:, :2]])
        cross = np.linalg.inv(lines.T @ lines)
        excess.append(float((cross @ lines.T @ left[own])[2]) ** 2 - fit.sigma**2 * float(cross[2, 2]))
    return math.sqrt(max(float(np.mean(excess)), 0.0)) if len(excess) >= FEWEST_LIVES else 0.0


def _columns(rows: WearRows, groups: Ints, scale: float, settling: float) -> Floats:
    level = (rows.group[:, None] == groups[None, :]).astype(float)
    return np.column_stack([level, wear_basis(rows.uses, scale, settling)])


def _within_squares(rows: WearRows, scale: float, settling: float) -> float:
    """Sum of squares left when each life has its own level and the wear columns are shared."""
    columns = _columns(rows, np.unique(rows.group)[1:], scale, settling)
    table = np.column_stack([columns, rows.value])
    _, which, counts = np.unique(rows.life, return_inverse=True, return_counts=True)
    sums = np.zeros((len(counts), table.shape[1]))
    np.add.at(sums, which, table)
    table = table - (sums / counts[:, None])[which]
    theta = np.linalg.lstsq(table[:, :-1], table[:, -1], rcond=None)[0]
    return float(((table[:, -1] - table[:, :-1] @ theta) ** 2).sum())


_ODD = 4.0
"""Robust standard deviations beyond which a life is no example for others; one normal life in 16,000 lies there."""
_FEWEST_TO_COMPARE = 6


def odd_lives(rows: WearRows, candidates: Ints) -> Ints:
    """Lives whose level or slope lies far from that of the others: they must not teach what is usual.

    Parameters
    ----------
    rows
        Parts in lives.
    candidates
        Numbers of the lives to compare.

    Returns
    -------
    array of int
        Their numbers; empty with fewer than 6 lives of 4 parts.

    Notes
    -----
    Each life's own line, families levelled, against the median line over 1.4826 times the median absolute deviation,
    its sampling error added (standard robust practice, from memory; the bound of 4 is common practice, no source).
    """
    known = rows.of(np.isin(rows.life, candidates))
    numbers, where, counts = np.unique(known.life, return_inverse=True, return_counts=True)
    if (counts >= _FEWEST_PARTS).sum() < _FEWEST_TO_COMPARE:
        return np.zeros(0, dtype=np.int64)
    scale = max(float(np.median([known.uses[where == i].max() for i in range(numbers.size)])), 1.0)
    value = known.value.copy()
    for code in np.unique(known.group):
        value[known.group == code] -= np.median(value[known.group == code])
    lines = np.full((numbers.size, 2), np.nan)
    noise = np.full((numbers.size, 2), np.nan)
    rest, freedom = 0.0, 0
    for i in np.flatnonzero(counts >= _FEWEST_PARTS):
        own = where == i
        share = known.uses[own] / scale - 0.5
        if np.ptp(share) <= 0.0:
            continue
        columns = np.column_stack([np.ones_like(share), share])
        cross = np.linalg.inv(columns.T @ columns)
        lines[i] = cross @ columns.T @ value[own]
        noise[i] = np.diag(cross)
        rest += float(((value[own] - columns @ lines[i]) ** 2).sum())
        freedom += share.size - 2
    centre = np.nanmedian(lines, axis=0)
    between = (1.4826 * np.nanmedian(np.abs(lines - centre), axis=0)) ** 2
    sampling = noise * rest / max(freedom, 1)
    distance = np.abs(lines - centre) / np.sqrt(between + sampling + 1e-300)
    return numbers[np.nanmax(np.nan_to_num(distance, nan=0.0), axis=1) > _ODD]
