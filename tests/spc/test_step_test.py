"""The step statistic by definition, and its limits by properties."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.score.step_limits import CLIP, WINDOW
from spc.score.step_test import ScoreStream, step_limit, step_run_length, step_sums, steps


def stream(score, strength, stream_of=None, episode=None, carry=None, final=None, reach=None) -> ScoreStream:
    n = len(score)
    zero = np.zeros(n, int)
    return ScoreStream(
        np.asarray(score, float),
        np.asarray(strength, float),
        zero if stream_of is None else stream_of,
        zero if episode is None else episode,
        np.zeros(n) if carry is None else carry,
        np.ones(n) if reach is None else reach,
        np.ones(n, bool) if final is None else final,
    )


def by_definition(data: ScoreStream, at: int, watch_from: int = 0) -> float:
    """Largest standardised step over every start, straight from the formula of g."""
    best = 0.0
    rows = [t for t in range(watch_from, at + 1) if np.isfinite(data.score[t]) and data.strength[t] > 0]
    for start in rows[-WINDOW:]:
        total = square = 0.0
        first: dict[int, int] = {}
        for t in rows:
            if t < start:
                continue
            first.setdefault(int(data.stream[t]), t)
            head = first[int(data.stream[t])]
            lasting = data.carry[t] * data.reach[head] / data.reach[t]
            before = data.strength[head] if data.episode[head] == data.episode[t] else lasting
            n = data.strength[t]
            g = before / n * np.sqrt(n / (n + 1))
            total += g * np.clip(data.score[t], -CLIP, CLIP)
            square += g * g
        if square > 0:
            best = max(best, abs(total) / np.sqrt(square))
    return best


@pytest.mark.parametrize("case", ["one stream", "three streams", "lives", "restarts", "days", "gaps"])
def test_statistic_by_definition(case):
    rng = np.random.default_rng(len(case))
    n = 40
    score = 1.5 * rng.standard_normal(n)
    of = rng.choice(3, n) if case == "three streams" else np.zeros(n, int)
    strength = np.array([1.0 + (of[:t] == of[t]).sum() for t in range(n)])
    episode, carry = np.zeros(n, int), np.zeros(n)
    reach = np.ones(n)
    if case in ("lives", "restarts", "days"):
        episode = np.arange(n) // 12
        strength = 2.0 + np.arange(n) % 12
        if case == "lives":
            carry[:] = 2.0
    if case == "days":
        episode = np.arange(n) // 3
        strength, carry, reach = 1.5 + np.arange(n) % 3, 1.5 + np.arange(n) / n, 1.0 + np.arange(n) // 3
    if case == "gaps":
        score[::4] = np.nan
    data = stream(score, strength, of, episode, carry, reach=reach)
    for start, stop, begin in ((0, n, 0), (20, 33, 5), (39, n, 30)):
        found = steps(data, start, stop, begin)
        for at in range(start, stop):
            if np.isfinite(score[at]):
                assert found.statistic[at - start] == pytest.approx(by_definition(data, at, begin), rel=1e-9)
            else:
                assert np.isnan(found.statistic[at - start])


def test_a_clean_step_is_dated_and_sized():
    n = 60
    z = np.where(np.arange(n) < 30, 0.0, 1.0)
    data = stream(z, np.full(n, 1e9))
    found = steps(data, n - 1, n, 0)
    assert (found.change[0], found.shift[0]) == (30, pytest.approx(1.0))
    assert step_sums(data, 30, n) == (pytest.approx(30.0), pytest.approx(30.0))


def test_a_day_that_goes_on_counts_once():
    # two days; the second has three running scores, of which the last stands
    score = np.array([1.0, 0.4, 0.8, 2.0])
    data = stream(score, np.full(4, 1e9), final=np.array([True, False, False, True]))
    found = steps(data, 0, 4, 0)
    expected = [1.0, max(0.4, 1.4 / np.sqrt(2)), max(0.8, 1.8 / np.sqrt(2)), max(2.0, 3.0 / np.sqrt(2))]
    np.testing.assert_allclose(found.statistic, expected, rtol=1e-6)


@given(st.floats(200, 1e8), st.floats(8, 2_000))
def test_limit_and_run_length_are_inverse(run_length, scores):
    limit = step_limit(np.array([run_length]), np.array([scores]))
    assert step_run_length(limit, np.array([scores]))[0] == pytest.approx(run_length, rel=1e-6)


@given(st.floats(2.5, 12.0), st.floats(8, 500), st.floats(0.01, 3.0))
def test_larger_steps_are_rarer(statistic, scores, more):
    at = np.array([scores, scores])
    low, high = step_run_length(np.array([statistic, statistic + more]), at)
    assert high > low or high == pytest.approx(1e15)
