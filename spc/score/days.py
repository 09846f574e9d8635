"""Days: one score a day where a gauge or a machine is set daily."""

from __future__ import annotations

import numpy as np
from scipy.special import fdtrc

from spc.process import Bools, Floats, Ints
from spc.score.step_limits import CLIP
from spc.score.track import FLAGGED_SCORE, Track

# The day component is looked for once there are this many scores and this many days with two or more.
_FEWEST_SCORES = 20
_FEWEST_DAYS = 5
# Asked again at every stretch of parts: at 10 % each time most processes would sooner or later be watched by day for
# no reason, with a day's parts as one score.
_SIGNIFICANT = 0.01
_SHRINK = 10.0


def day_component(score: Floats, day: Ints) -> tuple[float, float]:
    """Variance between days in units of the variance within days, and the chance of one as large.

    Parameters
    ----------
    score, day
        (n,) scores without NaN and their day numbers.

    Returns
    -------
    ratio, chance
        Component by closed-form expected mean squares, not below 0; p-value of the F test. (0, 1) with
        fewer than 20 scores or 5 days with more than one.

    Notes
    -----
    One-way analysis of variance, random model (standard, from memory).
    """
    n = score.size
    _, where, sizes = np.unique(day, return_inverse=True, return_counts=True)
    if n < _FEWEST_SCORES or (sizes > 1).sum() < _FEWEST_DAYS:
        return 0.0, 1.0
    means = np.bincount(where, weights=score) / sizes
    within_df, between_df = n - sizes.size, sizes.size - 1
    within = float(((score - means[where]) ** 2).sum()) / within_df
    between = float((sizes * (means - score.mean()) ** 2).sum()) / between_df
    if within <= 0.0:
        return 0.0, 1.0
    usual = (n - float((sizes**2).sum()) / n) / between_df
    chance = float(fdtrc(between_df, within_df, between / within))
    return max((between / within - 1.0) / usual, 0.0), chance


def day_matters(score: Floats, day: Ints) -> bool:
    """Is there a day component (F test at 1 %)?"""
    return day_component(score, day)[1] < _SIGNIFICANT


class DayTrack(Track):
    """Running means of the day, learned from once the day is over.

    Parameters
    ----------
    parts
        Track of the part means; its flags and standard deviations are used.
    day, level
        (n,) day and level epoch of each part; a day is cut at a level restart or a change of tool.

    Notes
    -----
    Every part stands for the mean of its day so far, weighted by the families' spreads; its variance is
    (day component + 1 / sum of weights), so a day of many parts counts little more than a day of one.
    Families share the recursion, since a day may hold several.
    """

    def __init__(self, parts: Track, day: Ints, level: Ints) -> None:
        super().__init__(
            parts.value.copy(),
            parts.family,
            np.ones(parts.value.size, bool),
            parts.floor,
            np.ones(parts.value.size),
            parts.life if parts.wears else None,
            parts.wear if parts.wears else None,
            pooled=True,
        )
        self.parts = parts
        self.blocked = parts.blocked
        self.era = parts.era
        self.spread_group = np.zeros(parts.value.size, np.int64)
        self.day = day
        self.ratio = 0.0
        turn = parts.life if parts.wears else np.zeros(parts.value.size, np.int64)
        edge = (day[1:] != day[:-1]) | (turn[1:] != turn[:-1]) | (level[1:] != level[:-1])
        self.numbers = np.concatenate([[0], np.cumsum(edge)])
        self._begins = np.concatenate([[0], np.flatnonzero(edge) + 1])
        self._one_hot = (parts.family[:, None] == self.codes[None, :]).astype(float)

    def begins(self, at: int) -> int:
        """First part of the day of a part."""
        return int(self._begins[self.numbers[at]])

    def run(self, start: int, stop: int, single: Floats | None = None) -> None:
        """Score the parts start..stop-1 as days; nothing is flagged here."""
        del single
        self._make_days(start, stop)
        super().run(start, stop)

    def _relative_noise(self, start: int) -> Floats:
        del start
        return self.noise

    def _make_days(self, start: int, stop: int) -> None:
        """Day means so far of every part up to stop, from what was known at start."""
        parts = self.parts
        used = parts.usable[:stop]
        # A part out of line by itself counts as in sums of scores, or a large step would hide.
        value = np.where(used, parts.value[:stop], 0.0)
        odd = used & parts.flagged[:stop] & np.isfinite(parts.score[:stop])
        held = parts.expected[:stop] + np.sign(parts.score[:stop]) * FLAGGED_SCORE * (
            parts.sd[:stop] * np.sqrt(parts.variance[:stop])
        )
        value = np.where(odd, held, value)
        place = np.searchsorted(self.codes, parts.family[:stop])
        weight = np.where(used, 1.0 / self._family_ratio(start)[place], 0.0)
        number = self.numbers[:stop]
        opens = self._begins[number]
        total = _since(weight, opens)
        self.usable[:stop] = used
        safe = np.where(total > 0, total, 1.0)
        known = parts.learned()[:start] & np.isfinite(parts.score[:start])
        self.ratio, _ = day_component(
            np.clip(parts.score[:start][known], -CLIP, CLIP), self.day[:start][known]
        )
        self.value[:stop] = np.where(used, _since(weight * value, opens) / safe, np.nan)
        for column in range(self.codes.size):
            self.shares[:stop, column] = _since(weight * self._one_hot[:stop, column], opens) / safe
        if self.wears:
            self.wear[:stop] = _since(weight * parts.wear[:stop], opens) / safe
        noise = (self.ratio + 1.0 / safe) / (self.ratio + 1.0)
        # What the days so far taught of the spread was in units of what the ratio was believed to be then.
        with np.errstate(invalid="ignore"):
            variance = self.variance[:start] + noise[:start] - self.noise[:start]
            self.residual[:start] *= np.sqrt(self.variance[:start] / variance)
        self.variance[:start] = variance
        self.noise[:stop] = noise
        # The last part with a value closes its day.
        self.final[:stop] = _closes(used, number)

    def _family_ratio(self, start: int) -> Floats:
        """Variance of each family's parts over the common one, drawn to 1 while little is known."""
        parts = self.parts
        known = parts.learned()[:start] & np.isfinite(parts.residual[:start])
        place = np.searchsorted(self.codes, parts.family[:start][known])
        square = np.bincount(place, parts.residual[:start][known] ** 2, self.codes.size)
        number = np.bincount(place, minlength=self.codes.size).astype(float)
        if square.sum() <= 0.0:
            return np.ones(self.codes.size)
        return (square / (square.sum() / number.sum()) + _SHRINK) / (number + _SHRINK)


def without_day(score: Floats, number: Ints, ratio: float) -> Floats:
    """Scores given the earlier scores of the same day: independent again under a day component.

    Parameters
    ----------
    score
        (b,) standard normal scores that share a component within a day; NaN is passed over.
    number
        (b,) non-decreasing number of the day; the first day must be whole.
    ratio
        Variance between days in units of that within days.

    Returns
    -------
    ndarray
        (z - c S / (1 + (m - 1) c)) / sqrt(1 - m c^2 / (1 + (m - 1) c)), with m earlier scores of the day,
        S their sum and c = ratio / (1 + ratio) (conditional normal distribution).
    """
    if ratio <= 0.0 or not score.size:
        return score
    share = ratio / (1.0 + ratio)
    opens = np.concatenate([[0], np.flatnonzero(number[1:] != number[:-1]) + 1])
    begin = opens[np.searchsorted(opens, np.arange(score.size), side="right") - 1]
    known = np.isfinite(score)
    value = np.where(known, score, 0.0)
    earlier = _since(known.astype(float), begin) - known
    total = _since(value, begin) - value
    scale = 1.0 + (earlier - 1.0) * share
    return (score - share * total / scale) / np.sqrt(1.0 - earlier * share**2 / scale)


def _since(amount: Floats, opens: Ints) -> Floats:
    """Running sums that begin anew at the part opens says."""
    sums = np.concatenate([[0.0], np.cumsum(amount)])
    return sums[1:] - sums[opens]


def _closes(used: Bools, number: Ints) -> Bools:
    """True at the last used part of every day."""
    closes = np.zeros(used.size, bool)
    places = np.flatnonzero(used)
    if places.size:
        days = number[places]
        closes[places[np.append(days[1:] != days[:-1], True)]] = True
    return closes
