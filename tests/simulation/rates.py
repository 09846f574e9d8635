"""False alarms, delays and clearing, counted over many simulated histories."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spc.assess import Assessment, ProcessData, assess
from tests.simulation.shops import RUN_LENGTH, Shop


@dataclass
class Rate:
    """Alarms of one monitor over the scores it watched."""

    alarms: int = 0
    scores: int = 0

    @property
    def per_nominal(self) -> float:
        """Alarms per 5,000 scores, where 1 is nominal."""
        return RUN_LENGTH * self.alarms / self.scores if self.scores else math.nan

    @property
    def error(self) -> float:
        """Monte Carlo standard error of it (Poisson)."""
        return RUN_LENGTH * math.sqrt(max(self.alarms, 1)) / self.scores if self.scores else math.nan


def watched(answer: Assessment, data: ProcessData, by_day: bool) -> dict[str, tuple[int, int]]:
    """Alarms and scores of every monitor of one history; scores while a signal is open do not count."""
    n = len(answer.score)
    busy = {name: np.zeros(n, bool) for name in ("core", "spread")}
    for signal in answer.signals:
        end = n if signal.cleared_at is None else signal.cleared_at + 1
        busy["spread" if signal.monitor == "spread within part" else "core"][signal.first + 1 : end] = True
    found: dict[str, tuple[int, int]] = {}
    for monitor in answer.monitors:
        free = ~busy["spread" if monitor.name == "spread within part" else "core"]
        counted = free & np.isfinite(monitor.statistic)
        if monitor.name == "tool life":
            scores = np.unique(data.life[counted]).size
        elif monitor.name == "level" and by_day:
            scores = np.unique(data.day[counted]).size
        else:
            scores = int(counted.sum())
        name = (
            monitor.name if monitor.name != "spread within part" else f"spread within part {monitor.stratum}"
        )
        alarms = sum(s.monitor == monitor.name and s.stratum == monitor.stratum for s in answer.signals)
        found[name] = (alarms, scores)
    single = answer.single_flag & ~busy["core"]
    found["single part"] = (int(single.sum()), int((np.isfinite(answer.score) & ~busy["core"]).sum()))
    return found


def false_alarms(shop: Shop, runs: int, parts: int, seed: int) -> dict[str, Rate]:
    """Rates of every monitor over simulated histories that hold."""
    rng = np.random.default_rng(seed)
    rates: dict[str, Rate] = {}
    for _ in range(runs):
        data, options = shop(rng, parts)
        answer = assess(data, options)
        for name, (alarms, scores) in watched(answer, data, bool(options.daily)).items():
            rate = rates.setdefault(name, Rate())
            rate.alarms += alarms
            rate.scores += scores
    return rates
