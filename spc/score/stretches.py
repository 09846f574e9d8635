"""The parts of one process, its tracks and its monitors, scored stretch by stretch."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from spc.process import Bools, Floats, ProcessData, ProcessOptions
from spc.score.days import DayTrack
from spc.score.ewma import single_limit
from spc.score.grouped import GroupedTrack
from spc.score.parts import Parts, part_means
from spc.score.signals import LARGEST_SHIFT
from spc.score.spread_track import spread_tracks
from spc.score.track import FREEDOM_TO_ALARM, Track
from spc.score.watch import DROP, AverageWatch, LevelWatch, LifeWatch, Onset, ScatterWatch, SpreadWatch, Watch

# A stretch of parts is scored at once with weights known at its start: short while little is known.
SHORTEST, LONGEST = 16, 128
# Parts before the likeliest start of more spread at which a slow change of the position pattern is looked for.
_LOOK_BACK = (0, 16, 32, 64, 128, 256)


class Stretches:
    """Everything that is scored: part means, spreads within the part, days; and what watches it."""

    def __init__(
        self,
        data: ProcessData,
        options: ProcessOptions,
    ) -> None:
        self.data = data
        self.options = options
        self.notes: list[str] = []
        values = self._values()
        n = len(values)
        self.n = n
        self.values = values
        self.means: Parts = part_means(values, data.family, data.strata)
        self.pattern = np.ones(n, bool)
        self.single = single_limit(data.run_length)
        wears = options.wears
        self.parts = self._part_track()
        self.spreads = spread_tracks(self.means, data.family, data.learn, options)
        self.level = LevelWatch(self.parts, data.run_length)
        self.scatter = ScatterWatch(self.parts, data.run_length)
        self.within = [SpreadWatch(t, data.run_length, number) for number, t in self.spreads]
        self.life = (
            LifeWatch(self.parts, data.run_length, data.life, np.nan_to_num(data.wear)) if wears else None
        )
        self.days: DayTrack | None = None

    def _part_track(self) -> Track:
        """Track of the part means."""
        data, options, floor = self.data, self.options, self._floor()
        common = (self.means.mean, data.family, data.learn, floor, np.ones(self.n))
        if options.wears:
            return Track(*common, data.life, np.nan_to_num(data.wear), pooled=options.pool_families)
        return GroupedTrack(*common, data.day, options.daily)

    def _values(self) -> Floats:
        """Readings on the scale of the model."""
        values = np.array(self.data.readings, float)
        infinite = np.isinf(values)
        if infinite.any():
            self.notes.append(f"{int(infinite.sum())} infinite readings were left out")
            values[infinite] = np.nan
        if self.options.log:
            with np.errstate(invalid="ignore"):
                low = values <= 0.0
            if low.any():
                self.notes.append(
                    f"{int(low.sum())} readings not above zero have no logarithm and were left out"
                )
                values[low] = np.nan
            values = np.log(values)
        return values

    def _floor(self) -> Floats:
        """Half a resolution step over sqrt(readings), on the scale of the model."""
        step = 0.5 * max(self.options.resolution, 0.0) / np.sqrt(np.maximum(self.means.count, 1))
        if self.options.log:
            step = step / np.exp(np.nan_to_num(self.means.mean))
        return step

    def _plain_end(self, at: int) -> int:
        """One past the last part of a stretch of history, for scoring it again."""
        stop = min(self.n, at + min(max(at // 3, SHORTEST), LONGEST))
        edge = self.parts.era[at + 1 : stop] != self.parts.era[at]
        if self.options.wears:
            edge |= self.data.life[at + 1 : stop] != self.data.life[at]
        return at + 1 + int(edge.argmax()) if edge.any() else stop

    def _run(self, start: int, stop: int) -> None:
        self._weights(start)
        if isinstance(self.parts, GroupedTrack):
            self.parts.regroup(start)
        self.parts.run(start, stop, self.single)
        if self.days is not None:
            self.days.run(start, stop)
        for _, track in self.spreads:
            track.run(start, stop)

    def _weights(self, start: int) -> None:
        """Relative variances of the part means when parts have unequal numbers of readings."""
        count, usual = self.means.count, self.means.usual_count
        if (count[self.parts.usable] == usual[self.parts.usable]).all():
            return
        noise = np.ones(self.n)
        for code in self.parts.codes:
            own = self.data.family == code
            ratio = self._variance_ratio(own[:start], float(usual[own][0]))
            noise[own] = (ratio + 1.0 / np.maximum(count[own], 1)) / (ratio + 1.0 / usual[own])
        self.parts.noise[:] = noise

    def _variance_ratio(self, own: Bools, usual: float) -> float:
        """Earlier variance between parts over that of single readings, by moving ranges."""
        known = own & self.parts.learned()[: own.size] & np.isfinite(self.means.within[: own.size])
        if known.sum() < 8:
            return 1.0
        between = float((np.diff(self.means.mean[: own.size][known]) ** 2).mean()) / 2.0
        within = float(self.means.within[: own.size][known].mean())
        return max(between / within - 1.0 / usual, 0.0) if within > 0.0 else 1.0

    def _by_day(self, at: int) -> None:
        """Watch the level by day from this part on."""
        self.days = DayTrack(self.parts, self.data.day, self.data.level)
        start = 0
        while start < at:
            stop = min(self._plain_end(start), at)
            self.days.run(start, stop)
            start = stop
        self.level.track = self.days
        self.level.by_day = True
        self.scatter.days = self.days

    def _spread_anew(self, start: int, told_to: int) -> None:
        """Spread within the parts from start on, around the position pattern as it is learned now.

        What was told of the parts before told_to stays; those from start on are compared anew.
        """
        means = part_means(self.values, self.data.family, self.data.strata, self.pattern)
        self.means.spread[told_to:] = means.spread[told_to:]
        fresh = dict(spread_tracks(means, self.data.family, self.data.learn, self.options))
        for stratum, track in self.spreads:
            track.value[start:] = fresh[stratum].value[start:]
            track.usable[start:] = fresh[stratum].usable[start:]

    def _spread_onset(self, watch: SpreadWatch, at: int) -> Onset:
        """Where a change of spread began, if need be long before it showed.

        A position pattern that wears slowly is learned for a while. Held against the pattern of an earlier
        part, the parts since then show the whole change.
        """
        onset = watch.onset(at)
        track = watch.track
        ready = np.flatnonzero(track.freedom[: at + 1] >= FREEDOM_TO_ALARM)
        earliest = max(int(ready[0]) if ready.size else at, watch.watch_from, self._era_begins(track, at))
        tried: list[tuple[float, int]] = []
        for back in _LOOK_BACK:
            begin = onset.change_from - back
            if begin < earliest:
                break
            tried.append((self._gain_since(watch, begin, at), begin))
        best, begin = max(tried, default=(0.0, onset.change_from))
        if begin >= onset.change_from:
            return onset
        likely = [start for gain, start in tried if gain >= best - DROP]
        return replace(onset, change_from=begin, change_range=(min(likely), max(likely)), gain=best)

    def _gain_since(self, watch: SpreadWatch, begin: int, at: int) -> float:
        """Log likelihood gained by more spread from begin on, around the pattern known by then."""
        taught = self.pattern.copy()
        taught[begin:] = False
        means = part_means(self.values, self.data.family, self.data.strata, taught)
        fresh = dict(spread_tracks(means, self.data.family, self.data.learn, self.options))[watch.stratum]
        track, rows = watch.track, slice(begin, at + 1)
        kept = track.value[rows].copy(), track.blocked[begin:].copy()
        track.value[rows], track.blocked[begin:] = fresh.value[rows], True
        score = self._frozen_scores(watch, begin, at + 1)
        track.value[rows], track.blocked[begin:] = kept
        known = score[np.isfinite(score)]
        return max(float(known.sum()), 0.0) ** 2 / (2.0 * max(known.size, 1))

    def _era_begins(self, track: Track, at: int) -> int:
        """First part of the level epoch of a part."""
        return int(np.searchsorted(track.era, track.era[at]))

    def _tracks(self, watch: Watch) -> list[Track]:
        """Tracks that stop learning while a signal of this monitor is open."""
        return [t for _, t in self.spreads] if isinstance(watch, SpreadWatch) else [self.parts]

    def _nth_score(self, watch: Watch, start: int, number: int) -> int | None:
        """One past the part with the given number of scores from start on, None when there are fewer."""
        usable = self.parts.usable if watch is self.level else watch.track.usable
        places = np.flatnonzero(usable[start:]) + start
        if watch is self.level and self.days is not None:
            day = self.days.numbers[places]
            places = places[np.concatenate([[True], day[1:] != day[:-1]])] if places.size else places
        return int(places[number - 1]) + 1 if places.size >= number else None

    def _rerun(self, track: Track, begin: int, end: int) -> None:
        """Score a stretch again with what is learned now."""
        single = self.single if track is self.parts else None
        at = begin
        while at < end:
            stop = min(self._plain_end(at), end)
            if track is not self.parts and track is not self.days:
                edge = track.era[at + 1 : stop] != track.era[at]
                stop = at + 1 + int(edge.argmax()) if edge.any() else stop
            track.run(at, stop, single)
            at = stop

    def _frozen_scores(self, watch: Watch, begin: int, end: int) -> Floats:
        """Scores of a stretch against the baseline before the change."""
        track = watch.track
        kept = track.snapshot(begin, end)
        self._rerun(track, begin, end)
        score = np.clip(track.score[begin:end], -LARGEST_SHIFT, LARGEST_SHIFT)
        if isinstance(watch, AverageWatch):
            score = watch.scores(slice(begin, end)).copy()
        if track is self.days:
            score = np.where(track.final[begin:end], score, np.nan)
        track.restore(begin, end, kept)
        return score
