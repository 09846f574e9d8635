"""Which processes changed from one month to the next by more than noise, over all processes at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.capability.distribution import Shape, quantiles, to_normal_scale
from spc.capability.indices import limit_index
from spc.capability.tolerance import LEAST_PARTS, check_limits, distance_index
from spc.errors import SpcError
from spc.intervals import Index
from spc.shown import Shown
from spc.spread import Spread, overall_spread, pivotal_draws
from spc.strata import split_strata
from spc.variation import has_spread


@dataclass(frozen=True)
class Pair(Shown):
    """One process in two months.

    Attributes
    ----------
    name : str
    before, after : array-like, shape (parts, p)
        Readings of either month; NaN = not measured. Signed where the limits apply to sizes. [any unit]
    lower, upper : float or None
        Specification limits, at least one. [unit]
    strata : sequence of array-like, each shape (p,)
    shape : Shape
    """

    name: str
    before: ArrayLike
    after: ArrayLike
    lower: float | None
    upper: float | None
    strata: Sequence[ArrayLike] = ()
    shape: Shape = "normal"


@dataclass(frozen=True)
class MonthChange(Shown):
    """Change of one process.

    Attributes
    ----------
    name : str
    before, after : Index or None
        Ppk of either month.
    difference : Index or None
        After less before.
    p_value, p_adjusted : float or None
        That nothing changed: for this process alone, and held against all processes compared.
    changed : bool
        Whether it stands out from all of them.
    reason : str or None
        Why it was not compared.
    """

    name: str
    before: Index | None
    after: Index | None
    difference: Index | None
    p_value: float | None
    p_adjusted: float | None
    changed: bool
    reason: str | None


def compare_months(
    pairs: Sequence[Pair], *, false_share: float = 0.05, confidence: float = 0.95, seed: int = 0
) -> tuple[MonthChange, ...]:
    """Change of Ppk of every process, with p-values that allow for how many were compared.

    Parameters
    ----------
    pairs : sequence of Pair
    false_share : float
        Expected share of false ones among those called changed, within 0 and 1.
    confidence : float
        Of each interval, two-sided.
    seed : int
        Of the draws; the same seed gives the same result.

    Returns
    -------
    tuple of MonthChange
        In the order given. Processes with under 5 parts in a month, or without spread, are named with the
        reason and take no part in the adjustment.

    Raises
    ------
    SpcError
        Impossible limits, no limit, or readings a shape cannot hold (the message names the process).

    References
    ----------
    .. [1] Benjamini, Y. & Hochberg, Y. (1995), Journal of the Royal Statistical Society B 57, 289-300, as in
       scipy `false_discovery_control`; intervals as `spc.capability.indices` (generalised, independent draws a month).
    """
    from scipy.stats import false_discovery_control

    if not 0 < false_share < 1:
        raise SpcError(f"the share of false ones lies within 0 and 1; got {false_share}")
    rng = np.random.default_rng(seed)
    found = [_change(pair, confidence, rng) for pair in pairs]
    compared = [i for i, change in enumerate(found) if change.p_value is not None]
    if not compared:
        return tuple(found)
    adjusted = false_discovery_control([found[i].p_value for i in compared])
    for i, p in zip(compared, np.atleast_1d(adjusted), strict=True):
        c = found[i]
        found[i] = MonthChange(
            c.name, c.before, c.after, c.difference, c.p_value, float(p), bool(p <= false_share), None
        )
    return tuple(found)


def _change(pair: Pair, confidence: float, rng: np.random.Generator) -> MonthChange:
    try:
        check_limits(pair.lower, pair.upper)
        if pair.lower is None and pair.upper is None:
            raise SpcError("an index of the distance to a limit needs a limit")
        before, after = _spread(pair, pair.before), _spread(pair, pair.after)
    except SpcError as error:
        raise SpcError(f"{pair.name}: {error}") from None
    for month in (before, after):
        if isinstance(month, str):
            return MonthChange(pair.name, None, None, None, None, None, False, month)
    indices, draws = [], []
    for spread in (month for month in (before, after) if isinstance(month, Spread)):
        drawn = pivotal_draws(spread, rng)
        indices.append(limit_index(pair.shape, spread, drawn, pair.lower, pair.upper, confidence))
        draws.append(distance_index(*quantiles(pair.shape, *drawn), pair.lower, pair.upper))
    away = draws[1] - draws[0]
    tail = (1 - confidence) / 2
    low, high = (float(end) for end in np.quantile(away, [tail, 1 - tail]))
    estimate = indices[1].estimate - indices[0].estimate
    under = float(np.mean(away < 0))
    p = min(1.0, 2 * (min(under, 1 - under) * away.size + 1) / (away.size + 1))
    difference = Index(estimate, min(low, estimate), max(high, estimate), confidence)
    return MonthChange(pair.name, indices[0], indices[1], difference, p, None, False, None)


def _spread(pair: Pair, month: ArrayLike) -> Spread | str:
    """Overall spread of a month, or why there is none."""
    y = np.asarray(month, dtype=float)
    y = y[:, None] if y.ndim == 1 else y
    parts = int(np.isfinite(y).any(axis=1).sum())
    if parts < LEAST_PARTS:
        return f"too few parts in a month: {parts}, a comparison needs {LEAST_PARTS}"
    scaled = to_normal_scale(y, pair.shape)
    split = split_strata(scaled, pair.strata)
    if not has_spread(split.noise**0.5, scaled):
        return "all parts of a month read the same: the spread is below what the gauge can show"
    return overall_spread(split)
