"""Assessment of one process: one model, one score per part, and the monitors that watch the scores."""

from __future__ import annotations

import math

import numpy as np

from spc.errors import SpcError
from spc.process import (
    OUTCOMES,
    Assessment,
    Closing,
    Cure,
    Monitor,
    ProcessData,
    ProcessOptions,
    Signal,
)
from spc.score import signals
from spc.score.days import day_matters
from spc.score.following import Following
from spc.score.signals import Check, OpenSignal
from spc.score.step_limits import CLIP
from spc.score.stretches import LONGEST, SHORTEST
from spc.score.watch import LevelWatch, LifeWatch, ScatterWatch, SpreadWatch, Watch

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
    Quesenberry 1991). Monitors: see spc.score.watch.
    """
    _check(data, closings)
    assessor = _Assessor(data, options, tuple(cures), tuple(closings))
    assessor.walk()
    return assessor.result()


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


class _Assessor(Following):
    """Walks through the parts, stretch by stretch, and raises signals."""

    def walk(self) -> None:
        """From the first part to the last."""
        if self.options.daily and self.options.wears:
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
        stop = min(self.n, at + min(max(at // 3, SHORTEST), LONGEST))
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
        if self.days is None and self.options.daily is None and self.options.wears:
            known = self.parts.learned()[:at] & np.isfinite(self.parts.score[:at])
            score = np.clip(self.parts.score[:at][known], -CLIP, CLIP)
            if day_matters(score, self.data.day[:at][known]):
                self._by_day(at)

    def _finish(
        self, signal: OpenSignal, status: str, cleared_at: int, resume: int, cure: int | None
    ) -> None:
        """As for Following; a level restart that nothing compared with the old level yet counts from there on."""
        super()._finish(signal, status, cleared_at, resume, cure)
        if status == "closed" or isinstance(signal.watch, SpreadWatch) or self._core_open():
            return
        # What clears by an event was held against the old level since that event.
        held = next((c.index for c in self.cures if c.ident == cure), signal.first)
        level = self.data.level[held : resume + 1]
        edges = held + 1 + np.flatnonzero(level[1:] != level[:-1])
        if edges.size:
            self.parts.restart_level(int(edges[-1]))

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
        onset = self._spread_onset(watch, at) if isinstance(watch, SpreadWatch) else watch.onset(at)
        implied = watch.implied_at(at) if isinstance(watch, LifeWatch) else float(watch.implied[at])
        signal = OpenSignal(watch, at, onset, max(implied, float(self.data.run_length[at])))
        after = at + 1
        signal.waiting = [
            (max(cure.index, after), cure.index, cure.ident) for cure in self._candidates(watch, onset, at)
        ]
        if isinstance(watch, LifeWatch):
            watch.raised_in.add(int(self.data.life[at]))
        for track in self._tracks(watch):
            track.blocked[onset.change_from :] = True
        if isinstance(watch, SpreadWatch):
            # A changed position pattern shows as spread. Were it learned, the fault would look cured while it
            # lasts, and the cure like a fault.
            self.pattern[onset.change_from :] = False
            self._spread_anew(onset.change_from, after)
        self.open.append(signal)
        self.told.append(signal)
        end = self._nth_score(watch, after, signals.PARTS_WITHOUT_EVENT)
        if end is not None and not isinstance(watch, LifeWatch):
            begin = self._nth_score(watch, after, signals.PARTS_WITHOUT_EVENT - signals.BACK_PARTS)
            signal.checks.append(Check(begin or after, end, 0.0, None))
        self._measure(signal, after)

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
