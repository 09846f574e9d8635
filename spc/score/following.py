"""Following open signals: asking whether they cleared, closing them, measuring their size."""

from __future__ import annotations

import math

import numpy as np

from spc.process import Closing, Cure, Ints, ProcessData, ProcessOptions
from spc.score import signals
from spc.score.signals import Check, OpenSignal
from spc.score.stretches import Stretches
from spc.score.track import Track
from spc.score.watch import AverageWatch, LifeWatch, Onset, SpreadWatch, Watch


class Following(Stretches):
    """What becomes of the signals of one process."""

    def __init__(
        self,
        data: ProcessData,
        options: ProcessOptions,
        cures: tuple[Cure, ...],
        closings: tuple[Closing, ...],
    ) -> None:
        super().__init__(data, options)
        self.open: list[OpenSignal] = []
        self.told: list[OpenSignal] = []
        self.cures = sorted(cures, key=lambda cure: (cure.index, cure.ident))
        self.closings = sorted(closings, key=lambda closing: (closing.at, closing.first, closing.monitor))

    def _core_open(self) -> bool:
        return any(not isinstance(s.watch, SpreadWatch) for s in self.open)

    def _open_of(self, kind: type[Watch]) -> OpenSignal | None:
        return next((s for s in self.open if isinstance(s.watch, kind)), None)

    def _signal_of(self, watch: Watch) -> OpenSignal | None:
        return next((s for s in self.open if s.watch is watch), None)

    def _others_open(self, signal: OpenSignal) -> bool:
        mine = self._tracks(signal.watch)
        return any(self._tracks(other.watch) == mine for other in self.open if other is not signal)

    def _candidates(self, watch: Watch, onset: Onset, at: int) -> list[Cure]:
        """Events that may have cured a change which shows at a part: what was over by then raises nothing.

        An event before the raising part counts while the parts since are too few to be asked, or where the
        evidence had its peak before the event. Evidence that still grew after many parts speaks of a change
        that the event left alone, however old the likeliest start of it is.
        """
        return [
            cure
            for cure in self.cures
            if cure.index > onset.change_from
            and (cure.index > at or self._over_by(watch, cure.index, onset.change_from, at))
        ]

    def _over_by(self, watch: Watch, index: int, begin: int, at: int) -> bool:
        """May the change that shows at a part have been over when the event at index happened?"""
        asked = self._nth_score(watch, index, signals.FEWEST_TO_CLEAR)
        if asked is None or asked > at:
            return True
        before = watch.statistic[begin:index]
        return bool((before[np.isfinite(before)] >= watch.statistic[at]).any())

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

    def _ask(self, signal: OpenSignal, check: Check, at: int) -> None:
        """One check, once."""
        watch = signal.watch
        if isinstance(watch, LifeWatch):
            return
        if check.cure is None:
            if any(c.index < check.stop for c in self._candidates(watch, signal.onset, signal.first)):
                return
            parts = signal.first + 1 - signal.onset.change_from
            check.shift = signals.discounted(self._shift(signal, signal.first + 1, at), parts)
        tracks = [*self._tracks(watch), *([self.days] if watch is self.level and self.days else [])]
        kept = [track.snapshot(check.start, at) for track in tracks]
        for track in tracks:
            track.blocked[check.start :] = False
        for track in tracks:
            self._rerun(track, check.start, at)
        total, square = watch.evidence(check.start, at)
        if signals.has_cleared(check.shift, total, square, isinstance(watch, AverageWatch)):
            self._measure(signal, check.start)
            self._finish(signal, "back" if check.cure is None else "cleared", at - 1, at, check.cure)
            if not self._others_open(signal):
                return
        elif check.cure is None:
            self._ask_later(signal, check, at)
        for track, values in zip(tracks, kept, strict=True):
            track.restore(check.start, at, values)
            track.blocked[check.start :] = True

    def _ask_later(self, signal: OpenSignal, check: Check, at: int) -> None:
        """Ask once more, with twice the parts, whether a signal went away without an event."""
        end = self._nth_score(signal.watch, signal.first + 1, 2 * signals.PARTS_WITHOUT_EVENT)
        if end is not None and end > at:
            signal.checks.append(Check(check.start, end, 0.0, None))

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
                self._spread_anew(resume, resume)
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
                # The accepted pattern is the one since the change; the old one would show as spread for long.
                self.pattern[: signal.onset.change_from] = False
                self.pattern[signal.onset.change_from :] = True
                self._spread_anew(at, at)

    def _measure(self, signal: OpenSignal, end: int) -> None:
        """Size of a signal over the latest parts before end, and the usual sd."""
        watch, begin = signal.watch, signal.onset.change_from
        if isinstance(watch, LifeWatch):
            signal.size = float(np.nan_to_num(self.data.wear[min(end, self.n) - 1]))
            signal.part_sd = watch.usual
            return
        end = max(end, begin + 1)
        track = watch.track if isinstance(watch, SpreadWatch) else self.parts
        kept = track.snapshot(begin, end)
        self._rerun(track, begin, end)
        known = self._measurable(track, begin, end)
        if not known.size:
            # Too little is left to hold the parts against: as they were seen at the time.
            track.restore(begin, end, kept)
            known = self._measurable(track, begin, end)
        if not known.size and track is not watch.track:
            # A day can speak through its other families before this one has scores of its own.
            track = watch.track
            kept = track.snapshot(begin, end)
            known = self._measurable(track, begin, end)
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

    def _measurable(self, track: Track, begin: int, end: int) -> Ints:
        """The latest parts of a stretch that have a score."""
        return np.flatnonzero(np.isfinite(track.score[begin:end]))[-signals.BACK_PARTS :] + begin
