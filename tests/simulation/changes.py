"""Simulated processes that go off: how soon it is said, and whether it clears rightly."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from spc.process import LEVEL, SCATTER, SPREAD, ProcessData, ProcessOptions, Signal
from spc.score.assess import Closing, Cure, assess
from tests.simulation.shops import process, tool_lives

OPTIONS = ProcessOptions(daily=False)
FAMILY_SD = np.array([1.0, 2.3, 5.0])
# Parts watched after a change.
WATCHED = 60
# The full loop: parts before the shift, the parts in which it must be found, and parts from the signal to
# the event.
_BEFORE, _SEARCHED, _TO_EVENT = 60, 140, 15


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
        """Monte Carlo standard error (binomial), never less than that of one run in all."""
        if not self.runs:
            return math.nan
        return math.sqrt(max(self.value * (1.0 - self.value), 1.0 / self.runs) / self.runs)


def share(outcomes: Sequence[bool | None]) -> Share:
    """Share of the runs that count (None: the run does not)."""
    counted = [outcome for outcome in outcomes if outcome is not None]
    return Share(sum(counted), len(counted))


# --- delays ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Told:
    """Parts from a change to its signal, 1 for the first changed part; infinite when not told.

    Attributes
    ----------
    by_name
        By the monitor that should tell it.
    by_any
        By any monitor: the change is seen, though it may go under the name of another.
    """

    by_name: float
    by_any: float


def found_within(delays: Sequence[float], parts: int) -> Share:
    """Share of the changes said within so many parts."""
    return Share(sum(delay <= parts for delay in delays), len(delays))


def quartiles(delays: Sequence[float]) -> tuple[float, float, float]:
    """Quartiles of the delay in parts; infinite where so many were not found."""
    low, middle, high = np.quantile(delays, (0.25, 0.5, 0.75), method="inverted_cdf")
    return float(low), float(middle), float(high)


Maker = Callable[[np.random.Generator, int, int], ProcessData]


@dataclass(frozen=True)
class Change:
    """A change after so many parts that a monitor should tell within the next 60.

    Attributes
    ----------
    make
        Makes one history from a generator, the parts before the change, and all parts.
    before
        Parts before the change.
    monitor
        The monitor that should tell it.
    """

    make: Maker
    before: int
    monitor: str = LEVEL

    def __call__(self, runs: int, rng: np.random.Generator) -> list[Told | None]:
        """How soon each change was told; None where a signal stood open before it, which says nothing."""
        return [self._one(rng) for _ in range(runs)]

    def _one(self, rng: np.random.Generator) -> Told | None:
        signals = assess(self.make(rng, self.before, self.before + WATCHED), OPTIONS).signals
        if any(s.first < self.before for s in signals):
            return None
        by_name = [s.first for s in signals if s.monitor == self.monitor]
        return Told(self._delay(by_name), self._delay([s.first for s in signals]))

    def _delay(self, firsts: list[int]) -> float:
        return min(firsts) - self.before + 1.0 if firsts else math.inf


@dataclass(frozen=True)
class Shift:
    """The level moves by so many sd, of one family or of three families of unequal spread."""

    size: float
    families: bool = False

    def __call__(self, rng: np.random.Generator, before: int, parts: int) -> ProcessData:
        z = rng.standard_normal(parts)
        z[before:] += self.size
        if not self.families:
            return process(z)
        family = rng.choice(FAMILY_SD.size, parts)
        return process(z * FAMILY_SD[family], family=family)


@dataclass(frozen=True)
class Scatter:
    """The sd from part to part grows by a factor."""

    factor: float

    def __call__(self, rng: np.random.Generator, before: int, parts: int) -> ProcessData:
        z = rng.standard_normal(parts)
        z[before:] *= self.factor
        return process(z)


@dataclass(frozen=True)
class Spread:
    """The sd between six readings on a part grows by a factor."""

    factor: float

    def __call__(self, rng: np.random.Generator, before: int, parts: int) -> ProcessData:
        readings = rng.standard_normal((parts, 6))
        readings[before:] *= self.factor
        return process(readings + rng.standard_normal((parts, 1)))


DELAYS: dict[str, Change] = {
    **{
        f"level +{size:g} sd after {before} parts{', three families' if families else ''}": Change(
            Shift(size, families), before
        )
        for size in (1.0, 2.0)
        for before in (20, 40)
        for families in (False, True)
    },
    **{f"scatter x 2 after {before} parts": Change(Scatter(2.0), before, SCATTER) for before in (20, 40)},
    **{
        f"spread within part x 1.5 after {before} parts": Change(Spread(1.5), before, SPREAD)
        for before in (20, 40)
    },
}


def glazing(runs: int, rng: np.random.Generator) -> list[bool]:
    """The twelfth life falls by 0.4 sd a part from its 15th part on: found within the life?"""
    found = []
    for _ in range(runs):
        data, options = tool_lives(rng, 520)
        own = np.flatnonzero(data.life == 11)
        readings = data.readings.copy()
        readings[own[15:], 0] -= 0.4 * np.arange(1, own.size - 14)
        stop = own[-1] + 1
        cut = process(
            readings[:stop], family=data.family[:stop], life=data.life[:stop], wear=data.wear[:stop]
        )
        answer = assess(cut, options)
        found.append(any(s.monitor == LEVEL and s.first >= own[15] for s in answer.signals))
    return found


# --- clearing --------------------------------------------------------------------------------------------


def _signals(z: np.ndarray, cures: Sequence[Cure] = (), closings: Sequence[Closing] = ()) -> list[Signal]:
    """Level signals after the shift."""
    answer = assess(process(z), OPTIONS, list(cures), list(closings))
    return [s for s in answer.signals if s.monitor == LEVEL and s.first >= _BEFORE]


def _shifted(rng: np.random.Generator, shift: float) -> tuple[np.ndarray, int | None]:
    """Parts that shift, and the part that raises the signal."""
    z = rng.standard_normal(_BEFORE + _SEARCHED + 220)
    z[_BEFORE:] += shift
    told = _signals(z[: _BEFORE + _SEARCHED])
    return z, told[0].first if told else None


@dataclass(frozen=True)
class Ending:
    """What became of a signal.

    Attributes
    ----------
    cleared
        It cleared, with the event as its cure.
    alone
        It ended without the event ("did not last").
    again
        The level raised another signal afterwards.
    """

    cleared: bool
    alone: bool
    again: bool


@dataclass(frozen=True)
class EventLoop:
    """A shift after 60 parts, an event 15 parts after the signal that cures it or not, 120 parts more."""

    shift: float
    cures: bool

    def __call__(self, runs: int, rng: np.random.Generator) -> list[Ending | None]:
        """What became of each signal, None where there was none."""
        return [self._one(rng) for _ in range(runs)]

    def _one(self, rng: np.random.Generator) -> Ending | None:
        z, first = _shifted(rng, self.shift)
        if first is None:
            return None
        event = first + _TO_EVENT
        value = z[: event + 120]
        if self.cures:
            value[event:] -= self.shift
        told = _signals(value, cures=[Cure(event, 5)])
        status = told[0].status
        return Ending(status == "cleared" and told[0].cure == 5, status == "back", len(told) > 1)


@dataclass(frozen=True)
class NoEventLoop:
    """A shift after 60 parts that stays, or ends so many parts after the signal; no event."""

    shift: float
    lasts: int | None

    def __call__(self, runs: int, rng: np.random.Generator) -> list[bool | None]:
        """Was each signal said to have gone by itself?"""
        return [self._one(rng) for _ in range(runs)]

    def _one(self, rng: np.random.Generator) -> bool | None:
        z, first = _shifted(rng, self.shift)
        if first is None:
            return None
        value = z[: first + WATCHED]
        if self.lasts is not None:
            value[first + 1 + self.lasts :] -= self.shift
        return _signals(value)[0].status == "back"


@dataclass(frozen=True)
class AcceptedLoop:
    """A shift that a person accepts as the new level ten parts after the signal, 200 parts more."""

    shift: float

    def __call__(self, runs: int, rng: np.random.Generator) -> list[bool | None]:
        """Did the level alarm again?"""
        return [self._one(rng) for _ in range(runs)]

    def _one(self, rng: np.random.Generator) -> bool | None:
        z, first = _shifted(rng, self.shift)
        if first is None:
            return None
        closing = Closing(LEVEL, first, first + 10, "new level accepted")
        return len(_signals(z[: first + 210], closings=[closing])) > 1
