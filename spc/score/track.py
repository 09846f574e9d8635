"""One kind of value along the parts, scored one stretch of parts after another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spc.process import Bools, Floats, Ints
from spc.score.averaging import averaged_scores, log_density
from spc.score.lives import BELIEFS, CAUTIOUS, FEWEST, life_posterior, moments, spread_of_lives, wear_columns
from spc.score.recursion import level_residuals, model_residuals, normal_scores
from spc.score.step_test import ScoreStream

# A part raises nothing before its sd rests on this many degrees of freedom.
FREEDOM_TO_ALARM = 8
# What a part out of line by itself adds to sums of scores. It is told of by itself; at its full weight one
# such part in a hundred doubles the false alarms of the sums, and with none a large shift would hide.
FLAGGED_SCORE = 2.0
# Set-ups more often than one in this many parts are random effects, not restarts.
PARTS_A_SETUP = 30
# Relative size below which differences are arithmetic.
ARITHMETIC = 1e-11
# Degrees of freedom by which a family's sd is drawn to the common one where families share a model.
FAMILY_SHRINK = 10.0
# Predictions whose variances differ by more than this factor between believable spreads of lives teach nothing of
# the variance of a part.
_AGREED = 1.3

_FILLED = (
    "expected", "variance", "residual", "sd", "freedom", "score", "strength", "carry", "episode", "flagged",
    "reach", "level_score",
)  # fmt: skip


@dataclass(frozen=True)
class _Models:
    """Predictions of one life under several spreads between lives: parts, how many came before, (K, b) each."""

    rows: Ints
    earlier: int
    expected: Floats
    variance: Floats

    @property
    def unsure(self) -> Bools:
        """Parts for which it matters which spread is true."""
        with np.errstate(invalid="ignore"):
            return self.variance.max(axis=0) > _AGREED * self.variance.min(axis=0)


class Track:
    """Values along the parts with what earlier parts led one to expect of each.

    Parameters
    ----------
    value
        (n,) values; NaN where there is none.
    family
        (n,) family code.
    keep
        (n,) False for a part set aside.
    floor
        (n,) smallest standard deviation that rounding allows to believe in.
    noise
        (n,) relative variances of the values.
    life, wear
        (n,) tool life and uses before the part, None when the level does not wear.
    pooled
        Families share one recursion (each keeps its own standard deviation).

    Notes
    -----
    `run` fills expected, variance, residual, sd, freedom, score, strength, episode and carry for a
    stretch of parts from everything before it. `blocked` parts are not learned from, `flagged` ones are
    out of line by themselves. A stretch must lie within one level epoch and one tool life (see
    `stretch_end`).
    """

    def __init__(
        self,
        value: Floats,
        family: Ints,
        keep: Bools,
        floor: Floats,
        noise: Floats,
        life: Ints | None = None,
        wear: Floats | None = None,
        pooled: bool = False,
    ) -> None:
        n = value.size
        self.value = value
        self.family = family
        self.usable = keep & np.isfinite(value)
        self.floor = floor
        self.noise = noise
        self.wears = life is not None and wear is not None
        self.life = life if life is not None else np.full(n, -1, np.int64)
        self.wear = wear if wear is not None else np.zeros(n)
        self.codes = np.unique(family)
        self.shares = (family[:, None] == self.codes[None, :]).astype(float)
        self.stream = np.zeros(n, np.int64) if pooled else np.searchsorted(self.codes, family)
        self.pooled = pooled
        self.mixes_families = pooled and self.codes.size > 1
        # Numbered by the turns of the tools, so that a tool put back does not go back in time.
        self._turn = np.concatenate([[0], np.cumsum(self.life[1:] != self.life[:-1])]) if n else self.life
        self.spread_group = family
        self.blocked = np.zeros(n, bool)
        self.flagged = np.zeros(n, bool)
        self.era = np.zeros(n, np.int64)
        self.spread_from = 0
        self.largest = float(np.max(np.abs(value[self.usable]), initial=0.0))
        self.final = np.ones(n, bool)
        self.expected = np.full(n, np.nan)
        self.variance = np.full(n, np.nan)
        self.residual = np.full(n, np.nan)
        self.sd = np.full(n, np.nan)
        self.freedom = np.zeros(n)
        self.score = np.full(n, np.nan)
        # What the level is watched by: the score, except where families see the same tool apart
        # (spc.score.lives.CAUTIOUS).
        self.level_score = np.full(n, np.nan)
        self.strength = np.zeros(n)
        self.carry = np.zeros(n)
        self.reach = np.ones(n)
        self.episode = np.zeros(n, np.int64)
        self._open_models: list[_Models] = []
        self._first_of: dict[tuple[int, int], int] = {}

    def filled(self) -> tuple[str, ...]:
        """Names of the arrays that `run` fills."""
        return _FILLED

    def learned(self) -> Bools:
        """Parts that later ones learn from."""
        return self.usable & ~self.blocked & ~self.flagged & self.final

    def restart_level(self, at: int) -> None:
        """Learn the level anew from this part on."""
        self.era[at:] += 1

    def restart_spread(self, at: int) -> None:
        """Learn the standard deviation anew from this part on."""
        self.spread_from = at

    def held(self, start: int = 0, stop: int | None = None) -> Floats:
        """Scores as sums of them take them: a part out of line by itself counts as +-2."""
        return self._held(self.score[start:stop], self.flagged[start:stop])

    def _held(self, score: Floats, flagged: Bools) -> Floats:
        return np.where(flagged, np.sign(score) * FLAGGED_SCORE, score)

    def stream_scores(self) -> ScoreStream:
        """The scores as the step test wants them."""
        return ScoreStream(
            self._held(self.level_score, self.flagged),
            self.strength,
            self.stream,
            self.episode,
            self.carry,
            self.reach,
            self.final,
        )

    def run(self, start: int, stop: int, single: Floats | None = None) -> None:
        """Score the parts start..stop-1.

        Parameters
        ----------
        start, stop
            The stretch.
        single
            (n,) limit on a score beyond which the part alone is out of line; None to flag nothing.
        """
        rows = np.arange(start, stop)
        self.flagged[rows] = False
        noise = self._relative_noise(start)
        while True:
            self._open_models = []
            for number in np.unique(self.stream[rows]):
                self._expect(rows[self.stream[rows] == number], noise)
            self._score(rows, noise)
            if single is None or not self._flag_first(rows, single):
                return

    def _flag_first(self, rows: Ints, single: Floats) -> bool:
        """Flag the first part out of line, which changes what the next ones are held against."""
        far = np.abs(np.nan_to_num(self.score[rows])) > single[rows]
        far &= self.learned()[rows] & (self.freedom[rows] >= FREEDOM_TO_ALARM)
        if far.any():
            self.flagged[rows[far.argmax()]] = True
        return bool(far.any())

    def _relative_noise(self, start: int) -> Floats:
        """Relative variances; where families share a model, with their earlier standard deviations."""
        if not self.pooled:
            return self.noise
        known = self.learned()[:start] & np.isfinite(self.residual[:start])
        known[: self.spread_from] = False
        place = np.searchsorted(self.codes, self.family)
        square = np.bincount(place[:start][known], self.residual[:start][known] ** 2, self.codes.size)
        number = np.bincount(place[:start][known], minlength=self.codes.size).astype(float)
        if square.sum() <= 0.0:
            return self.noise
        common = square.sum() / number.sum()
        ratio = (square / common + FAMILY_SHRINK) / (number + FAMILY_SHRINK)
        return self.noise * ratio[place]

    def _expect(self, rows: Ints, noise: Floats) -> None:
        """Expected value and variance of the parts of one stream in the stretch."""
        start = int(rows[0])
        mine = (self.stream[:start] == self.stream[start]) & self.learned()[:start]
        group, own = self._groups(start, mine)
        known = np.flatnonzero(mine if own else mine & (self.era[:start] == self.era[start]))
        if own or self.mixes_families:
            expected, variance = self._expect_mixed(rows, known, noise, group, own)
        else:
            expected, variance = self._expect_level(rows, known, noise)
        self.expected[rows], self.variance[rows] = expected, variance
        gap = np.maximum(variance - noise[rows], 1e-12)
        self.strength[rows] = np.where(np.isfinite(variance), noise[rows] / gap, 0.0)
        self.episode[rows] = group[rows]
        if own:
            first = self._first_of.setdefault((int(self.stream[start]), int(group[start])), start)
            self.carry[rows] = self.strength[first]
        else:
            self.carry[rows] = 0.0

    def _groups(self, start: int, mine: Bools) -> tuple[Ints, int]:
        """Groups of parts and the number of random coefficients of each; 0 when each starts afresh."""
        if self.wears:
            return self._turn, 2
        eras = np.unique(self.era[:start][mine])
        often = eras.size > FEWEST and eras.size * PARTS_A_SETUP > mine.sum()
        return self.era, int(often)

    def _expect_level(self, rows: Ints, known: Ints, noise: Floats) -> tuple[Floats, Floats]:
        """Expectation when there is nothing but a level."""
        gain = 1.0 / noise[known]
        weight = float(gain.sum())
        mean = 0.0
        if known.size:
            origin = float(self.value[known[0]])
            mean = origin + float((gain * (self.value[known] - origin)).sum()) / weight
        return level_residuals(self.value[rows], noise[rows], self.learned()[rows], weight, mean)

    def _expect_mixed(
        self, rows: Ints, known: Ints, noise: Floats, group: Ints, own: int
    ) -> tuple[Floats, Floats]:
        """Expectation with common columns and the random coefficients of the group of the stretch."""
        both = np.concatenate([known, rows])
        common, alone = self._columns(both, own, int(rows[0]))
        used = np.abs(common).max(axis=0, initial=0.0) > 0
        common = common[:, used]
        # About the first value there is: the flat prior is wide, not endless, and must not depend on the origin.
        there = both[np.isfinite(self.value[both])]
        origin = float(self.value[there[0]]) if there.size else 0.0
        value = np.where(np.isfinite(self.value[both]), self.value[both] - origin, 0.0)
        past = slice(0, known.size)
        products = np.zeros((0, own + common.shape[1] + 1, own + common.shape[1] + 1))
        spreads = current = None
        same = known[:0]
        if known.size:
            here = group[known] == group[rows[0]]
            same = known[here]
            columns = np.column_stack([alone, common, value])[past]
            labels, sizes, products = moments(columns[~here], noise[known][~here], group[known][~here])
            if here.any():
                current = moments(columns[here], noise[same], group[same])[2][0]
            if len(products) and own:
                dirty = np.unique(group[: rows[0]][self.blocked[: rows[0]]])
                clean = ~np.isin(labels, dirty)
                spreads = spread_of_lives(products[clean], sizes[clean], own)
        place = np.concatenate(
            [np.flatnonzero(group[known] == group[rows[0]]), np.arange(known.size, both.size)]
        )
        design = np.column_stack([common, alone])[place]
        there_now = both[place]
        finite = np.where(np.isfinite(self.value[there_now]), value[place], np.nan)
        learn = np.concatenate([np.ones(same.size, bool), self.learned()[rows]])
        if spreads is None:
            mean, covariance = life_posterior(products, current, common.shape[1], own, None)
            expected, variance = model_residuals(
                finite[same.size :], design[same.size :], noise[rows], self.learned()[rows], mean[None],
                covariance[None], exact=True,
            )  # fmt: skip
            return expected[:, 0] + origin, variance[:, 0]
        mean, covariance = life_posterior(products, None, common.shape[1], own, spreads)
        expected, variance = model_residuals(finite, design, noise[there_now], learn, mean, covariance)
        expected, variance = expected.T + origin, variance.T
        self._open_models.append(_Models(there_now, same.size, expected, variance))
        middle = len(spreads) // 2
        return expected[middle, same.size :], variance[middle, same.size :]

    def _columns(self, rows: Ints, own: int, start: int) -> tuple[Floats, Floats]:
        """Common columns (levels by family and epoch, wear) and those of the single group."""
        shares = self.shares[rows] if self.pooled else np.ones((rows.size, 1))
        if not self.wears:
            return shares, np.ones((rows.size, own))
        eras = np.unique(self.era[rows])
        levels = np.column_stack([shares * (self.era[rows] == era)[:, None] for era in eras])
        finished = self.life[:start] != self.life[start]
        length = None
        if finished.any():
            labels, where = np.unique(self.life[:start][finished], return_inverse=True)
            longest = np.zeros(labels.size)
            np.maximum.at(longest, where, self.wear[:start][finished])
            longest = longest[(labels >= 0) & (longest > 0)]
            length = float(np.median(longest)) if longest.size else None
        # Until a life has finished, the uses so far stand for its length: never those of parts to come, of which only
        # the first few, too few for a score, are taken to begin with.
        reached = float(np.max(self.wear[:start], initial=0.0)) or 5.0 * float(
            np.max(self.wear[:4], initial=0.0)
        )
        common, alone = wear_columns(self.wear[rows], length, reached)
        return np.column_stack([levels, common]), alone

    def _score(self, rows: Ints, noise: Floats) -> None:
        """Scores of the stretch from the residuals, family by family."""
        scale = noise[rows] / self.noise[rows]
        with np.errstate(invalid="ignore"):
            gap = self.value[rows] - self.expected[rows]
            self.residual[rows] = gap / np.sqrt(self.variance[rows] / scale)
        for models in self._open_models:
            self.residual[models.rows[models.earlier :][models.unsure[models.earlier :]]] = np.nan
        learn = self.learned()
        start = int(rows[0])
        begin = min(self.spread_from, start)
        for code in np.unique(self.spread_group[rows]):
            own = rows[self.spread_group[rows] == code]
            past = np.arange(begin, start)[
                learn[begin:start]
                & (self.spread_group[begin:start] == code)
                & np.isfinite(self.residual[begin:start])
            ]
            counted = learn[own] & np.isfinite(self.residual[own])
            square = np.where(counted, self.residual[own] ** 2, 0.0)
            total = (self.residual[past] ** 2).sum() + np.concatenate([[0.0], np.cumsum(square)[:-1]])
            freedom = past.size + np.concatenate([[0], np.cumsum(counted)[:-1]])
            sd = np.sqrt(total / np.maximum(freedom, 1))
            # Values that do not vary leave rounding noise of the arithmetic only: no score from that.
            sd[sd < ARITHMETIC * self.largest] = 0.0
            self.sd[own] = np.maximum(sd, self.floor[own])
            self.freedom[own] = freedom
        usable = np.where(self.usable[rows], self.residual[rows], np.nan)
        self.score[rows] = self.level_score[rows] = normal_scores(usable, self.sd[rows], self.freedom[rows])
        for models in self._open_models:
            self._average(models, noise)

    def _average(self, models: _Models, noise: Floats) -> None:
        """Scores of a life averaged over the believable spreads between lives."""
        rows = models.rows
        scale = noise[rows] / self.noise[rows]
        with np.errstate(invalid="ignore"):
            width = np.sqrt(models.variance / scale)
            residual = (self.value[rows] - models.expected) / width
        sd, freedom = self.sd[rows], self.freedom[rows]
        known = (freedom >= 1) & (sd > 0) & np.isfinite(residual).all(axis=0)
        likely = np.zeros(residual.shape)
        likely[:, known] = log_density(residual[:, known] / sd[known], freedom[known]) - np.log(
            width[:, known]
        )
        likely[:, ~self.learned()[rows]] = 0.0
        before = np.log(BELIEFS)[:, None] + np.cumsum(likely, axis=1) - likely
        now = slice(models.earlier, None)
        score = averaged_scores(
            residual.T[now], np.repeat(sd[now, None], len(BELIEFS), axis=1), freedom[now], before.T[now]
        )
        self.score[rows[now]] = np.where(self.usable[rows[now]], score, np.nan)
        if self.wears and not self.pooled and self.codes.size > 1:
            self.level_score[rows[now]] = normal_scores(
                np.where(self.usable[rows[now]], residual[CAUTIOUS, now], np.nan), sd[now], freedom[now]
            )
        else:
            self.level_score[rows[now]] = self.score[rows[now]]
        weight = np.exp(before - before.max(axis=0))
        weight /= weight.sum(axis=0)
        self.expected[rows[now]] = (weight * models.expected).sum(axis=0)[now]
        self.variance[rows[now]] = (weight * models.variance).sum(axis=0)[now]

    def snapshot(self, start: int, stop: int) -> dict[str, Floats | Ints | Bools]:
        """Everything `run` fills for a stretch, so that a trial can be undone."""
        return {name: getattr(self, name)[start:stop].copy() for name in self.filled()}

    def restore(self, start: int, stop: int, kept: dict[str, Floats | Ints | Bools]) -> None:
        """Undo a trial."""
        for name, values in kept.items():
            getattr(self, name)[start:stop] = values
