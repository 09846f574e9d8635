"""Step test for the level: has the mean of the scores moved at any time since watching began?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spc.process import Bools, Floats, Ints
from spc.score.step_limits import CLIP, LIMITS, RUN_LENGTHS, SCORES, WINDOW

__all__ = ["CLIP", "WINDOW", "ScoreStream", "Steps", "step_limit", "step_run_length", "steps"]

_LOG_SCORES = np.log(np.array(SCORES))
_LOG_LENGTHS = np.log(np.array(RUN_LENGTHS, float))
_TABLE = np.array(LIMITS)
_LONGEST = 1e15


@dataclass(frozen=True)
class ScoreStream:
    """Scores along the parts, with what is needed to know how a step shows in them.

    Attributes
    ----------
    score
        (n,) scores, held within +-3; NaN where a part has none.
    strength
        (n,) number of earlier parts that the expectation rests on (effective, within the stream).
    stream
        (n,) number of the recursion; a step moves all of them.
    episode
        (n,) level epoch or tool life of the part; non-decreasing along each stream.
    carry
        (n,) strength at the start of the episode that a step before it cannot touch: 0 when the level
        was learned anew there.
    reach
        (n,) strength of what outlives the episodes, which a step is learned into as they pass; all 1 when
        nothing is.
    final
        (n,) True where the score stands for good; False for the score of a day that goes on.
    """

    score: Floats
    strength: Floats
    stream: Ints
    episode: Ints
    carry: Floats
    reach: Floats
    final: Bools


@dataclass(frozen=True)
class Steps:
    """Step statistic of consecutive parts.

    Attributes
    ----------
    statistic
        (b,) largest standardised step; NaN where the part has no score.
    change
        (b,) index of the first part after the likeliest step.
    shift
        (b,) its size in standard deviations of a part, signed.
    starts, profile
        Candidate first changed parts of the last part with a score, and the statistic of each.
    """

    statistic: Floats
    change: Ints
    shift: Floats
    starts: Ints
    profile: Floats


def steps(data: ScoreStream, start: int, stop: int, watch_from: int) -> Steps:
    """Step statistic after each of the parts start..stop-1.

    Parameters
    ----------
    data
        Scores of all parts up to stop.
    start, stop
        Parts to answer for.
    watch_from
        First part that counts; earlier scores are not looked at.

    Returns
    -------
    Steps

    Notes
    -----
    T = max over c of |sum g z| / sqrt(sum g^2), sums over the parts from c on, with
    g = (n0 / n) sqrt(n / (n + 1)), n the earlier parts at a part and n0 those at c, because the
    expectation learns the step and the scores fade (follows from the recursive residuals of Brown,
    Durbin and Evans 1975). c runs over the last 300 parts with scores. Several streams add up.
    """
    size = stop - watch_from
    rows = np.arange(watch_from, stop)
    z = np.clip(data.score[rows], -CLIP, CLIP)
    strength = data.strength[rows]
    scored = np.isfinite(z) & (strength > 0)
    statistic = np.full(stop - start, np.nan)
    change = np.full(stop - start, -1, np.int64)
    shift = np.full(stop - start, np.nan)
    none = np.zeros(0, np.int64)
    if not scored.any():
        return Steps(statistic, change, shift, none, np.zeros(0))
    final = data.final[rows]
    opens = np.ones(size, bool)
    opens[1:] = final[:-1]
    fade = np.where(scored, 1.0 / np.sqrt(np.where(scored, strength * (strength + 1.0), 1.0)), 0.0)
    part = np.where(scored, z * fade, 0.0)
    # A step begins at a part with a score; within a day, at the day's first part.
    rank = np.cumsum(scored & final)
    begins = np.flatnonzero(opens & _opens_scored(scored, final))
    wanted = np.flatnonzero(scored & (rows >= start))
    if not wanted.size or not begins.size:
        return Steps(statistic, change, shift, none, np.zeros(0))
    begin_rank = rank[begins] - (scored & final)[begins]
    near = begin_rank >= (rank[wanted[0]] - WINDOW)
    begins, begin_rank = begins[near], begin_rank[near]
    total = np.zeros((wanted.size, begins.size))
    square = np.zeros_like(total)
    for number in np.unique(data.stream[rows][scored]):
        own = data.stream[rows] == number
        _add_stream(total, square, number == data.stream[rows][wanted], own & scored, wanted, begins,
                    part, fade, strength, data.episode[rows], data.carry[rows], data.reach[rows], final)  # fmt: skip
    allowed = begins[None, :] <= wanted[:, None]
    allowed &= begin_rank[None, :] > (rank[wanted] - (scored & final)[wanted])[:, None] - WINDOW
    allowed &= square > 1e-12
    root = np.sqrt(np.where(allowed, square, 1.0))
    profile = np.where(allowed, np.abs(total) / root, -1.0)
    best = profile.argmax(axis=1)
    line = np.arange(wanted.size)
    found = profile[line, best] >= 0.0
    spot = wanted + watch_from - start
    statistic[spot] = np.where(found, profile[line, best], np.nan)
    change[spot] = np.where(found, begins[best] + watch_from, -1)
    shift[spot] = np.where(found, total[line, best] / root[line, best] ** 2, np.nan)
    last = allowed[-1]
    return Steps(statistic, change, shift, begins[last] + watch_from, profile[-1, last])


def step_sums(data: ScoreStream, change: int, stop: int) -> tuple[float, float]:
    """Sums of g z and of g^2 over the parts change..stop-1, for a step at change.

    Parameters
    ----------
    data
        Scores of all parts up to stop.
    change, stop
        First part after the step, and one past the last part that counts.

    Returns
    -------
    total, square
        As in the statistic of `steps`; 0 without scores.
    """
    rows = np.arange(change, stop)
    score = np.clip(data.score[rows], -CLIP, CLIP)
    counted = np.isfinite(score) & (data.strength[rows] > 0) & data.final[rows]
    total = square = 0.0
    for number in np.unique(data.stream[rows][counted]):
        own = np.flatnonzero(counted & (data.stream[rows] == number))
        strength, episode = data.strength[rows][own], data.episode[rows][own]
        reach = data.reach[rows][own]
        before = np.where(episode == episode[0], strength[0], data.carry[rows][own] * reach[0] / reach)
        weight = before / np.sqrt(strength * (strength + 1.0))
        total += float((weight * score[own]).sum())
        square += float((weight**2).sum())
    return total, square


def _opens_scored(scored: Bools, final: Bools) -> Bools:
    """For every part: does its day, from this part on, hold a score?"""
    day = np.concatenate([[0], np.cumsum(final)[:-1]])
    return np.bincount(day, weights=scored)[day] > 0


def _add_stream(
    total: Floats,
    square: Floats,
    mine: Bools,
    own: Bools,
    wanted: Ints,
    begins: Ints,
    part: Floats,
    fade: Floats,
    strength: Floats,
    episode: Ints,
    carry: Floats,
    reach: Floats,
    final: Bools,
) -> None:
    """Add one stream's share to the sums of every part (rows) and every start of a step (columns)."""
    places = np.flatnonzero(own)
    counted = own & final
    sums = np.concatenate([[0.0], np.cumsum(np.where(counted, part, 0.0))])
    squares = np.concatenate([[0.0], np.cumsum(np.where(counted, fade**2, 0.0))])
    # The first part of this stream at or after each start tells how much was learned before the step.
    following = np.searchsorted(places, begins)
    exists = following < places.size
    first = places[np.minimum(following, places.size - 1)]
    before = np.where(exists, strength[first], 0.0)
    step_sum = np.subtract.outer(sums[wanted] + np.where(mine, part[wanted], 0.0), sums[begins])
    step_square = np.subtract.outer(squares[wanted] + np.where(mine, fade[wanted] ** 2, 0.0), squares[begins])
    end = _episode_ends(places, episode, own.size)[np.minimum(following, places.size - 1)]
    if not (end[exists] <= wanted[-1]).any():
        total += before * step_sum
        square += before**2 * step_square
        return
    # Past the end of the episode in which the step falls, its effect is the carried strength's, less what
    # outlives the episodes has learned of it since.
    carry = carry / reach
    lasting = np.where(exists, reach[first], 0.0)
    carried = np.concatenate([[0.0], np.cumsum(np.where(counted, carry * part, 0.0))])
    carried_square = np.concatenate([[0.0], np.cumsum(np.where(counted, (carry * fade) ** 2, 0.0))])
    over = end[None, :] <= wanted[:, None]
    stop = np.minimum(end, own.size)
    late = carried[wanted] + np.where(mine, (carry * part)[wanted], 0.0)
    late_square = carried_square[wanted] + np.where(mine, (carry * fade)[wanted] ** 2, 0.0)
    total += np.where(
        over,
        before * (sums[stop] - sums[begins]) + lasting * np.subtract.outer(late, carried[stop]),
        before * step_sum,
    )
    square += np.where(
        over,
        before**2 * (squares[stop] - squares[begins])
        + lasting**2 * np.subtract.outer(late_square, carried_square[stop]),
        before**2 * step_square,
    )


def _episode_ends(places: Ints, episode: Ints, size: int) -> Ints:
    """For every part of a stream: index of its first part in a later episode, or size when there is none."""
    own = episode[places]
    edges = np.flatnonzero(own[1:] != own[:-1]) + 1
    ends = np.append(places[edges], size)
    return ends[np.searchsorted(edges, np.arange(places.size), side="right")]


def step_limit(run_length: Floats, scores: Floats) -> Floats:
    """Limit of the step statistic for an in-control run length, by number of scores watched.

    Parameters
    ----------
    run_length
        In-control run length in scores, more than 1.
    scores
        Scores since watching, or the level, began; same shape.

    Returns
    -------
    ndarray
        Limits.

    Notes
    -----
    Simulated (spc/score/step_limits.py, 500,000 runs); at each number of scores the chance of an alarm, given
    none so far, is 1 / run_length. Interpolated linearly in the logarithms; beyond the longest simulated
    run length continued as run length ~ exp(T^2 / 2).
    """
    logs = np.log(np.asarray(run_length, float))
    curve = _curves(np.asarray(scores, float))
    answer = _interpolate(logs, np.broadcast_to(_LOG_LENGTHS, curve.shape), curve)
    far = np.sqrt(curve[..., -1] ** 2 + 2.0 * np.maximum(logs - _LOG_LENGTHS[-1], 0.0))
    return np.where(logs > _LOG_LENGTHS[-1], far, answer)


def step_run_length(statistic: Floats, scores: Floats) -> Floats:
    """In-control run length of a step test whose limit equals each statistic; 1 to 1e15."""
    value = np.asarray(statistic, float)
    curve = _curves(np.asarray(scores, float))
    logs = _interpolate(value, curve, np.broadcast_to(_LOG_LENGTHS, curve.shape))
    far = _LOG_LENGTHS[-1] + (value**2 - curve[..., -1] ** 2) / 2.0
    logs = np.where(value > curve[..., -1], far, logs)
    return np.exp(np.clip(logs, 0.0, np.log(_LONGEST)))


def _curves(scores: Floats) -> Floats:
    """Limits by run length (last axis) at each number of scores."""
    at = np.log(np.clip(scores, SCORES[0], SCORES[-1]))
    right = np.clip(np.searchsorted(_LOG_SCORES, at), 1, len(SCORES) - 1)
    share = (at - _LOG_SCORES[right - 1]) / (_LOG_SCORES[right] - _LOG_SCORES[right - 1])
    return (_TABLE[:, right - 1] * (1.0 - share) + _TABLE[:, right] * share).T


def _interpolate(at: Floats, x: Floats, y: Floats) -> Floats:
    """Straight lines through (x, y) along the last axis, one curve per entry of at, ends continued."""
    right = np.clip((x < at[..., None]).sum(axis=-1), 1, x.shape[-1] - 1)[..., None]
    x0, x1 = np.take_along_axis(x, right - 1, -1)[..., 0], np.take_along_axis(x, right, -1)[..., 0]
    y0, y1 = np.take_along_axis(y, right - 1, -1)[..., 0], np.take_along_axis(y, right, -1)[..., 0]
    return y0 + (at - x0) * (y1 - y0) / (x1 - x0)
