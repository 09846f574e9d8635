"""Monitors of one process: what each watches, its limit, and where a change most likely began."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, ndtri_exp

from spc.process import LEVEL, SCATTER, SPREAD, TOOL_LIFE, Floats, Ints
from spc.score import lives
from spc.score.days import DayTrack, without_day
from spc.score.ewma import upper_ewma_limit, upper_ewma_run_length
from spc.score.step_test import CLIP, WINDOW, step_limit, step_run_length, step_sums, steps
from spc.score.track import FREEDOM_TO_ALARM, Track

# Weight of the newest score in the upper averages (common practice for changes of one to two sd).
AVERAGE_WEIGHT = 0.1
_AVERAGE_SD = math.sqrt(AVERAGE_WEIGHT / (2.0 - AVERAGE_WEIGHT))
# Scores it takes to measure a lag-1 correlation, and the standard errors that make it significant.
_LAG_SCORES = 20
_LAG_ERRORS = 1.645
# A change may have begun wherever the log likelihood is within this of its peak.
DROP = 2.0


@dataclass(frozen=True)
class Onset:
    """Where a change began: likeliest first changed part, range, direction, and log likelihood gained."""

    change_from: int
    change_range: tuple[int, int]
    direction: int
    gain: float


def spread_score(score: Floats) -> Floats:
    """PhiInv(2 Phi(|z|) - 1): standard normal when z is, larger when parts scatter more."""
    # 2 Phi(|z|) - 1 = 1 - 2 Phi(-|z|); the upper tail is kept exact by its logarithm.
    return -ndtri_exp(np.minimum(math.log(2.0) + log_ndtr(-np.abs(score)), -1e-300))


def widening(score: Floats) -> float:
    """Factor by which a positive lag-1 correlation of earlier scores widens the limits.

    Parameters
    ----------
    score
        Earlier scores in order, without NaN.

    Returns
    -------
    float
        sqrt((1 + phi) / (1 - phi)), the growth of the sd of long sums, with phi the correlation; 1 with
        fewer than 20 scores or a correlation that is not significant (one-sided, 5 %).
    """
    if score.size < _LAG_SCORES:
        return 1.0
    centred = score - score.mean()
    total = float(centred @ centred)
    if total <= 0.0:
        return 1.0
    phi = min(float(centred[1:] @ centred[:-1]) / total, 0.95)
    # Chance correlations alone would cost power on every young process.
    if phi < _LAG_ERRORS / math.sqrt(score.size):
        return 1.0
    return math.sqrt((1.0 + phi) / (1.0 - phi))


class Watch(ABC):
    """A monitor: fills its statistic and limit stretch by stretch and says where it alarms."""

    name = ""

    def __init__(self, track: Track, run_length: Floats, stratum: int = 0) -> None:
        n = run_length.size
        self.track = track
        self.run_length = run_length
        self.stratum = stratum
        self.watch_from = 0
        self.statistic = np.full(n, np.nan)
        self.limit = np.full(n, np.nan)
        self.implied = np.ones(n)
        self.used = np.full(n, np.nan)

    def reset(self, at: int) -> None:
        """Forget the scores before this part."""
        self.watch_from = at

    def skip(self, start: int, stop: int) -> None:
        """The stretch is not watched."""
        self.statistic[start:stop] = self.limit[start:stop] = self.used[start:stop] = np.nan
        self.implied[start:stop] = 1.0
        self.watch_from = stop

    @abstractmethod
    def step(self, start: int, stop: int) -> int | None:
        """Watch a stretch; index of the first part beyond the limit."""

    @abstractmethod
    def onset(self, at: int) -> Onset:
        """Where the change that shows at this part most likely began."""

    @abstractmethod
    def evidence(self, start: int, stop: int) -> tuple[float, float]:
        """Sum of weighted scores over a stretch, and of squared weights, for a change before it."""

    def _widening(self, start: int) -> float:
        used = self.used[:start]
        return widening(used[np.isfinite(used)])

    def _first_beyond(self, start: int, stop: int) -> int | None:
        rows = slice(start, stop)
        with np.errstate(invalid="ignore"):
            beyond = self.statistic[rows] > self.limit[rows]
        beyond &= self.track.freedom[rows] >= FREEDOM_TO_ALARM
        return start + int(beyond.argmax()) if beyond.any() else None

    def now(self) -> float:
        """Run length of a monitor whose limit equals the latest statistic."""
        known = np.flatnonzero(np.isfinite(self.statistic[self.watch_from :]))
        return float(self.implied[self.watch_from + known[-1]]) if known.size else 1.0


class LevelWatch(Watch):
    """Step test of the level."""

    name = LEVEL

    def __init__(self, track: Track, run_length: Floats) -> None:
        super().__init__(track, run_length)
        self.by_day = False

    def step(self, start: int, stop: int) -> int | None:
        track, rows = self.track, slice(start, stop)
        begin = max(self.watch_from, self._restarted(start), self._window(start))
        found = steps(track.stream_scores(), start, stop, begin)
        self.used[rows] = np.where(track.final[rows], np.clip(track.held(start, stop), -CLIP, CLIP), np.nan)
        scored = np.isfinite(track.score[begin:stop])
        done = np.cumsum(scored & track.final[begin:stop])
        number = done + (scored & ~track.final[begin:stop])
        number = number[start - begin :].astype(float)
        # Day scores carry the correlation within days already.
        wide = 1.0 if self.by_day else self._widening(start)
        self.statistic[rows] = found.statistic
        self.limit[rows] = np.where(
            np.isfinite(found.statistic), wide * step_limit(self.run_length[rows], number), np.nan
        )
        clean = np.nan_to_num(found.statistic) / wide
        self.implied[rows] = np.where(np.isfinite(found.statistic), step_run_length(clean, number), 1.0)
        return self._first_beyond(start, stop)

    def _restarted(self, start: int) -> int:
        """First part of the level epoch, when the level was learned anew there."""
        if self.track.wears:
            return 0
        return int(np.searchsorted(self.track.era, self.track.era[start]))

    def _window(self, start: int) -> int:
        """First of the latest parts within which a change is looked for: as many parts where days are scored.

        As many days would be most of a year. What has run that long is how the process runs.
        """
        usable = np.flatnonzero(self.track.usable[:start]) if self.by_day else np.zeros(0, np.int64)
        return int(usable[-WINDOW]) if usable.size > WINDOW else 0

    def onset(self, at: int) -> Onset:
        begin = max(self.watch_from, self._restarted(at), self._window(at))
        found = steps(self.track.stream_scores(), at, at + 1, begin)
        change = int(found.change[0])
        if change < 0:
            return Onset(at, (at, at), 1, 0.0)
        gain = found.profile**2 / 2.0
        likely = found.starts[gain >= gain.max() - DROP]
        direction = 1 if found.shift[0] > 0 else -1
        return Onset(change, (int(likely.min()), int(likely.max())), direction, float(gain.max()))

    def evidence(self, start: int, stop: int) -> tuple[float, float]:
        return step_sums(self.track.stream_scores(), start, stop)


class AverageWatch(Watch):
    """Upper exponentially weighted average of scores, from 0, not reflected."""

    def __init__(self, track: Track, run_length: Floats, stratum: int = 0) -> None:
        super().__init__(track, run_length, stratum)
        self._average = np.zeros(run_length.size + 1)
        self._plain_limit = upper_ewma_limit(AVERAGE_WEIGHT, run_length, CLIP)

    def scores(self, rows: slice) -> Floats:
        """Scores that are averaged."""
        return np.clip(self.track.held(rows.start, rows.stop), -CLIP, CLIP)

    def step(self, start: int, stop: int) -> int | None:
        rows = slice(start, stop)
        self.used[rows] = self.scores(rows)
        average = self._average[start] if start > self.watch_from else 0.0
        path = []
        for score in self.used[rows].tolist():
            if score == score:
                average += AVERAGE_WEIGHT * (score - average)
            path.append(average)
        self._average[start + 1 : stop + 1] = path
        scored = np.isfinite(self.used[rows])
        wide = self._widening(start)
        value = np.array(path) / _AVERAGE_SD
        self.statistic[rows] = np.where(scored, value, np.nan)
        self.limit[rows] = np.where(scored, wide * self._plain_limit[rows], np.nan)
        lengths = upper_ewma_run_length(AVERAGE_WEIGHT, value / wide, CLIP)
        self.implied[rows] = np.where(scored, lengths, 1.0)
        return self._first_beyond(start, stop)

    def onset(self, at: int) -> Onset:
        rows = np.arange(self.watch_from, at + 1)
        score = self.used[self.watch_from : at + 1]
        known = np.flatnonzero(np.isfinite(score))[-WINDOW:]
        if not known.size:
            return Onset(at, (at, at), 1, 0.0)
        sums = np.cumsum(score[known][::-1])[::-1]
        gain = np.maximum(sums, 0.0) ** 2 / (2.0 * np.arange(known.size, 0, -1))
        likely = rows[known[gain >= gain.max() - DROP]]
        best = int(rows[known[gain.argmax()]])
        return Onset(best, (int(likely.min()), int(likely.max())), 1, float(gain.max()))

    def evidence(self, start: int, stop: int) -> tuple[float, float]:
        score = self.scores(slice(start, stop))
        known = np.isfinite(score)
        return float(score[known].sum()), float(known.sum())


class ScatterWatch(AverageWatch):
    """Scatter from part to part."""

    name = SCATTER

    def __init__(self, track: Track, run_length: Floats) -> None:
        super().__init__(track, run_length)
        self.days: DayTrack | None = None

    def scores(self, rows: slice) -> Floats:
        return np.clip(spread_score(self._apart(rows.start, rows.stop)), -CLIP, CLIP)

    def _apart(self, start: int, stop: int) -> Floats:
        """Scores, freed from what the parts of a day have in common."""
        if self.days is None or start >= stop:
            return self.track.held(start, stop)
        begin = self.days.begins(start)
        held = self.track.held(begin, stop)
        return without_day(held, self.days.numbers[begin:stop], self.days.ratio)[start - begin :]

    def gain_of_scale(self, at: int) -> float:
        """Log likelihood gained by more scatter from some part on, up to this part.

        The larger of that of a wider normal distribution of the scores and that of a step in what is
        averaged here: with either alone chance alarms of scatter would often be called shifts.
        """
        z = np.clip(self._apart(self.watch_from, at + 1), -CLIP, CLIP)
        z = z[np.isfinite(z)][-WINDOW:]
        if not z.size:
            return 0.0
        number = np.arange(z.size, 0, -1)
        ratio = np.maximum(np.cumsum((z**2)[::-1])[::-1] / number, 1.0)
        wider = float((number / 2.0 * (ratio - 1.0 - np.log(ratio))).max())
        return max(wider, self.onset(at).gain)


class SpreadWatch(AverageWatch):
    """Spread within the part, one stratum."""

    name = SPREAD


class LifeWatch(Watch):
    """A tool life longer than finished lives make believable: was a change left unrecorded?"""

    name = TOOL_LIFE

    def __init__(self, track: Track, run_length: Floats, life: Ints, wear: Floats) -> None:
        super().__init__(track, run_length)
        self.life = life
        self.wear = wear
        self.raised_in: set[int] = set()
        self.usual = math.nan
        self._longest = math.nan

    def lengths(self, at: int) -> tuple[Floats, int]:
        """Finished lives without signals before a part, and the number of its life."""
        return lives.life_lengths(self.life, self.wear, at, ~self.track.blocked)

    def _uses_a_part(self, at: int) -> float:
        steps_taken = np.diff(self.wear[: at + 1])
        steps_taken = steps_taken[steps_taken > 0]
        return float(np.median(steps_taken)) if steps_taken.size else 1.0

    def step(self, start: int, stop: int) -> int | None:
        rows = slice(start, stop)
        lengths, current = self.lengths(start)
        self.statistic[rows] = self.limit[rows] = np.nan
        self.implied[rows] = 1.0
        if current < 0 or lengths.size < 3:
            return None
        self.usual, self._longest = float(np.median(lengths)), float(lengths.max())
        bound = lives.longest_life(lengths, float(self.run_length[start]), self._uses_a_part(start))
        self.statistic[rows] = self.wear[rows]
        self.limit[rows] = bound
        beyond = self.wear[rows] > bound
        if current in self.raised_in or not beyond.any():
            return None
        return start + int(beyond.argmax())

    def implied_at(self, at: int) -> float:
        """Run length of a bound that equals the uses at this part."""
        lengths, _ = self.lengths(at)
        return lives.life_run_length(lengths, float(self.wear[at]), self._uses_a_part(at))

    def now(self) -> float:
        known = np.flatnonzero(np.isfinite(self.statistic))
        if not known.size or known[-1] != self.statistic.size - 1:
            return 1.0
        return self.implied_at(int(known[-1]))

    def onset(self, at: int) -> Onset:
        own = np.flatnonzero((self.life[: at + 1] == self.life[at]) & (self.wear[: at + 1] >= self.usual))
        past = own[self.wear[own] > self._longest]
        begin = int(past[0]) if past.size else at
        return Onset(begin, (int(own[0]) if own.size else begin, at), 1, 0.0)

    def evidence(self, start: int, stop: int) -> tuple[float, float]:
        del start, stop
        return 0.0, 0.0
