"""Assessment of one process: one model, one score per part, and the monitors that watch the scores."""

from __future__ import annotations

import math

import numpy as np

from spc import signals
from spc.days import DayTrack, day_matters
from spc.errors import SpcError
from spc.ewma import single_limit
from spc.parts import Parts, part_means
from spc.process import (
    OUTCOMES,
    Assessment,
    Bools,
    Closing,
    Cure,
    Floats,
    Monitor,
    ProcessData,
    ProcessOptions,
    Signal,
)
from spc.signals import Check, OpenSignal
from spc.spread_track import spread_tracks
from spc.step_limits import CLIP
from spc.track import Track
from spc.watch import AverageWatch, LevelWatch, LifeWatch, ScatterWatch, SpreadWatch, Watch

__all__ = [
    "Assessment",
    "Closing",
    "Cure",
    "Monitor",
    "ProcessData",
    "ProcessOptions",
    "Signal",
    "assess",
]

# A stretch of parts is scored at once with weights known at its start: short while little is known.
_SHORTEST, _LONGEST = 16, 128


def assess(
    data: ProcessData,
    options: ProcessOptions,
    cures: tuple[Cure, ...] | list[Cure] = (),
    closings: tuple[Closing, ...] | list[Closing] = (),
) -> Assessment:
    """Assess a process from its parts in order of machining.

    Parameters
    ----------
    data
        The parts.
    options
        How the process is modelled.
    cures
        Events that may cure a signal that is open when they happen.
    closings
        Closings of signals by people.

    Returns
    -------
    Assessment
        Nothing that it says of a part, and no signal raised by then, depends on later parts; the status
        and the size of a signal do.

    Raises
    ------
    SpcError
        Arrays that do not fit together, run lengths not above 1, an unknown outcome of a closing.

    Notes
    -----
    Works from one part on. A score needs at least 3 parts of a family, an alarm 8 degrees of freedom.
    Scores: recursive residuals (Brown, Durbin and Evans 1975) made standard normal (Hawkins 1987;
    Quesenberry 1991). Monitors: see spc.watch.
    """
    _check(data, closings)
    return _Assessor(data, options, tuple(cures), tuple(closings)).result()


def _check(data: ProcessData, closings: tuple[Closing, ...] | list[Closing]) -> None:
    """Refuse what cannot be assessed, in words."""
    if data.readings.ndim != 2:
        raise SpcError(
            f"readings must have one row per part and one column per position, got {data.readings.ndim} axes"
        )
    n, p = data.readings.shape
    for name in ("family", "day", "run_length", "level", "life", "wear", "learn"):
        array = getattr(data, name)
        if array.shape != (n,):
            raise SpcError(f"{name} must have one entry for each of the {n} parts, got shape {array.shape}")
    for labels in data.strata:
        if np.shape(labels) != (p,):
            raise SpcError(f"strata must label each of the {p} positions, got shape {np.shape(labels)}")
    if n and not (np.isfinite(data.run_length) & (data.run_length > 1.0)).all():
        raise SpcError("run_length must be finite and above 1 for every part")
    for closing in closings:
        if closing.outcome not in OUTCOMES:
            raise SpcError(f"outcome of a closing is {closing.outcome!r}; legal are: {', '.join(OUTCOMES)}")


class _Assessor:
    """Walks through the parts, stretch by stretch."""

    def __init__(
        self,
        data: ProcessData,
        options: ProcessOptions,
        cures: tuple[Cure, ...],
        closings: tuple[Closing, ...],
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
        self.parts = Track(
            self.means.mean,
            data.family,
            data.learn,
            self._floor(),
            np.ones(n),
            data.life if wears else None,
            np.nan_to_num(data.wear) if wears else None,
            pooled=wears and options.pool_families,
        )
        self.spreads = spread_tracks(self.means, data.family, data.learn, options)
        self.level = LevelWatch(self.parts, data.run_length)
        self.scatter = ScatterWatch(self.parts, data.run_length)
        self.within = [SpreadWatch(t, data.run_length, number) for number, t in self.spreads]
        self.life = (
            LifeWatch(self.parts, data.run_length, data.life, np.nan_to_num(data.wear)) if wears else None
        )
        self.days: DayTrack | None = None
        self.open: list[OpenSignal] = []
        self.told: list[OpenSignal] = []
        self.cures = sorted(cures, key=lambda cure: (cure.index, cure.ident))
        self.closings = sorted(closings, key=lambda closing: (closing.at, closing.first, closing.monitor))
        self._walk()

    # --- what the readings are ---------------------------------------------------------------------

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

    # --- the walk ------------------------------------------------------------------------------------

    def _walk(self) -> None:
        if self.options.daily:
            self._by_day(0)
        at = 0
        while at < self.n:
            self._begin(at)
            stop = self._stretch_end(at)
            self._run(at, stop)
            first = self._alarm(at, stop)
            at = stop if first is None else first + 1
            self._follow_up(at)
        for closing in self.closings:
            if closing.at >= self.n:
                self._close(closing, self.n)

    def _stretch_end(self, at: int) -> int:
        """One past the last part that can be scored together with this one."""
        stop = min(self.n, at + min(max(at // 3, _SHORTEST), _LONGEST))
        ahead = slice(at + 1, stop)
        edge = self.data.level[ahead] != self.data.level[at]
        if self.options.wears:
            edge |= self.data.life[ahead] != self.data.life[at]
        if edge.any():
            stop = at + 1 + int(edge.argmax())
        moments = [c.at for c in self.closings]
        for signal in self.open:
            moments += [start for start, _, _ in signal.waiting] + [check.stop for check in signal.checks]
        return min([stop, *(m for m in moments if m > at)])

    def _begin(self, at: int) -> None:
        """What an event before this part starts anew."""
        if at and self.data.level[at] != self.data.level[at - 1]:
            if not self._core_open():
                self.parts.restart_level(at)
            if not self._open_of(SpreadWatch):
                for _, track in self.spreads:
                    track.restart_level(at)
        if self.days is None and self.options.daily is None:
            known = self.parts.learned()[:at] & np.isfinite(self.parts.score[:at])
            score = np.clip(self.parts.score[:at][known], -CLIP, CLIP)
            if day_matters(score, self.data.day[:at][known]):
                self._by_day(at)

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

    def _plain_end(self, at: int) -> int:
        """One past the last part of a stretch of history, for scoring it again."""
        stop = min(self.n, at + min(max(at // 3, _SHORTEST), _LONGEST))
        edge = self.parts.era[at + 1 : stop] != self.parts.era[at]
        if self.options.wears:
            edge |= self.data.life[at + 1 : stop] != self.data.life[at]
        return at + 1 + int(edge.argmax()) if edge.any() else stop

    def _run(self, start: int, stop: int) -> None:
        self._weights(start)
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

    # --- alarms ----------------------------------------------------------------------------------------

    def _core_open(self) -> bool:
        return any(not isinstance(s.watch, SpreadWatch) for s in self.open)

    def _open_of(self, kind: type[Watch]) -> OpenSignal | None:
        return next((s for s in self.open if isinstance(s.watch, kind)), None)

    def _alarm(self, start: int, stop: int) -> int | None:
        """Watch the stretch; raise the signals of its first alarming part."""
        level_open, scatter_open = self._open_of(LevelWatch), self._open_of(ScatterWatch)
        alarms: list[tuple[int, Watch]] = []
        for watch, other in ((self.level, scatter_open), (self.scatter, level_open)):
            if other is not None:
                # A shift looks like scatter and scatter like shifts: one at a time.
                watch.skip(start, stop)
                continue
            found = watch.step(start, stop)
            if found is not None and self._signal_of(watch) is None:
                alarms.append((found, watch))
        for watch in [*self.within, *([self.life] if self.life else [])]:
            found = watch.step(start, stop)
            busy = self._open_of(SpreadWatch) if isinstance(watch, SpreadWatch) else self._signal_of(watch)
            if found is not None and busy is None:
                alarms.append((found, watch))
        first = min((found for found, _ in alarms), default=None)
        end = stop if first is None else first + 1
        for signal in self.open:
            signal.run_length = max(signal.run_length, self._peak(signal.watch, start, end))
        if first is None:
            return None
        for found, watch in alarms:
            busy = self._open_of(SpreadWatch) if isinstance(watch, SpreadWatch) else self._signal_of(watch)
            if found == first and busy is None and not self._named_already(watch):
                self._raise(first, self._best_name(first, watch))
        return first

    def _peak(self, watch: Watch, start: int, stop: int) -> float:
        if isinstance(watch, LifeWatch):
            return (
                watch.implied_at(stop - 1)
                if stop > start and math.isfinite(watch.statistic[stop - 1])
                else 1.0
            )
        return float(watch.implied[start:stop].max(initial=1.0))

    def _signal_of(self, watch: Watch) -> OpenSignal | None:
        return next((s for s in self.open if s.watch is watch), None)

    def _named_already(self, watch: Watch) -> bool:
        """Level and scatter never open together."""
        return watch in (self.level, self.scatter) and (
            self._signal_of(self.level) is not None or self._signal_of(self.scatter) is not None
        )

    def _best_name(self, at: int, watch: Watch) -> Watch:
        """An alarm of level or scatter is named after the change that explains the scores better."""
        if watch not in (self.level, self.scatter):
            return watch
        step = self.level.onset(at).gain
        return self.level if step >= self.scatter.gain_of_scale(at) else self.scatter

    def _raise(self, at: int, watch: Watch) -> None:
        onset = watch.onset(at)
        implied = watch.implied_at(at) if isinstance(watch, LifeWatch) else float(watch.implied[at])
        signal = OpenSignal(watch, at, onset, max(implied, float(self.data.run_length[at])))
        after = at + 1
        for cure in self.cures:
            if cure.index > onset.change_from:
                signal.waiting.append((max(cure.index, after), cure.index, cure.ident))
        if isinstance(watch, LifeWatch):
            watch.raised_in.add(int(self.data.life[at]))
        for track in self._tracks(watch):
            track.blocked[onset.change_from :] = True
        if isinstance(watch, SpreadWatch):
            # A changed position pattern shows as spread. Were it learned, the fault would look cured while it
            # lasts, and the cure like a fault.
            self.pattern[onset.change_from :] = False
            self._spread_anew(after)
        self.open.append(signal)
        self.told.append(signal)
        end = self._nth_score(watch, after, signals.PARTS_WITHOUT_EVENT)
        if end is not None and not isinstance(watch, LifeWatch):
            begin = self._nth_score(watch, after, signals.PARTS_WITHOUT_EVENT - signals.BACK_PARTS)
            signal.checks.append(Check(begin or after, end, 0.0, None))
        self._measure(signal, after)

    def _spread_anew(self, start: int) -> None:
        """Spread within the parts from start on, around the position pattern as it is learned now."""
        means = part_means(self.values, self.data.family, self.data.strata, self.pattern)
        self.means.spread[start:] = means.spread[start:]
        fresh = dict(spread_tracks(means, self.data.family, self.data.learn, self.options))
        for stratum, track in self.spreads:
            track.value[start:] = fresh[stratum].value[start:]
            track.usable[start:] = fresh[stratum].usable[start:]

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

    # --- following a signal --------------------------------------------------------------------------

    def _follow_up(self, at: int) -> None:
        """Arm, ask and close whatever is due before this part."""
        for signal in list(self.open):
            self._life_over(signal, at)
            due = [w for w in signal.waiting if w[0] <= at]
            signal.waiting = [w for w in signal.waiting if w[0] > at]
            for _, index, ident in due:
                shift = self._shift(signal, index, at)
                size = shift if abs(shift) > 0 else 1.0
                end = self._nth_score(signal.watch, index, signals.parts_to_clear(size))
                if end is not None:
                    signal.checks.append(Check(index, max(end, at), size, ident))
            for check in sorted((c for c in signal.checks if c.stop <= at), key=lambda c: c.stop):
                if signal not in self.open:
                    break  # an earlier question closed it and took the later ones with it
                signal.checks.remove(check)
                self._ask(signal, check, at)
        for closing in self.closings:
            if closing.at == at and at < self.n:
                self._close(closing, at)
            elif closing.at < at:
                late = self._find(closing)
                if late is not None and late.first + 1 == at:
                    self._close(closing, at)

    def _life_over(self, signal: OpenSignal, at: int) -> None:
        """A tool life that ran too long is over once a change is logged."""
        if not isinstance(signal.watch, LifeWatch) or at >= self.n:
            return
        if self.data.life[at] != self.data.life[signal.first]:
            cure = next((c.ident for c in self.cures if signal.first < c.index == at), None)
            signal.size = float(np.nan_to_num(self.data.wear[at - 1]))
            self._finish(signal, "cleared", at, at, cure)

    def _shift(self, signal: OpenSignal, until: int, at: int) -> float:
        """Estimated shift in sd before an event, from scores that did not learn it."""
        begin = signal.onset.change_from
        end = min(max(until, begin + 1), at)
        score = self._frozen_scores(signal.watch, begin, end)
        shift = signals.latest_shift(score)
        wrong_way = shift * signal.onset.direction <= 0
        return 0.25 * signal.onset.direction if wrong_way else shift

    def _frozen_scores(self, watch: Watch, begin: int, end: int) -> Floats:
        """Scores of a stretch against the baseline before the change."""
        track = watch.track
        kept = track.snapshot(begin, end)
        self._rerun(track, begin, end)
        score = np.clip(track.score[begin:end], -signals.LARGEST_SHIFT, signals.LARGEST_SHIFT)
        if isinstance(watch, AverageWatch):
            score = watch.scores(slice(begin, end)).copy()
        if track is self.days:
            score = np.where(track.final[begin:end], score, np.nan)
        track.restore(begin, end, kept)
        return score

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

    def _ask(self, signal: OpenSignal, check: Check, at: int) -> None:
        """One check, once."""
        watch = signal.watch
        if isinstance(watch, LifeWatch):
            return
        if check.cure is None:
            if any(signal.onset.change_from < c.index < check.stop for c in self.cures):
                return
            check.shift = self._shift(signal, signal.first + 1, at)
        tracks = [*self._tracks(watch), *([self.days] if watch is self.level and self.days else [])]
        kept = [track.snapshot(check.start, at) for track in tracks]
        for track in tracks:
            track.blocked[check.start :] = False
        for track in tracks:
            self._rerun(track, check.start, at)
        total, square = watch.evidence(check.start, at)
        if signals.has_cleared(check.shift, total, square):
            self._measure(signal, check.start)
            self._finish(signal, "back" if check.cure is None else "cleared", at - 1, at, check.cure)
            if not self._others_open(signal):
                return
        for track, values in zip(tracks, kept, strict=True):
            track.restore(check.start, at, values)
            track.blocked[check.start :] = True

    def _others_open(self, signal: OpenSignal) -> bool:
        mine = self._tracks(signal.watch)
        return any(self._tracks(other.watch) == mine for other in self.open if other is not signal)

    def _finish(
        self, signal: OpenSignal, status: str, cleared_at: int, resume: int, cure: int | None
    ) -> None:
        """End a signal; watching and learning go on from resume."""
        signal.status = "back" if status == "back" else "closed" if status == "closed" else "cleared"
        signal.cleared_at, signal.cure = cleared_at, cure
        signal.checks, signal.waiting = [], []
        self.open.remove(signal)
        if not self._others_open(signal):
            for track in self._tracks(signal.watch):
                track.blocked[resume:] = False
            if isinstance(signal.watch, SpreadWatch):
                self.pattern[resume:] = True
                self._spread_anew(resume)
        group = self.within if isinstance(signal.watch, SpreadWatch) else [self.level, self.scatter]
        if not isinstance(signal.watch, LifeWatch):
            for watch in group:
                watch.reset(resume)

    def _find(self, closing: Closing) -> OpenSignal | None:
        """The signal that a closing means: the one named, else the one open then."""
        mine = [s for s in self.told if s.watch.name == closing.monitor]
        exact = next((s for s in mine if s.first == closing.first), None)
        return exact or next((s for s in mine if s.status == "open"), None)

    def _close(self, closing: Closing, at: int) -> None:
        signal = self._find(closing)
        if signal is None:
            if closing.first < at:
                note = (
                    f"the closing of a {closing.monitor} signal of part {closing.first} meets no such signal"
                )
                self.notes.append(note)
            return
        if signal.status != "open":
            # It had cleared; the person confirms it.
            signal.status = "closed"
            return
        self._measure(signal, at)
        watch = signal.watch
        self._finish(signal, "closed", at, at, None)
        if closing.outcome == "new level accepted" and at < self.n:
            if watch is self.scatter:
                self.parts.restart_spread(at)
            elif not isinstance(watch, LifeWatch):
                for track in self._tracks(watch):
                    track.restart_level(at)
            if isinstance(watch, SpreadWatch):
                self.pattern[signal.onset.change_from :] = True
                self._spread_anew(at)

    # --- sizes and the result ----------------------------------------------------------------------------

    def _measure(self, signal: OpenSignal, end: int) -> None:
        """Size of a signal over the latest parts before end, and the usual sd."""
        watch, begin = signal.watch, signal.onset.change_from
        if isinstance(watch, LifeWatch):
            lengths, _ = watch.lengths(signal.first)
            signal.size = float(np.nan_to_num(self.data.wear[min(end, self.n) - 1]))
            signal.part_sd = float(np.median(lengths)) if lengths.size else math.nan
            return
        end = max(end, begin + 1)
        track = watch.track if isinstance(watch, SpreadWatch) else self.parts
        kept = track.snapshot(begin, end)
        self._rerun(track, begin, end)
        known = np.flatnonzero(np.isfinite(track.score[begin:end]))[-signals.BACK_PARTS :] + begin
        if known.size:
            sd, value = track.sd[known], track.value[known]
            weight = 1.0 / np.maximum(sd, 1e-300) ** 2
            usual = math.sqrt(float(known.size / weight.sum()))
            gap = value - track.expected[known]
            if watch is self.level:
                signal.size, signal.part_sd = float((weight * gap).sum() / weight.sum()), usual
            elif watch is self.scatter:
                widened = gap / np.sqrt(track.variance[known]) / sd
                signal.size, signal.part_sd = usual * math.sqrt(float((widened**2).mean())), usual
            else:
                # The track holds cube roots of variances.
                signal.size = float(np.maximum(value, 0.0).mean()) ** 1.5
                signal.part_sd = float(np.maximum(track.expected[known], 0.0).mean()) ** 1.5
        track.restore(begin, end, kept)

    def result(self) -> Assessment:
        """The assessment."""
        for signal in self.open:
            self._measure(signal, self.n)
        watches = [self.level, self.scatter, *self.within, *([self.life] if self.life else [])]
        monitors = tuple(Monitor(w.name, w.statistic, w.limit, w.now(), w.stratum) for w in watches)
        track = self.parts
        family_sd = {}
        for code in track.codes:
            known = np.flatnonzero((track.family == code) & np.isfinite(track.sd) & (track.freedom > 0))
            if known.size:
                family_sd[int(code)] = float(track.sd[known[-1]])
        learned = np.flatnonzero(np.isfinite(track.score))
        with np.errstate(invalid="ignore"):
            expected_se = track.sd * np.sqrt(track.variance)
        return Assessment(
            mean=self.means.mean,
            count=self.means.count,
            expected=track.expected,
            expected_se=np.where(track.freedom > 0, expected_se, np.nan),
            score=track.score,
            single_flag=track.flagged,
            spread=self.means.spread,
            monitors=monitors,
            signals=tuple(signal.frozen() for signal in self.told),
            scored=int(learned.size),
            strongest=max(m.run_length_now for m in monitors),
            position_offsets=self.means.offsets,
            part_sd=float(track.sd[learned[-1]]) if learned.size else math.nan,
            family_sd=family_sd,
            notes=tuple(self.notes),
        )
