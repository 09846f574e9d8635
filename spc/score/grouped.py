"""Parts in short groups that share a chance level of their own: days of a daily setting, frequent set-ups."""

from __future__ import annotations

import math

import numpy as np

from spc.process import Bools, Floats, Ints
from spc.score.averaging import averaged_scores, log_density
from spc.score.lives import DIFFUSE
from spc.score.recursion import model_residuals
from spc.score.track import ARITHMETIC, FAMILY_SHRINK, PARTS_A_SETUP, Track

# Variance between groups over the variance of a part: the values it is averaged over, and how much each is
# believed before any part was seen. Equal steps of the logarithm, equally believed; when nothing was said about
# days, half of the belief is that they do not matter.
_RATIOS = (0.03, 0.1, 0.3, 1.0, 3.0, 10.0)
_SETUP_RATIOS = (0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 1000.0)
_UNDECLARED = (0.0, 0.1, 0.3, 1.0, 3.0)
_NO_EFFECT = 0.5
# Set-ups there must be before they can teach one another.
_FEWEST_SETUPS = 4

# Parts replayed at once when set-ups become groups.
_REPLAYED = 128


def days_assumed(declared: bool) -> tuple[Floats, Floats]:
    """Ratios of the variance between days to that of a part, and the logarithm of the prior belief in each.

    Parameters
    ----------
    declared
        A daily setting is declared; otherwise the parts must show it.

    Returns
    -------
    ratios, prior
    """
    if declared:
        return np.array(_RATIOS), np.full(len(_RATIOS), -math.log(len(_RATIOS)))
    rest = (1.0 - _NO_EFFECT) / (len(_UNDECLARED) - 1)
    return np.array(_UNDECLARED), np.log([_NO_EFFECT] + [rest] * (len(_UNDECLARED) - 1))


class GroupedTrack(Track):
    """A level without wear, with a chance level for every day or set-up.

    Parameters
    ----------
    value, family, keep, floor, noise
        As for Track.
    day
        (n,) day numbers.
    daily
        As in ProcessOptions: True or False when declared, None to let the parts decide.

    Notes
    -----
    Each part is predicted from everything before it, the parts of its own day included, under several variance
    ratios between days. The predictions are averaged with weights that say how well each ratio foretold the
    earlier parts, and the score is the normal quantile of the averaged distribution. An estimated ratio taken
    for the true one makes scores that are too large while few days are known, and correlated within days;
    averaging does not. Set-ups more often than one in 30 parts are groups in the same way, instead of days.
    """

    def __init__(
        self,
        value: Floats,
        family: Ints,
        keep: Bools,
        floor: Floats,
        noise: Floats,
        day: Ints,
        daily: bool | None,
    ) -> None:
        super().__init__(value, family, keep, floor, noise)
        self.day = day
        self.setups = False
        self.ratios: Floats = np.zeros(0)
        self.prior: Floats = np.zeros(0)
        several = value.size > 0 and np.unique(day).size < value.size
        self._assume(
            *(
                days_assumed(daily is True)
                if daily or (daily is None and several)
                else (self.ratios, self.prior)
            )
        )

    def _assume(self, ratios: Floats, prior: Floats) -> None:
        """Average over these variance ratios from now on."""
        self.ratios, self.prior = ratios, prior
        shape = (self.value.size, ratios.size)
        self.expected_by, self.variance_by = np.full(shape, np.nan), np.full(shape, np.nan)
        self.residual_by, self.sd_by = np.full(shape, np.nan), np.full(shape, np.nan)
        self.known_by, self.belief_by = np.zeros(shape), np.zeros(shape)

    def filled(self) -> tuple[str, ...]:
        """Names of the arrays that `run` fills."""
        return (
            *super().filled(),
            "residual_by",
            "sd_by",
            "belief_by",
            "expected_by",
            "variance_by",
            "known_by",
        )

    def _groups(self, start: int, mine: Bools) -> tuple[Ints, int]:
        """Without groups a level epoch starts afresh."""
        del start, mine
        return self.era, 0

    def regroup(self, start: int) -> None:
        """Take frequent set-ups as groups from this part on, once there are enough of them.

        What each ratio foretells of the parts so far is worked out anew; their scores stand.
        """
        if self.setups:
            return
        known = self.learned()[:start]
        eras = np.unique(self.era[:start][known]).size
        if eras < _FEWEST_SETUPS or eras * PARTS_A_SETUP <= known.sum():
            return
        self.setups = True
        ratios = np.array(_SETUP_RATIOS)
        self._assume(ratios, np.full(ratios.size, -math.log(ratios.size)))
        at = 0
        while at < start:
            edge = np.flatnonzero(self.era[at + 1 : start] != self.era[at])
            stop = min(at + _REPLAYED, at + 1 + int(edge[0]) if edge.size else start)
            self._foretell(np.arange(at, stop))
            at = stop

    def run(self, start: int, stop: int, single: Floats | None = None) -> None:
        """As for Track."""
        if not self.ratios.size:
            super().run(start, stop, single)
            return
        rows = np.arange(start, stop)
        self.flagged[rows] = False
        while True:
            self._foretell(rows)
            self._average(rows)
            if single is None or not self._flag_first(rows, single):
                return

    def _numbers(self) -> Ints:
        """Group of each part: its set-up and family, or its day cut at a level restart."""
        if self.setups:
            return self.era * self.codes.size + np.searchsorted(self.codes, self.family)
        edge = (self.day[1:] != self.day[:-1]) | (self.era[1:] != self.era[:-1])
        return np.concatenate([[0], np.cumsum(edge)])

    def _family_ratio(self, start: int) -> Floats:
        """Relative variances of the parts, with the families' earlier spread under the likeliest ratio."""
        known = self.learned()[:start] & np.isfinite(self.residual[:start])
        place = np.searchsorted(self.codes, self.family)
        square = np.bincount(place[:start][known], self.residual[:start][known] ** 2, self.codes.size)
        number = np.bincount(place[:start][known], minlength=self.codes.size).astype(float)
        if square.sum() <= 0.0:
            return np.ones(self.value.size)
        ratio = (square / (square.sum() / number.sum()) + FAMILY_SHRINK) / (number + FAMILY_SHRINK)
        return ratio[place]

    def _foretell(self, rows: Ints) -> None:
        """Standardised errors of the predictions under every ratio, their spread and how likely they were."""
        start = int(rows[0])
        group, learn = self._numbers(), self.learned()
        scale = self._family_ratio(start)
        noise = self.noise * scale
        past = learn[:start] & ~np.isin(group[:start], group[rows])
        if not self.setups:
            past &= self.era[:start] == self.era[start]
        past = np.flatnonzero(past)
        # A set-up may move the families by different amounts; a day moves them alike.
        past = past[np.argsort(group[past], kind="stable")]
        same = np.flatnonzero(learn[:start] & np.isin(group[:start], group[rows]))
        both = np.concatenate([same, rows])
        there = np.concatenate([past, both])
        there = there[np.isfinite(self.value[there])]
        origin = float(self.value[there[0]]) if there.size else 0.0
        value = self.value - origin
        sums = _group_sums(value[past], self.shares[past], noise[past], group[past])
        levels, covariance = _levels(*sums, self.ratios)
        families = self.codes.size
        own = self.shares[both] if self.setups else np.ones((both.size, 1))
        drawn = np.repeat(self.ratios[:, None], own.shape[1], axis=1)
        state = np.zeros((self.ratios.size, families + own.shape[1]))
        spread = np.zeros((*state.shape, state.shape[1]))
        state[:, :families], spread[:, :families, :families] = levels, covariance
        opens = np.ones(both.size, bool)
        turn = self.era[both] if self.setups else group[both]
        opens[1:] = turn[1:] != turn[:-1]
        learned = np.concatenate([np.ones(same.size, bool), learn[rows]])
        design = np.hstack([self.shares[both], own])
        expected, variance = model_residuals(
            value[both], design, noise[both], learned, state, spread, (opens, drawn)
        )
        self.expected_by[rows] = expected[same.size :] + origin
        self.variance_by[rows] = variance[same.size :]
        self.known_by[rows] = np.einsum("ij,kjl,il->ik", self.shares[rows], covariance, self.shares[rows])
        with np.errstate(invalid="ignore"):
            gap = self.value[rows, None] - self.expected_by[rows]
            width = np.sqrt(self.variance_by[rows] / scale[rows, None])
            self.residual_by[rows] = gap / width
        for code in self.codes:
            own_rows = rows[self.family[rows] == code]
            self._spread(own_rows, start, code)
        freedom = np.maximum(self.freedom[rows], 1.0)[:, None]
        good = (
            (self.freedom[rows] >= 1)[:, None] & (self.sd_by[rows] > 0) & np.isfinite(self.residual_by[rows])
        )
        safe = np.where(good, self.sd_by[rows], 1.0)
        ratio_to_sd = np.where(good, self.residual_by[rows] / safe, 0.0)
        likely = log_density(ratio_to_sd, freedom) - np.log(safe * np.where(good, width, 1.0))
        self.belief_by[rows] = np.where(np.all(good, axis=1)[:, None], likely, 0.0)
        noise = noise[rows, None]
        self._noise_now = noise[:, 0]

    def _spread(self, own: Ints, start: int, code: int) -> None:
        """Standard deviations of the earlier residuals of a family under every ratio."""
        if not own.size:
            return
        learn = self.learned()
        begin = min(self.spread_from, start)
        square = self.residual_by**2
        past = (
            np.flatnonzero(
                learn[begin:start] & (self.family[begin:start] == code) & np.isfinite(square[begin:start, 0])
            )
            + begin
        )
        counted = learn[own] & np.isfinite(square[own, 0])
        fresh = np.where(counted[:, None], square[own], 0.0)
        none = np.zeros((1, square.shape[1]))
        total = square[past].sum(axis=0) + np.vstack([none, np.cumsum(fresh, axis=0)[:-1]])
        freedom = past.size + np.concatenate([[0], np.cumsum(counted)[:-1]])
        sd = np.sqrt(total / np.maximum(freedom, 1)[:, None])
        sd[sd < ARITHMETIC * self.largest] = 0.0
        self.sd_by[own] = np.maximum(sd, self.floor[own][:, None])
        self.freedom[own] = freedom

    def _average(self, rows: Ints) -> None:
        """Score, expectation and strength, averaged over the ratios."""
        start = int(rows[0])
        learn = self.learned()
        belief = self.prior + self.belief_by[:start][learn[:start]].sum(axis=0)
        fresh = np.where(learn[rows][:, None], self.belief_by[rows], 0.0)
        log_weight = belief + np.vstack([np.zeros((1, belief.size)), np.cumsum(fresh, axis=0)[:-1]])
        weight = np.exp(log_weight - log_weight.max(axis=1, keepdims=True))
        weight /= weight.sum(axis=1, keepdims=True)
        self.score[rows] = np.where(
            self.usable[rows],
            averaged_scores(self.residual_by[rows], self.sd_by[rows], self.freedom[rows], log_weight),
            np.nan,
        )
        self.level_score[rows] = self.score[rows]
        noise = self._noise_now
        self.expected[rows] = (weight * self.expected_by[rows]).sum(axis=1)
        variance = (weight * self.variance_by[rows]).sum(axis=1)
        scale = noise / self.noise[rows]
        with np.errstate(invalid="ignore"):
            self.variance[rows] = variance / scale
            self.residual[rows] = (self.value[rows] - self.expected[rows]) / np.sqrt(self.variance[rows])
        self.sd[rows] = np.sqrt((weight * self.sd_by[rows] ** 2).sum(axis=1))
        ratio = weight @ self.ratios
        levels = (weight * self.known_by[rows]).sum(axis=1)
        self.strength[rows] = np.where(
            np.isfinite(variance), noise / np.maximum(variance - noise, 1e-12), 0.0
        )
        self.episode[rows] = self.era[rows] if self.setups else self._numbers()[rows]
        self.carry[rows] = noise / np.maximum(ratio + levels, 1e-12)
        self.reach[rows] = noise / np.maximum(levels, 1e-12)


def _group_sums(
    value: Floats, shares: Floats, noise: Floats, group: Ints
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Weighted sums: per group 1, shares and value; over all shares x shares and shares x value."""
    gain = 1.0 / noise
    families = shares.shape[1]
    if not value.size:
        return (
            np.zeros(0),
            np.zeros((0, families)),
            np.zeros(0),
            np.zeros((families, families)),
            np.zeros(families),
        )
    opens = np.flatnonzero(np.concatenate([[True], group[1:] != group[:-1]]))
    weighted = shares * gain[:, None]
    return (
        np.add.reduceat(gain, opens),
        np.add.reduceat(weighted, opens, axis=0),
        np.add.reduceat(gain * value, opens),
        shares.T @ weighted,
        weighted.T @ value,
    )


def _levels(
    weight: Floats, by_group: Floats, value: Floats, square: Floats, product: Floats, ratios: Floats
) -> tuple[Floats, Floats]:
    """Levels of the families (K, F) and their covariances (K, F, F), the groups' own levels integrated out."""
    shrink = ratios[:, None] / (1.0 + ratios[:, None] * weight)
    taken = np.einsum("kj,ja,jb->kab", shrink, by_group, by_group)
    covariance = np.linalg.inv(square - taken + np.eye(len(square)) / DIFFUSE)
    score = product - (shrink * value) @ by_group
    return np.einsum("kab,kb->ka", covariance, score), covariance
