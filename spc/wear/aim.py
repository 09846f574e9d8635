"""Where to set a machine so that mistakes cost least: too small is worked again, too large is scrap."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri, log_ndtr, ndtri

from spc.errors import SpcError
from spc.process import Floats

FEWEST = 10
"""Parts from which an aim is worked out: fewer do not tell the spread well enough to choose a side."""
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(61)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
_GRID = 121


@dataclass(frozen=True)
class Aim:
    """Set-point of least expected cost.

    Attributes
    ----------
    best
        Mean of a part to aim for. [unit of the readings]
    low, high
        Range that holds the best aim with 80 %, going by how well mean and spread are known.
    now
        Mean now.
    cost_now, cost_best
        Expected cost of a part with the mean as it is and at the best aim. [currency]
    cost_below, cost_above
        Expected cost of a part more than at the best aim when aimed one step below and above it.
    step
        That step.
    out_low, out_high
        Expected share of parts with a place below the lower and above the upper limit at the best aim.
    parts
    """

    best: float
    low: float
    high: float
    now: float
    cost_now: float
    cost_best: float
    cost_below: float
    cost_above: float
    step: float
    out_low: float
    out_high: float
    parts: int


def best_aim(
    readings: Floats,
    lower: float,
    upper: float,
    cost_low: float,
    cost_high: float,
    step: float,
    gauge_sd: float = 0.0,
) -> Aim | None:
    """Find the mean of a part at which mistakes cost least.

    Parameters
    ----------
    readings
        (n, p) sizes or deviations of parts of one family, NaN = not measured [unit].
    lower, upper
        Limits of a single reading [unit].
    cost_low, cost_high
        What a part costs that has a place below the lower, or above the upper limit [currency], positive.
    step
        For what a step either way would cost [unit].
    gauge_sd
        Standard deviation of the gauge that the readings do not show (its step, its setting) [unit].

    Returns
    -------
    Aim or None
        None with fewer than 10 parts, or when readings do not differ.

    Raises
    ------
    SpcError
        Limits that cross, or costs that are not positive.

    Notes
    -----
    A reading is part mean + lasting offset of its place + scatter, all normal; a part is bad when any of its places is.
    Expected cost(m) = cost_low P(any below) + cost_high P(any above), integrated over the part mean by Gauss-Hermite
    quadrature. For one place per part the minimum is the known closed form (lower + upper) / 2 + s^2 log(cost_low /
    cost_high) / (upper - lower) (by setting the derivative to zero). The range takes the mean and both standard
    deviations at the 10 % and 90 % points of what the sample says of them.
    """
    if not lower < upper:
        raise SpcError(f"the lower limit {lower:g} must lie below the upper {upper:g}")
    if not (cost_low > 0.0 and cost_high > 0.0):
        raise SpcError(f"costs must be positive, got {cost_low:g} below and {cost_high:g} above")
    readings = readings[np.isfinite(readings).any(axis=1)]
    readings = readings[:, np.isfinite(readings).sum(axis=0) >= 2]
    n, p = readings.shape
    if n < FEWEST or p == 0:
        return None
    offset = np.nanmean(readings, axis=0)
    offset = offset - offset.mean()
    level = np.nanmean(readings - offset, axis=1)
    rest = readings - offset - level[:, None]
    free = int(np.isfinite(rest).sum()) - n - p + 1
    within2 = float(np.nansum(rest**2)) / free if free > 0 else 0.0
    count = n / float((1.0 / np.isfinite(readings).sum(axis=1)).sum())  # harmonic mean of places a part
    part2 = float(level.var(ddof=1))
    if p > 1:
        part2 = max(part2 - within2 / count, 0.0)
    else:
        # One place a part: all of it is scatter of that place, for which no quadrature is needed.
        part2, within2, free = 0.0, part2, n - 1
    mean = float(level.mean())
    if part2 + within2 <= 0.0:
        return None
    cost = _Cost(offset, lower, upper, cost_low, cost_high, step)

    def best_of(part_factor: float, within_factor: float) -> float:
        return cost.best(math.sqrt(part2 * part_factor), math.sqrt(within2 * within_factor + gauge_sd**2))

    sd = math.sqrt(part2), math.sqrt(within2 + gauge_sd**2)
    best = best_of(1.0, 1.0)
    spread_part = [(n - 1) / float(chdtri(n - 1, q)) for q in (0.9, 0.1)]
    spread_within = [free / float(chdtri(free, q)) for q in (0.9, 0.1)] if free > 0 else [1.0]
    corners = [best_of(a, b) for a in spread_part for b in spread_within]
    error = math.sqrt(part2 / n + within2 / (n * count)) * float(ndtri(0.9))
    costs = [cost.at(m, *sd) for m in (mean, best, best - step, best + step)]
    low, high = cost.shares(best, *sd)
    return Aim(
        best, min(corners) - error, max(corners) + error, mean, costs[0], costs[1], costs[2] - costs[1],
        costs[3] - costs[1], step, low, high, n,
    )  # fmt: skip


@dataclass(frozen=True)
class _Cost:
    offset: Floats
    lower: float
    upper: float
    cost_low: float
    cost_high: float
    step: float

    def shares(self, mean: float, part: float, within: float) -> tuple[float, float]:
        """Shares of parts with a place below and with one above."""
        where = mean + part * _NODES[:, None] + self.offset[None, :]
        within = max(within, 1e-9 * (self.upper - self.lower))
        below = -np.expm1(log_ndtr((where - self.lower) / within).sum(axis=1))
        above = -np.expm1(log_ndtr((self.upper - where) / within).sum(axis=1))
        return float(_WEIGHTS @ below), float(_WEIGHTS @ above)

    def at(self, mean: float, part: float, within: float) -> float:
        low, high = self.shares(mean, part, within)
        return self.cost_low * low + self.cost_high * high

    def best(self, part: float, within: float) -> float:
        from scipy.optimize import minimize_scalar

        # The cost is flat where nothing is out, so the logarithm is searched: it still falls there.
        grid = np.linspace(self.lower, self.upper, _GRID)
        values = np.array([self._log(m, part, within) for m in grid])
        at = int(values.argmin())
        ends = grid[max(at - 1, 0)], grid[min(at + 1, _GRID - 1)]
        found = minimize_scalar(lambda m: self._log(float(m), part, within), bounds=ends, method="bounded",
                                options={"xatol": 1e-6 * (self.upper - self.lower)})  # fmt: skip
        return float(found.x)

    def _log(self, mean: float, part: float, within: float) -> float:
        return math.log(self.at(mean, part, within) + 1e-300)


@dataclass(frozen=True)
class Start:
    """Where a life of a wearing tool should begin.

    Attributes
    ----------
    start, end
        Expected part mean at the beginning, and at which it is to be renewed [unit]; `end` is that at the longest life
        seen when the wear would go on beyond it.
    uses
        Uses in between, at the usual wear; None when that is more than the longest life seen.
    margin
        Distance kept from either limit: 2.33 part standard deviations, so that one part in 100 is out there.
    """

    start: float
    end: float
    uses: float | None
    margin: float


def longest_start(
    lower: float, upper: float, part_sd: float, change_per_use: float, longest: float
) -> Start | None:
    """Level at which a worn-in tool starts so that its life between two limits is longest.

    Parameters
    ----------
    lower, upper
        Limits of the part mean [unit].
    part_sd
        Standard deviation of a part around the wear line [unit].
    change_per_use
        Usual wear, with its sign [unit per use].
    longest
        Longest life that the wear was learned from [uses]; nothing is said of what comes after.

    Returns
    -------
    Start or None
        None without wear, or when the limits leave no room for both margins.

    Raises
    ------
    SpcError
        `longest` is not positive.

    Notes
    -----
    Start one margin inside the limit that the wear leads away from, renew one margin before the other (acceptance
    control along a trend; common practice, no source).
    """
    if not longest > 0.0:
        raise SpcError(f"the longest life seen must be positive, got {longest:g}")
    margin = float(-ndtri(0.01)) * part_sd
    low, high = lower + margin, upper - margin
    if change_per_use == 0.0 or high <= low:
        return None
    start, end = (low, high) if change_per_use > 0 else (high, low)
    uses = abs(end - start) / abs(change_per_use)
    if uses > longest:
        # Stones bend, glaze and break down late in life: a line is not carried past the lives that taught it.
        return Start(start, start + change_per_use * longest, None, margin)
    return Start(start, end, uses, margin)
