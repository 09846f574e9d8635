"""False alarms of every monitor, counted over many simulated histories that hold."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from spc.process import LEVEL, SCATTER, SPREAD, TOOL_LIFE
from spc.score.assess import Assessment, assess
from tests.simulation.shops import RUN_LENGTH, Shop

SINGLE = "single part"
# Monitors that do not watch while a signal of the same group is open.
_GROUP = {LEVEL: "parts", SCATTER: "parts", SINGLE: "parts", SPREAD: "spread", TOOL_LIFE: "life"}

Counts = dict[str, tuple[int, int]]


@dataclass(frozen=True)
class Rate:
    """Alarms of one monitor over the scores it watched, against those its run length grants."""

    alarms: int
    scores: int
    run_length: float = RUN_LENGTH

    @property
    def expected(self) -> float:
        """Alarms that the run length grants."""
        return self.scores / self.run_length

    @property
    def per_nominal(self) -> float:
        """Alarms per run length of scores, where 1 is nominal."""
        return self.alarms / self.expected if self.scores else math.nan

    @property
    def error(self) -> float:
        """Monte Carlo standard error of it (Poisson)."""
        return math.sqrt(max(self.alarms, 1)) / self.expected if self.scores else math.nan

    def error_at(self, rate: float) -> float:
        """Monte Carlo standard error that a true rate would have."""
        return math.sqrt(rate / self.expected) if self.scores else math.nan


@dataclass(frozen=True)
class Situation:
    """A shop that holds, and how its alarms are counted.

    Attributes
    ----------
    shop
        Makes one history.
    parts
        Its length.
    by_day
        The level has one score a day.
    settled
        Parts before this one are not counted.
    run_length
        Scores to a false alarm, granted to every monitor.
    """

    shop: Shop
    parts: int = 600
    by_day: bool = False
    settled: int = 0
    run_length: float = RUN_LENGTH

    def __call__(self, runs: int, rng: np.random.Generator) -> list[Counts]:
        """Alarms and scores of every monitor, per history."""
        return [self._one(rng) for _ in range(runs)]

    def _one(self, rng: np.random.Generator) -> Counts:
        data, options = self.shop(rng, self.parts)
        data = replace(data, run_length=np.full(self.parts, self.run_length))
        return self.count(assess(data, options), data.day, data.life)

    def count(self, answer: Assessment, day: np.ndarray, life: np.ndarray) -> Counts:
        """Alarms and scores of every monitor of one history; scores while a signal is open do not count."""
        n = len(answer.score)
        free = {group: np.arange(n) >= self.settled for group in _GROUP.values()}
        for signal in answer.signals:
            end = n if signal.cleared_at is None else signal.cleared_at + 1
            free[_GROUP[signal.monitor]][signal.first + 1 : end] = False
        found: Counts = {}
        for monitor in answer.monitors:
            counted = free[_GROUP[monitor.name]] & np.isfinite(monitor.statistic)
            if monitor.name == TOOL_LIFE:
                scores = np.unique(life[counted]).size
            elif monitor.name == LEVEL and self.by_day:
                scores = np.unique(day[counted]).size
            else:
                scores = int(counted.sum())
            alarms = sum(
                s.monitor == monitor.name and s.stratum == monitor.stratum and s.first >= self.settled
                for s in answer.signals
            )
            label = f"{SPREAD} {monitor.stratum}" if monitor.name == SPREAD else monitor.name
            found[label] = (alarms, scores)
        watched = free["parts"] & np.isfinite(answer.score)
        found[SINGLE] = (int((answer.single_flag & watched).sum()), int(watched.sum()))
        return found


def rates(histories: Iterable[Counts], run_length: float = RUN_LENGTH) -> dict[str, Rate]:
    """Rate of every monitor over all histories."""
    total: Counts = {}
    for history in histories:
        for name, (alarms, scores) in history.items():
            before = total.get(name, (0, 0))
            total[name] = (before[0] + alarms, before[1] + scores)
    return {name: Rate(alarms, scores, run_length) for name, (alarms, scores) in total.items()}
