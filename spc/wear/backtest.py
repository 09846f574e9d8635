"""What was forecast of each finished life at a quarter, a half and three quarters of it, against what happened."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spc.process import Floats, Ints
from spc.wear.forecast import Limits, left_before, value_at
from spc.wear.model import WearRows, fit_wear

SHARES = (0.25, 0.5, 0.75)
_LAST = 5
"""Parts whose mean stands for where a life ended."""


@dataclass(frozen=True)
class Tried:
    """One forecast of a finished life.

    Attributes
    ----------
    life
        Its number.
    share
        Of the life that had passed.
    now, length
        Uses then and in the end.
    value10, value50, value90
        Where its last parts were expected; and `value`, where they came. [unit of the values]
    left10, left50, left90
        Uses left before a limit, as forecast then; None where too far off to say.
    left
        What was left when the limit was reached; None for a life that ended before.
    """

    life: int
    share: float
    now: float
    length: float
    value10: float
    value50: float
    value90: float
    value: float
    left10: float | None
    left50: float | None
    left90: float | None
    left: float | None

    @property
    def value_held(self) -> bool:
        """The end lay in its 80 % range."""
        return self.value10 <= self.value <= self.value90

    @property
    def left_held(self) -> bool | None:
        """The limit was reached within the 80 % range; for a life that ended before it, None."""
        if self.left is None:
            return None
        low = np.inf if self.left10 is None else self.left10
        high = np.inf if self.left90 is None else self.left90
        return bool(low <= self.left <= high)


@dataclass(frozen=True)
class Backtest:
    """All forecasts of finished lives, and how they did.

    Attributes
    ----------
    tried
        In order of life and share.
    untold
        Finished lives of which nothing could be forecast: too few before them.
    """

    tried: tuple[Tried, ...]
    untold: int

    def coverage(self, share: float) -> tuple[int, int]:
        """Lives that ended within their 80 % range, of how many, at that share."""
        held = [t.value_held for t in self.tried if t.share == share]
        return sum(held), len(held)

    def bias(self, share: float) -> float:
        """Mean of what came less what was expected at that share; NaN without any. [unit of the values]"""
        errors = [t.value - t.value50 for t in self.tried if t.share == share]
        return float(np.mean(errors)) if errors else float("nan")

    def left_coverage(self) -> tuple[int, int]:
        """Forecasts of uses left that held, of those of lives that reached a limit."""
        held = [t.left_held for t in self.tried if t.left_held is not None]
        return sum(held), len(held)


def backtest(
    rows: WearRows, finished: Ints, clean: Ints, limits: Limits, signal_at: dict[int, float]
) -> Backtest:
    """Forecast every finished life from nothing but what was known before, and compare.

    Parameters
    ----------
    rows
        Parts in lives, in order.
    finished
        Numbers of finished lives, oldest first.
    clean
        Those of them without a signal; only these teach later ones.
    limits
        Of the families.
    signal_at
        Uses at which a life raised a signal, by its number.

    Returns
    -------
    Backtest
        A life needs at least 4 clean ones before it and 12 parts of its own.

    Notes
    -----
    A limit is reached where the running mean of 5 parts first lies beyond it.
    """
    tried, untold = [], 0
    for number in finished:
        mine = rows.of(rows.life == number)
        before = clean[clean < number]
        fit = fit_wear(rows, before)
        if fit is None or mine.value.size < 12 or not np.isin(mine.group, fit.groups).all():
            untold += 1
            continue
        longest = max(float(rows.uses[np.isin(rows.life, before)].max()), fit.scale)
        length = float(mine.uses[-1])
        earlier = finished[finished < number]
        kinked = int((~np.isin(earlier, clean)).sum())
        reached = _reached(mine, limits)
        for share in SHARES:
            now = share * length
            seen = mine.of(mine.uses < now)
            if seen.value.size < 3:
                continue
            told = signal_at.get(int(number), np.inf) <= now
            ahead = max(longest, now)
            left = left_before(seen, now, limits, fit, ahead, kinked, len(earlier), told)
            ends = mine.uses[-_LAST:]
            value = value_at(seen, ends, mine.group[-_LAST:], fit, ahead, kinked, len(earlier), told)
            tried.append(
                Tried(
                    int(number), share, now, length, *value, float(mine.value[-_LAST:].mean()),
                    left.p10, left.p50, left.p90, reached - now if reached is not None and reached > now else None,
                )
            )  # fmt: skip
    return Backtest(tuple(tried), untold)


def _reached(mine: WearRows, limits: Limits) -> float | None:
    """Uses at which a running mean of 5 parts first lay beyond a limit of its family."""
    where = {int(code): i for i, code in enumerate(limits.group)}
    for i in range(_LAST - 1, mine.value.size):
        at = where.get(int(mine.group[i]))
        if at is None:
            continue
        mean = float(np.mean(mine.value[i - _LAST + 1 : i + 1]))
        if mean < _or(limits.lower[at], -np.inf) or mean > _or(limits.upper[at], np.inf):
            return float(mine.uses[i])
    return None


def _or(limit: Floats | float, other: float) -> float:
    return float(limit) if np.isfinite(limit) else other
