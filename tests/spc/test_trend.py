"""Trends and steps: by property, by simulation, at the border."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from spc.change.change_points import TiedStep, best_steps, one_step_test, step_by_ranks, tie_to_events
from spc.change.trends import newey_west, rank_trend, trend
from spc.errors import SpcError, TooFewReadings


def with_memory(rng, n: int, phi: float) -> np.ndarray:
    x = np.zeros(n)
    for i in range(n):
        x[i] = phi * x[i - 1] + rng.normal()
    return x


def test_a_slope_is_that_of_least_squares():
    y = np.random.default_rng(1).normal(size=30) + 0.1 * np.arange(30)
    found = trend(y)
    assert found.slope.estimate == pytest.approx(np.polyfit(np.arange(30), y, 1)[0])
    assert found.slope.lower < 0.1 < found.slope.upper


def test_memory_widens_the_interval_to_what_it_should_be():
    rng = np.random.default_rng(2)
    wrong, plain = 0, 0
    for _ in range(300):
        y = with_memory(rng, 120, 0.5)
        wrong += trend(y).p_value < 0.05
        plain += trend(y, lags=0).p_value < 0.05
    # Errors that allow for memory fall short of 5 % with strong memory (13 % here), plain ones by far more.
    assert plain / 300 > 0.18
    assert wrong / 300 < 0.13 + 2.5 * math.sqrt(0.13 * 0.87 / 300)


def test_units_and_direction():
    y = np.random.default_rng(3).normal(size=25) + 0.2 * np.arange(25)
    first, inch, back = trend(y), trend(y / 25.4 + 3), trend(-y)
    assert inch.slope.upper == pytest.approx(first.slope.upper / 25.4)
    assert inch.p_value == pytest.approx(first.p_value)
    assert back.robust_slope.lower == pytest.approx(-first.robust_slope.upper)
    assert back.ranks.s == -first.ranks.s


def test_ranks_equal_the_general_library():
    from scipy.stats import kendalltau

    y = np.random.default_rng(4).normal(size=9)
    theirs = kendalltau(np.arange(9), y, method="exact")
    assert rank_trend(y).tau == pytest.approx(theirs.statistic)
    assert rank_trend(y).p_value == pytest.approx(theirs.pvalue)


def test_the_search_finds_what_trying_everything_finds():
    y = np.random.default_rng(5).normal(size=12)
    found = best_steps(y, 2, shortest=2)[2]
    best = min(
        sum(((piece - piece.mean()) ** 2).sum() for piece in np.split(y, cut))
        for cut in itertools.combinations(range(2, 11), 2)
        if cut[1] - cut[0] >= 2
    )
    assert found.squares == pytest.approx(best)


def test_levels_follow_the_steps():
    y = np.r_[np.zeros(10), np.full(10, 5.0)] + np.random.default_rng(6).normal(0, 0.1, 20)
    found = best_steps(y, 3)
    assert min(found, key=lambda steps: steps.criterion).last == (10,)
    assert found[1].levels == pytest.approx((y[:10].mean(), y[10:].mean()))


def test_a_perfect_step_stays_finite():
    y = np.r_[np.zeros(10), np.ones(10)]
    found = best_steps(y, 2)
    statistic, last = one_step_test(y)
    assert all(math.isfinite(steps.criterion) for steps in found)
    assert math.isfinite(statistic) and last == 10


def test_one_step_alarms_in_five_of_a_hundred():
    rng = np.random.default_rng(7)
    hits = sum(one_step_test(rng.normal(size=80))[0] > 8.85 for _ in range(400))
    assert hits / 400 == pytest.approx(0.05, abs=3 * math.sqrt(0.05 * 0.95 / 400))


def test_steps_are_tied_to_the_nearest_event():
    steps = best_steps(np.r_[np.zeros(10), np.ones(10), np.zeros(10)], 2)[2]
    assert steps.last == (10, 20)
    assert tie_to_events(steps, [9, 27]) == (TiedStep(10, 9, -1), TiedStep(20, None, None))
    assert tie_to_events(steps, []) == (TiedStep(10, None, None), TiedStep(20, None, None))


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        (lambda: trend([1.0, 2.0, 3.0]), TooFewReadings, "4 values"),
        (lambda: trend([1.0] * 9), SpcError, "all values are equal"),
        (lambda: trend([1.0, 2.0, 1.0, 3.0], [0, 1, 2, 1]), SpcError, "must rise"),
        (lambda: trend([1.0, 2.0, 1.0, 3.0], [0, 1, 2, 3, 4]), SpcError, "its place"),
        (lambda: trend([1.0, 2.0, 1.0, 3.0], lags=3), SpcError, "does not fit"),
        (lambda: trend([1.0, math.nan, 1.0, 3.0]), SpcError, "value 2 of 4"),
        (lambda: rank_trend([1.0] * 4), SpcError, "all values are equal"),
        (lambda: best_steps([1.0] * 20), SpcError, "does not step"),
        (lambda: best_steps([1.0, 2.0, 3.0, 4.0], shortest=3), TooFewReadings, "6 values"),
        (lambda: best_steps([1.0, 2.0, 3.0, 4.0], -1), SpcError, "count from 0"),
        (lambda: step_by_ranks([2.0] * 6), SpcError, "does not step"),
        (lambda: one_step_test(np.arange(9.0), shortest=0.5), SpcError, "one half"),
        (lambda: newey_west([[1.0]], [1.0, 2.0], 0), SpcError, "one row"),
        (lambda: newey_west([[1.0, 0.0], [1.0, 1.0]], [1.0, 2.0], 0), TooFewReadings, "3 values"),
    ],
)
def test_refusals_say_what_is_wrong(call, error, words):
    with pytest.raises(error, match=words):
        call()


def test_a_perfect_line_is_answered():
    found = trend(np.arange(30.0))
    assert found.slope.estimate == pytest.approx(1)
    assert math.isfinite(found.p_value) and math.isfinite(found.slope.lower)
