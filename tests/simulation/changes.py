"""Simulated processes that go off: how soon it is said, and whether it clears rightly."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spc.assess import Closing, Cure, assess
from spc.process import LEVEL, SCATTER, SPREAD, ProcessOptions
from tests.simulation.shops import process, tool_lives

OPTIONS = ProcessOptions(daily=False)


@dataclass(frozen=True)
class Share:
    """A share of runs."""

    hits: int
    runs: int

    @property
    def value(self) -> float:
        return self.hits / self.runs if self.runs else math.nan

    @property
    def error(self) -> float:
        """Monte Carlo standard error (binomial)."""
        return (
            math.sqrt(max(self.value * (1.0 - self.value), 1.0 / self.runs) / self.runs)
            if self.runs
            else math.nan
        )


@dataclass(frozen=True)
class Delay:
    """Signals of the right monitor after a change: within 60 parts, and the delays of those found."""

    found: Share
    quartiles: tuple[float, float, float]


def _delay(firsts: list[int | None], change: int) -> Delay:
    found = [first - change + 1 for first in firsts if first is not None]
    share = Share(sum(delay <= 60 for delay in found), len(firsts))
    padded = sorted([*found, *[math.inf] * (len(firsts) - len(found))])
    at = [padded[min(int(q * len(padded)), len(padded) - 1)] for q in (0.25, 0.5, 0.75)]
    return Delay(share, (at[0], at[1], at[2]))


def _first(value: np.ndarray, change: int, monitor: str, family: np.ndarray | None = None) -> int | None:
    answer = assess(process(value, family=family), OPTIONS)
    return next((s.first for s in answer.signals if s.monitor == monitor and s.first >= change), None)


def level_shift(shift: float, before: int, runs: int, seed: int, families: bool = False) -> Delay:
    """A shift of the level by so many sd after so many parts, watched for 60 parts."""
    rng = np.random.default_rng(seed)
    firsts = []
    for _ in range(runs):
        z = rng.standard_normal(before + 60)
        z[before:] += shift
        family = rng.choice(3, z.size) if families else None
        value = z if family is None else z * np.array([1.0, 2.3, 5.0])[family]
        firsts.append(_first(value, before, LEVEL, family))
    return _delay(firsts, before)


def scatter_change(factor: float, before: int, runs: int, seed: int) -> Delay:
    """The sd from part to part grows by a factor."""
    rng = np.random.default_rng(seed)
    firsts = []
    for _ in range(runs):
        z = rng.standard_normal(before + 60)
        z[before:] *= factor
        firsts.append(_first(z, before, SCATTER))
    return _delay(firsts, before)


def spread_change(factor: float, before: int, runs: int, seed: int) -> Delay:
    """The sd between six readings on a part grows by a factor."""
    rng = np.random.default_rng(seed)
    firsts = []
    for _ in range(runs):
        readings = rng.standard_normal((before + 60, 6))
        readings[before:] *= factor
        readings += rng.standard_normal((before + 60, 1))
        answer = assess(process(readings), OPTIONS)
        firsts.append(
            next((s.first for s in answer.signals if s.monitor == SPREAD and s.first >= before), None)
        )
    return _delay(firsts, before)


def glazing(runs: int, seed: int, a_part: float = 0.4) -> Share:
    """A tool in its eleventh life or later falls by 0.4 sd a part from its 15th part on: found in the life?"""
    rng = np.random.default_rng(seed)
    hits = 0
    for _ in range(runs):
        data, options = tool_lives(rng, 520)
        number = 11
        own = np.flatnonzero(data.life == number)
        readings = data.readings.copy()
        readings[own[15:], 0] -= a_part * np.arange(1, own.size - 14)
        stop = own[-1] + 1
        cut = process(
            readings[:stop], family=data.family[:stop], life=data.life[:stop], wear=data.wear[:stop]
        )
        answer = assess(cut, options)
        hits += any(s.monitor == LEVEL and s.first >= own[15] for s in answer.signals)
    return Share(hits, runs)


@dataclass(frozen=True)
class Clearing:
    """A full loop: shift after 60 parts, an event 15 parts after the signal, 120 parts more."""

    signalled: Share
    cleared: Share
    wrong_cause: Share
    again: Share


def event_loop(shift: float, cured: bool, runs: int, seed: int) -> Clearing:
    """Signal, event, and what became of the signal.

    cleared: the signal cleared after the event; wrong_cause: it ended otherwise than by the event;
    again: another signal of the level afterwards.
    """
    rng = np.random.default_rng(seed)
    signalled = cleared = wrong = again = 0
    for _ in range(runs):
        z = rng.standard_normal(400)
        z[60:] += shift
        first = _first(z[:200], 60, LEVEL)
        if first is None:
            continue
        signalled += 1
        event = first + 15
        value = z[: event + 120].copy()
        if cured:
            value[event:] -= shift
        answer = assess(process(value), OPTIONS, cures=[Cure(event, 5)])
        mine = [s for s in answer.signals if s.monitor == LEVEL and s.first >= 60]
        cleared += mine[0].status == "cleared" and mine[0].cure == 5
        wrong += mine[0].status == "back"
        again += len(mine) > 1
    return Clearing(
        Share(signalled, runs), Share(cleared, signalled), Share(wrong, signalled), Share(again, signalled)
    )


def no_event_loop(shift: float, lasts: int | None, runs: int, seed: int) -> Share:
    """Share of signals said to have gone by themselves; the shift lasts so many parts after the signal."""
    rng = np.random.default_rng(seed)
    signalled = back = 0
    for _ in range(runs):
        z = rng.standard_normal(260)
        z[60:] += shift
        first = _first(z[:200], 60, LEVEL)
        if first is None:
            continue
        signalled += 1
        value = z[: first + 60].copy()
        if lasts is not None:
            value[first + lasts + 1 :] -= shift
        answer = assess(process(value), OPTIONS)
        mine = next(s for s in answer.signals if s.monitor == LEVEL and s.first >= 60)
        back += mine.status == "back"
    return Share(back, signalled)


def accepted_loop(shift: float, runs: int, seed: int) -> Share:
    """Share of runs in which a level accepted by a person alarms again within 200 parts."""
    rng = np.random.default_rng(seed)
    again = runs_seen = 0
    for _ in range(runs):
        z = rng.standard_normal(500)
        z[60:] += shift
        first = _first(z[:200], 60, LEVEL)
        if first is None:
            continue
        runs_seen += 1
        closing = Closing(LEVEL, first, first + 10, "new level accepted")
        answer = assess(process(z[: first + 210]), OPTIONS, closings=[closing])
        again += any(s.monitor == LEVEL and s.first > first for s in answer.signals)
    return Share(again, runs_seen)
