"""How many uses of a tool are left before the expected part reaches a limit: 10, 50 and 90 %."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, stdtr

from spc.process import Floats, Ints
from spc.wear.model import WearFit, WearRows, wear_basis

FEWEST_ALONE = 12
"""Parts of a life from which it is forecast by itself, when no finished lives speak for it."""
_FLAT = 1e6
"""Variance of a level about which nothing is known, in units of a part's variance."""
_KINK = 15.0
"""Standard deviation of what a kink changes over one usual life, in part standard deviations, before any life has shown
one: a glazed set may lose some 15 of them within a life. A weak prior, common practice, no source."""
_SIGNALLED = 0.9
"""Chance that a life with an open signal has left its course."""
_WIDER = 1.2
"""Factor on standard deviations: families of models are narrower than stones. Without it the 80 % range held 0.70 to
0.79 of simulated lives that follow another curve than the model's."""
_BEND = 5.0
"""Standard deviation of the bend of a life that is forecast by itself, in part standard deviations. A weak prior."""
_KNOTS = 40
_STEPS = 240
_LOOKS = 3.0
"""A life is looked at all along; about three of these looks tell something new. Common practice, no source."""
_FARTHEST = 2.0
"""How far a forecast may reach, in longest lives seen: beyond, only "not within" is said."""


@dataclass(frozen=True)
class Limits:
    """Limits of each family on the scale of the values; NaN where there is none.

    Attributes
    ----------
    group
        (g,) family codes.
    lower, upper
        (g,)
    """

    group: Ints
    lower: Floats
    upper: Floats


@dataclass(frozen=True)
class LeftBefore:
    """Uses left before a limit is reached by the expected part mean, if wear goes on as it does.

    Attributes
    ----------
    p10, p50, p90
        Uses with 10, 50 and 90 % chance to have reached it by then; 0 when it is there already, None when it lies
        farther off than can be said.
    side
        +1 the upper limit, -1 the lower one; 0 when none is in sight.
    group
        Family whose limit comes first; -1 when none is in sight.
    reason
        Why there is no p50, in words: "" | "no limit" | "learning" | "far".
    missing_parts
        Parts of this life that are missing before it can be forecast, while learning.
    horizon
        Uses ahead within which something can be said.
    kink
        Chance that this life has left its course, and (if it has) the likeliest uses at which it did.
    kink_at
    wear_z
        How much faster than usual this life wears, in standard deviations between lives; towards the nearer limit,
        else the way lives usually go. NaN without finished lives.
    """

    p10: float | None
    p50: float | None
    p90: float | None
    side: int
    group: int
    reason: str
    missing_parts: int = 0
    horizon: float = 0.0
    kink: float = 0.0
    kink_at: float = 0.0
    wear_z: float = math.nan


def left_before(
    current: WearRows,
    now: float,
    limits: Limits,
    fit: WearFit | None,
    longest: float,
    kinked: int = 0,
    finished: int = 0,
    signalled: bool = False,
) -> LeftBefore:
    """Forecast the current life of a tool.

    Parameters
    ----------
    current
        Parts of the current life; may be none right after a renewal.
    now
        Uses up to this moment.
    limits
        Of the families that are made now.
    fit
        What finished lives teach; None before there are enough of them.
    longest
        Longest life seen so far, this one included. [uses]
    kinked, finished
        Finished lives with a signal of their own, and all finished lives: how often a life leaves its course.
    signalled
        This life has an open signal: that it has left its course is then nearly certain.

    Returns
    -------
    LeftBefore

    Notes
    -----
    The coefficients of the life have the normal distribution that the finished lives give them (flat where there are
    none). A life may leave its course: the wear then bends at a knot and goes on as a line or a parabola, averaged
    over knots and shapes by posterior weight, with a weak prior on the change. The chance to have reached a limit by
    some uses is that of the expected mean lying beyond it, made non-decreasing: first passage of a nearly straight
    line. Conditional on wear going on as it does. Without a fit at least 12 parts; the residual is then that of the
    life's own line.
    """
    usable = np.isfinite(np.stack([limits.lower, limits.upper])).any() if limits.group.size else False
    if not usable:
        z = wear_z(current, fit) if fit is not None else math.nan
        return LeftBefore(None, None, None, 0, -1, "no limit", wear_z=z)
    if fit is None and current.value.size < FEWEST_ALONE:
        missing = FEWEST_ALONE - current.value.size
        return LeftBefore(None, None, None, 0, -1, "learning", missing_parts=missing)
    model = _Posterior(current, limits.group, fit, max(longest, now), _chance(kinked, finished, signalled))
    horizon = _FARTHEST * max(longest, now) - now
    if horizon <= 0.0:
        return LeftBefore(None, None, None, 0, -1, "learning", missing_parts=1)
    ahead = np.linspace(0.0, horizon, _STEPS)
    best, side, group = np.zeros(_STEPS), 0, -1
    for code, low, high in zip(limits.group, limits.lower, limits.upper, strict=True):
        mean, sd = model.predict(now + ahead, int(code))
        for sign, limit in ((-1, low), (1, high)):
            if math.isfinite(limit):
                beyond = ndtr(sign * (mean - limit) / sd)
                reached = model.weight @ np.maximum.accumulate(beyond, axis=1)
                if _median(reached, ahead) < _median(best, ahead) or (reached[-1] > best[-1] and side == 0):
                    best, side, group = reached, sign, int(code)
    p10, p50, p90 = (_quantile(best, ahead, share) for share in (0.1, 0.5, 0.9))
    kink, at = model.kink()
    return LeftBefore(
        p10, p50, p90, side if p10 is not None else 0, group if p10 is not None else -1,
        "" if p50 is not None else "far", 0, horizon, kink, at,
        wear_z(current, fit, side) if fit is not None else math.nan,
    )  # fmt: skip


def value_at(
    current: WearRows,
    uses: Floats,
    group: Ints,
    fit: WearFit,
    longest: float,
    kinked: int = 0,
    finished: int = 0,
    signalled: bool = False,
) -> tuple[float, float, float]:
    """Where the mean of some later parts of a life is expected: 10, 50 and 90 % points.

    Parameters
    ----------
    current
        Parts of the life so far.
    uses, group
        (k,) uses before each of the later parts, and their families.
    fit, longest, kinked, finished, signalled
        As in `left_before`.

    Returns
    -------
    p10, p50, p90 : float
        Of the mean of these k parts, their own scatter included. [unit of the values]
    """
    model = _Posterior(current, np.unique(group), fit, longest, _chance(kinked, finished, signalled))
    mean, sd = model.mean_of(uses, group)
    sd = np.sqrt(sd**2 + fit.sigma**2 / uses.size)
    low, high = float((mean - 6 * sd).min()), float((mean + 6 * sd).max())
    grid = np.linspace(low, high, 801)
    below = model.weight @ ndtr((grid[None, :] - mean[:, None]) / sd[:, None])
    p10, p50, p90 = (float(np.interp(share, below, grid)) for share in (0.1, 0.5, 0.9))
    return p10, p50, p90


def wear_z(current: WearRows, fit: WearFit, side: int = 0) -> float:
    """How much faster a life wears than its predecessors, in standard deviations of what is usual.

    Parameters
    ----------
    current
        Parts of the life.
    fit
        What finished lives teach.
    side
        +1 or -1: the direction that counts as faster; 0 takes the way lives usually go.

    Returns
    -------
    float
        Slope of the life around the usual one over its standard deviation (life to life, parts, and the fit's own
        error); a Student t value on `fit.lives` - 1 degrees of freedom when nothing is different. NaN with fewer
        than 8 parts of known families or over less than a fifth of a usual life.
    """
    known = np.isin(current.group, fit.groups)
    current = current.of(known)
    share = current.uses / fit.scale
    if share.size < 8 or float(np.ptp(share)) < 0.2:
        return math.nan
    level = (current.group[:, None] == np.array(fit.groups)[None, :]).astype(float)
    columns = np.column_stack([level, wear_basis(current.uses, fit.scale, fit.settling)])
    own = np.column_stack([np.ones_like(share), share])
    slope = np.linalg.pinv(own)[1]
    left, lives = slope @ columns, slope @ own
    variance = (
        fit.sigma**2 * float(slope @ slope) + left @ fit.common_cov @ left + lives @ fit.between @ lives
    )
    direction = side or (1 if fit.slope >= 0 else -1)
    return direction * float(slope @ (current.value - columns @ fit.common)) / math.sqrt(float(variance))


def chance_as_fast(z: float, lives: int) -> float:
    """Chance that an ordinary life shows, at some time in its course, a `wear_z` this large.

    Parameters
    ----------
    z
        Of `wear_z`.
    lives
        Lives that the usual wear was learned from, at least 2.
    """
    return min(1.0, _LOOKS * float(stdtr(lives - 1, -z)))


def _median(reached: Floats, ahead: Floats) -> float:
    found = _quantile(reached, ahead, 0.5)
    return math.inf if found is None else found


def _quantile(reached: Floats, ahead: Floats, share: float) -> float | None:
    if reached[0] >= share:
        return 0.0
    if reached[-1] < share:
        return None
    return float(np.interp(share, reached, ahead))


def _chance(kinked: int, finished: int, signalled: bool) -> float:
    """Chance that a whole life leaves its course somewhere."""
    return _SIGNALLED if signalled else min((kinked + 1.0) / (finished + 4.0), 0.5)


class _Posterior:
    """Normal posteriors of the coefficients of a life, one for each place and shape of a kink."""

    def __init__(
        self, current: WearRows, groups: Ints, fit: WearFit | None, longest: float, chance: float
    ) -> None:
        known = fit.groups if fit is not None else ()
        self.groups = [
            *known,
            *(int(g) for g in np.union1d(groups, np.unique(current.group)) if g not in known),
        ]
        self.fit = fit
        self.scale = fit.scale if fit is not None else max(longest, 1.0)
        self.settling = fit.settling if fit is not None else 0.06
        self.sigma = fit.sigma if fit is not None else _own_sigma(current, self.scale)
        plain = self._plain(current.uses, current.group)
        last = float(current.uses[-1]) if current.uses.size else 0.0
        # A bend that begins with the newest few parts cannot be told from their scatter.
        spots = current.uses[2:-2] if current.uses.size >= 8 else np.zeros(0)
        if spots.size > _KNOTS:
            spots = spots[np.linspace(0, spots.size - 1, _KNOTS).astype(int)]
        self.knots = np.concatenate([[math.inf], np.repeat(spots, 2)])
        self.power = np.concatenate([[1.0], np.tile([1.0, 2.0], spots.size)])
        if chance < _SIGNALLED:
            chance *= min(1.0, last / self.scale)
        self.prior = np.full(self.knots.size, chance / max(2 * spots.size, 1))
        self.prior[0] = 1.0 - chance if spots.size else 1.0
        mean, precision = self._before()
        bend = self._bend(current.uses)
        k, p = self.knots.size, plain.shape[1]
        y = (current.value - plain @ mean) / self.sigma
        rows = (
            np.concatenate([np.broadcast_to(plain, (k, *plain.shape)), bend[:, :, None]], axis=2) / self.sigma
        )
        information = np.swapaxes(rows, 1, 2) @ rows
        information[:, :p, :p] += precision
        kink = (_KINK * self.sigma * np.where(self.power == 1.0, 1.0, 1.5)) ** -2
        information[:, p, p] += kink
        score = (np.swapaxes(rows, 1, 2) @ y[:, None])[:, :, 0]
        self.cov = np.linalg.inv(information)
        shift = (self.cov @ score[:, :, None])[:, :, 0]
        self.coefficients = shift.copy()
        self.coefficients[:, :p] += mean
        logs = 0.5 * (score * shift).sum(axis=1)
        logs += 0.5 * (np.log(kink) - np.linalg.slogdet(information)[1]) + np.log(self.prior)
        weight = np.exp(logs - logs.max())
        self.weight = weight / weight.sum()

    def _plain(self, uses: Floats, group: Ints) -> Floats:
        """Columns: family levels, slope, bend, settling, own level, slope, bend; only the first three without a fit."""
        level = (np.asarray(group)[:, None] == np.array(self.groups)[None, :]).astype(float)
        basis = wear_basis(uses, self.scale, self.settling)
        share = uses / self.scale
        if self.fit is None:
            return np.column_stack([level, basis[:, :2]])
        return np.column_stack([level, basis, np.ones_like(share), share, basis[:, 1]])

    def _before(self) -> tuple[Floats, Floats]:
        """Mean and precision of the plain coefficients before this life was seen."""
        flat = 1.0 / (_FLAT * self.sigma**2)
        if self.fit is None:
            precision = np.eye(len(self.groups) + 2) * flat
            precision[-1, -1] = (_BEND * self.sigma) ** -2
            return np.zeros(len(self.groups) + 2), precision
        fit, extra = self.fit, len(self.groups) - len(self.fit.groups)
        places = [*range(len(fit.groups)), *range(len(self.groups), len(self.groups) + 3)]
        size = len(self.groups) + 6
        mean, precision = np.zeros(size), np.zeros((size, size))
        mean[places] = fit.common
        precision[np.ix_(places, places)] = np.linalg.inv(fit.common_cov)
        new = slice(len(fit.groups), len(fit.groups) + extra)
        mean[new] = float(fit.common[: len(fit.groups)].mean())
        precision[new, new] = np.eye(extra) * flat
        # A covariance from few lives is itself uncertain: the normal that covers as the t distribution would.
        inflated = fit.between * (fit.lives + 1.0) / max(fit.lives - 2.0, 1.0)
        inflated = inflated + np.eye(2) * (1e-4 * fit.sigma**2)
        precision[-3:-1, -3:-1] = np.linalg.inv(inflated)
        precision[-1, -1] = 1.0 / (fit.bend**2 + (0.01 * self.sigma) ** 2)
        return mean, precision

    def _bend(self, uses: Floats) -> Floats:
        past = np.maximum(uses[None, :] - np.where(np.isinf(self.knots), 1e300, self.knots)[:, None], 0.0)
        return (past / self.scale) ** self.power[:, None]

    def predict(self, uses: Floats, group: int) -> tuple[Floats, Floats]:
        """Expected part mean at some uses and its standard deviation, (kinks, len(uses)) each."""
        plain = self._plain(uses, np.full(uses.size, group))
        rows = np.concatenate(
            [np.broadcast_to(plain, (self.knots.size, *plain.shape)), self._bend(uses)[:, :, None]], axis=2
        )
        mean = (rows @ self.coefficients[:, :, None])[:, :, 0]
        variance = ((rows @ self.cov) * rows).sum(axis=2)
        return mean, _WIDER * np.sqrt(np.maximum(variance, 1e-12 * self.sigma**2))

    def mean_of(self, uses: Floats, group: Ints) -> tuple[Floats, Floats]:
        """Expected mean over some parts and its standard deviation, one for each kink."""
        plain = self._plain(uses, group)
        rows = np.concatenate(
            [np.broadcast_to(plain, (self.knots.size, *plain.shape)), self._bend(uses)[:, :, None]], axis=2
        ).mean(axis=1)
        mean = (rows * self.coefficients).sum(axis=1)
        variance = ((rows[:, None, :] @ self.cov)[:, 0, :] * rows).sum(axis=1)
        return mean, _WIDER * np.sqrt(np.maximum(variance, 1e-12 * self.sigma**2))

    def kink(self) -> tuple[float, float]:
        """Chance that the life has left its course, and where it most likely did."""
        if self.knots.size == 1:
            return 0.0, 0.0
        return 1.0 - float(self.weight[0]), float(self.knots[1:][int(np.argmax(self.weight[1:]))])


def _own_sigma(current: WearRows, scale: float) -> float:
    """Residual standard deviation of a life's own line, family levels apart."""
    level = (current.group[:, None] == np.unique(current.group)[None, :]).astype(float)
    columns = np.column_stack([level, current.uses / scale])
    theta, _, rank, _ = np.linalg.lstsq(columns, current.value, rcond=None)
    rest = float(((current.value - columns @ theta) ** 2).sum())
    return math.sqrt(rest / max(current.value.size - int(rank), 1)) or 1e-9
