"""Where the level of a finished series stepped: best places for any number of steps, and tests of a single one.

For looking back; the assessment has its own step test for parts as they come.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.errors import SpcError, TooFewReadings
from spc.shown import Shown
from spc.variation import finite_series, has_spread

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Steps(Shown):
    """Best places for a number of steps.

    Attributes
    ----------
    count : int
        How many steps.
    last : tuple of int
        Number of values before each step: the step comes after that many.
    levels : tuple of float
        Mean of each piece. [unit]
    squares : float
        Sum of squares around the levels. [unit squared]
    criterion : float
        Schwarz's: smaller is better. [-]
    """

    count: int
    last: tuple[int, ...]
    levels: tuple[float, ...]
    squares: float
    criterion: float


@dataclass(frozen=True)
class StepByRanks(Shown):
    """Pettitt's test for one step.

    `k` is the statistic, `last` the values before the step, `p_value` approximate.
    """

    k: int
    last: int
    p_value: float


@dataclass(frozen=True)
class TiedStep(Shown):
    """A step and the logged event nearest before or after it; `apart` is event less step, in values."""

    last: int
    event: int | None
    apart: int | None


def best_steps(values: ArrayLike, most: int = 5, *, shortest: int | None = None) -> tuple[Steps, ...]:
    """Best places for 0, 1 ... `most` steps of the level, by exact search.

    Parameters
    ----------
    values : array-like, shape (n,)
        In order of machining. [any unit]
    most : int
        Largest number of steps looked at.
    shortest : int, optional
        Fewest values between steps; 15 % of all by default, at least 2.

    Returns
    -------
    tuple of Steps
        By number of steps; the one with the smallest criterion is the one to believe. Fewer than asked where
        the values do not hold so many.

    Raises
    ------
    TooFewReadings
        Fewer than 2 pieces of the shortest length.
    SpcError
        A value is not finite, all are equal, or a number is out of range.

    References
    ----------
    .. [1] Bai, J. & Perron, P. (2003), Journal of Applied Econometrics 18, 1-22 (dynamic programming; from
       memory). The Nile flow of Zeileis et al. (2003) is in the tests.
    """
    y = finite_series(values, "a search for steps", 4)
    n = y.size
    h = max(2, int(0.15 * n)) if shortest is None else shortest
    if h < 1 or most < 0:
        raise SpcError(f"pieces hold at least 1 value and steps count from 0; got {shortest} and {most}")
    if n < 2 * h:
        raise TooFewReadings("a search for steps", f"{2 * h} values", int(n))
    if not has_spread(float(np.std(y - y[0])), y):
        raise SpcError("all values are equal: the level does not step")
    cost = _costs(y)
    best = np.full((most + 1, n + 1), np.inf)
    came = np.zeros((most + 1, n + 1), dtype=int)
    best[0, h:] = cost[0, h:]
    for k in range(1, most + 1):
        for end in range((k + 1) * h, n + 1):
            tries = best[k - 1, : end - h + 1] + cost[: end - h + 1, end]
            came[k, end] = int(np.argmin(tries))
            best[k, end] = tries[came[k, end]]
    found = []
    for k in range(most + 1):
        if not math.isfinite(best[k, n]):
            break
        ends, end = [n], n
        for step in range(k, 0, -1):
            end = int(came[step, end])
            ends.append(end)
        edges = [0, *ends[::-1]]
        levels = tuple(float(y[a:b].mean()) for a, b in pairwise(edges))
        squares = float(best[k, n])
        floor = max(squares, 1e-26 * float(np.sum((y - y[0]) ** 2)))
        # Levels, places and one variance are counted.
        criterion = n * (math.log(floor / n) + math.log(2 * math.pi) + 1) + (2 * k + 2) * math.log(n)
        found.append(Steps(k, tuple(edges[1:-1]), levels, squares, criterion))
    return tuple(found)


def step_by_ranks(values: ArrayLike) -> StepByRanks:
    """One step of the level, by ranks: no normal law is needed.

    Parameters
    ----------
    values : array-like, shape (n,)
        In order, independent; 4 or more. [any unit]

    Returns
    -------
    StepByRanks

    Raises
    ------
    TooFewReadings
        Fewer than 4 values.
    SpcError
        A value is not finite, or all are equal.

    References
    ----------
    .. [1] Pettitt, A. N. (1979), Applied Statistics 28, 126-135 (from memory; his example is in the tests).
    """
    from scipy.stats import rankdata

    y = finite_series(values, "a step by ranks", 4)
    if not np.ptp(y) > 0:
        raise SpcError("all values are equal: the level does not step")
    n = y.size
    ranks = rankdata(y)
    u = 2 * np.cumsum(ranks)[:-1] - np.arange(1, n) * (n + 1)
    k = float(np.abs(u).max())
    return StepByRanks(
        round(k), int(np.abs(u).argmax()) + 1, min(1.0, 2 * math.exp(-6 * k**2 / (n**3 + n**2)))
    )


def one_step_test(values: ArrayLike, *, shortest: float = 0.15) -> tuple[float, int]:
    """Largest F over all places of one step, pieces at the ends left out.

    Parameters
    ----------
    values : array-like, shape (n,)
        In order. [any unit]
    shortest : float
        Share left out at either end, within 0 and one half.

    Returns
    -------
    statistic : float
        Compare with Andrews' limits: 8.85 for 5 % with 15 % left out.
    last : int
        Values before the step.

    Raises
    ------
    TooFewReadings, SpcError
        As `best_steps`.

    References
    ----------
    .. [1] Andrews, D. W. K. (1993), Econometrica 61, 821-856 (from memory).
    """
    if not 0 < shortest < 0.5:
        raise SpcError(f"the share left out lies within 0 and one half; got {shortest}")
    y = finite_series(values, "a search for a step", 8)
    n = y.size
    h = max(2, int(shortest * n))
    (none, one) = best_steps(y, 1, shortest=h)
    rest = max(one.squares, 1e-26 * none.squares)
    return (none.squares - one.squares) / (rest / (n - 2)), one.last[0]


def tie_to_events(steps: Steps, events: Sequence[int], *, within: int = 5) -> tuple[TiedStep, ...]:
    """The logged event that stands nearest to each step.

    Parameters
    ----------
    steps : Steps
    events : sequence of int
        Number of values before each event.
    within : int
        Farthest that an event may stand from a step to be named.

    Returns
    -------
    tuple of TiedStep
    """
    tied = []
    for last in steps.last:
        near = min(events, key=lambda event: abs(event - last), default=None)
        if near is None or abs(near - last) > within:
            tied.append(TiedStep(last, None, None))
        else:
            tied.append(TiedStep(last, near, near - last))
    return tuple(tied)


def _costs(y: Array) -> Array:
    """Sum of squares around its mean of every piece [start, end), by prefix sums of centred values."""
    z = y - y.mean()
    one = np.concatenate([[0.0], np.cumsum(z)])
    two = np.concatenate([[0.0], np.cumsum(z**2)])
    size = np.arange(y.size + 1)[None, :] - np.arange(y.size + 1)[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        cost = (two[None, :] - two[:, None]) - (one[None, :] - one[:, None]) ** 2 / size
    return np.where(size > 0, np.maximum(cost, 0.0), np.inf)
