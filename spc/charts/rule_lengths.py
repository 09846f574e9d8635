"""How many points pass until a set of run rules alarms: by Markov chain, or by simulation where it must be."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from spc.charts.run_rules import Rule, broken
from spc.errors import SpcError
from spc.shown import Shown

MOST_STATES = 60_000
_RUNS = 8_000
_BLOCK = 512


@dataclass(frozen=True)
class RunLength(Shown):
    """Average number of points up to and with the first alarm.

    Attributes
    ----------
    average : float
    standard_error : float
        0 where it was computed, the Monte Carlo error where it was simulated.
    """

    average: float
    standard_error: float


def run_length(rules: Sequence[Rule], shift: float = 0.0, *, runs: int = _RUNS, seed: int = 0) -> RunLength:
    """Average run length of a set of rules on independent normal points with known centre and sigma.

    Rules about zones are followed exactly by a Markov chain whose states are what the rules remember. Rules
    about neighbours (rising, in turn) depend on the values themselves and are simulated.

    Parameters
    ----------
    rules : sequence of Rule
        At least one.
    shift : float
        Of the mean, from the first point on. [sigma]
    runs, seed : int
        Of a simulation; the same seed gives the same result.

    Returns
    -------
    RunLength

    Raises
    ------
    SpcError
        No rule; a shift that is not finite; a set with more than `MOST_STATES` states.

    References
    ----------
    .. [1] Champ, C. W. & Woodall, W. H. (1987), Technometrics 29, 393-399 (chain and tables; from memory).
    """
    if not rules:
        raise SpcError("a set of run rules has at least one rule")
    if not math.isfinite(shift):
        raise SpcError(f"a shift is a number of sigma; got {shift}")
    if any(rule.kind in ("trend", "alternation") for rule in rules):
        return _simulated(rules, shift, runs, np.random.default_rng(seed))
    cuts, following = _chain(tuple(rules))
    return RunLength(_solve(_chances(cuts, shift), following), 0.0)


def run_lengths(rules: Sequence[Rule], shifts: Sequence[float]) -> NDArray[np.float64]:
    """Average run lengths at several shifts, with one chain for all of them.

    Parameters
    ----------
    rules : sequence of Rule
        About zones only.
    shifts : sequence of float
        [sigma]

    Returns
    -------
    array, shape (len(shifts),)

    Raises
    ------
    SpcError
        As `run_length`, or a rule is about neighbours.
    """
    if any(rule.kind in ("trend", "alternation") for rule in rules):
        raise SpcError("rules about neighbours have no chain of zones; use run_length, which simulates them")
    if not rules:
        raise SpcError("a set of run rules has at least one rule")
    cuts, following = _chain(tuple(rules))
    return np.array([_solve(_chances(cuts, float(shift)), following) for shift in shifts])


def _chances(cuts: list[float], shift: float) -> NDArray[np.float64]:
    from scipy.special import ndtr

    # Differences of upper tails keep small chances on the upper side.
    below = np.concatenate([[0.0], ndtr(np.array(cuts) - shift), [1.0]])
    return np.diff(below)


def _chain(rules: tuple[Rule, ...]) -> tuple[list[float], NDArray[np.int_]]:
    """Cuts between letters, and the state that follows each state and letter; -1 is the alarm."""
    zones = {rule.zone for rule in rules}
    cuts = sorted({z for zone in zones for z in (zone, -zone)})
    edges = [-math.inf, *cuts, math.inf]
    middle = [(max(low, -50.0) + min(high, 50.0)) / 2 for low, high in pairwise(edges)]
    tests: list[tuple[list[bool], int, int]] = []
    for rule in rules:
        if rule.kind == "within":
            tests.append(([abs(m) < rule.zone for m in middle], rule.count, rule.of))
        elif rule.kind == "either side":
            tests.append(([abs(m) > rule.zone for m in middle], rule.count, rule.of))
        else:
            tests.append(([m > rule.zone for m in middle], rule.count, rule.of))
            tests.append(([m < -rule.zone for m in middle], rule.count, rule.of))
    start: tuple[int, ...] = (0,) * len(tests)
    number: dict[tuple[int, ...], int] = {start: 0}
    order: list[tuple[int, ...]] = [start]
    following: list[list[int]] = []
    for state in order:
        row = []
        for letter in range(len(middle)):
            new = _step(state, letter, tests)
            if new is None:
                row.append(-1)
                continue
            if new not in number:
                if len(number) >= MOST_STATES:
                    raise SpcError(
                        f"this set of rules remembers more than {MOST_STATES} states; leave some out"
                    )
                number[new] = len(order)
                order.append(new)
            row.append(number[new])
        following.append(row)
    return cuts, np.array(following)


def _step(
    state: tuple[int, ...], letter: int, tests: list[tuple[list[bool], int, int]]
) -> tuple[int, ...] | None:
    """What each test remembers next: a count of points in a row, or the bits of its window; None = alarm."""
    new = []
    for memory, (member, count, of) in zip(state, tests, strict=True):
        hit = member[letter]
        if count == of:
            held = memory + 1 if hit else 0
            if held >= count:
                return None
        else:
            held = (memory << 1 | hit) & ((1 << (of - 1)) - 1)
            if hit and bin(memory & ((1 << (of - 1)) - 1)).count("1") + 1 >= count:
                return None
            # Old members that can no longer help to complete the pattern are forgotten.
            while held and not _helps(held, count, of):
                held &= ~(1 << (held.bit_length() - 1))
        new.append(held)
    return tuple(new)


def _helps(bits: int, count: int, of: int) -> bool:
    """Whether the oldest member could still be one of `count` within a window of `of`."""
    age = bits.bit_length()
    return bin(bits).count("1") + (of - age) >= count


def _solve(chance: NDArray[np.float64], following: NDArray[np.int_]) -> float:
    from scipy.sparse import csr_matrix, identity
    from scipy.sparse.linalg import spsolve

    states, letters = following.shape
    kept = following.ravel() >= 0
    rows = np.repeat(np.arange(states), letters)[kept]
    weights = np.tile(chance, states)[kept]
    moves = csr_matrix((weights, (rows, following.ravel()[kept])), shape=(states, states))
    lengths = spsolve((identity(states, format="csr") - moves).tocsc(), np.ones(states))
    return float(np.asarray(lengths).flat[0])


def _simulated(rules: Sequence[Rule], shift: float, runs: int, rng: np.random.Generator) -> RunLength:
    """Blocks of points for all runs at once; a run keeps enough of its past for the longest rule."""
    keep = max(rule.of for rule in rules)
    past = np.full((runs, keep), np.nan)
    alive = np.arange(runs)
    length = np.zeros(runs)
    done = 0
    while alive.size:
        z = np.concatenate([past, shift + rng.standard_normal((alive.size, _BLOCK))], axis=1)
        hit = np.zeros(z.shape, dtype=bool)
        for rule in rules:
            hit |= broken(z, rule)
        hit = hit[:, keep:]
        ended = hit.any(axis=1)
        length[alive[ended]] = done + hit[ended].argmax(axis=1) + 1
        past, alive, done = z[~ended, -keep:], alive[~ended], done + _BLOCK
    return RunLength(float(length.mean()), float(length.std(ddof=1) / math.sqrt(runs)))
