"""Trends and steps: by property, by simulation, at the border."""

from __future__ import annotations

import itertools
import math
import sys

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
    assert plain / 300 > 0.18
    assert wrong / 300 < 0.05 + 2.5 * math.sqrt(0.05 * 0.95 / 300)


@pytest.mark.slow
@pytest.mark.parametrize(("n", "phi", "at_most"), [
    (20, 0.0, 0.05), (20, 0.5, 0.075), (30, 0.5, 0.06), (30, 0.7, 0.075), (60, 0.7, 0.06), (120, 0.7, 0.05),
    (300, 0.9, 0.05),
])  # fmt: skip
def test_a_trend_alarms_as_seldom_as_it_says_in_long_runs(n, phi, at_most):
    rng = np.random.default_rng([n, int(10 * phi)])
    found = [trend(with_memory(rng, n + 60, phi)[60:]) for _ in range(1_000)]
    share = np.mean([one.p_value < 0.05 for one in found])
    sys.stdout.write(
        f"\ntrend of {n} values, memory {phi:g}: alarms {share:.3f} +- {math.sqrt(share / 1_000):.3f}"
    )
    assert share <= at_most + 2.5 * math.sqrt(at_most / 1_000)


def test_a_slope_that_is_there_is_found():
    rng = np.random.default_rng(8)
    y = [with_memory(rng, 100, 0.3) + 0.03 * np.arange(100) for _ in range(100)]
    assert np.mean([trend(one).p_value < 0.05 for one in y]) > 0.8


def test_a_slow_wave_in_few_values_is_named():
    wave = np.sin(np.linspace(0, 5, 25)) + np.random.default_rng(9).normal(0, 0.05, 25)
    found = trend(wave)
    assert found.memory > 0.6
    assert "slow wave" in found.warnings[0]
    assert trend(np.random.default_rng(10).normal(size=25)).warnings == ()


def test_neighbours_summed_are_those_of_the_general_library():
    from statsmodels.regression.linear_model import OLS

    y = with_memory(np.random.default_rng(11), 60, 0.4)
    x = np.arange(60.0)
    fit = OLS(y, np.column_stack([np.ones(60), x])).fit(
        cov_type="HAC", cov_kwds={"maxlags": 3, "use_correction": True}, use_t=True
    )
    found = trend(y, lags=3)
    assert found.p_value == pytest.approx(fit.pvalues[1], rel=1e-6)
    assert (found.slope.lower, found.slope.upper) == pytest.approx(tuple(fit.conf_int()[1]), rel=1e-6)


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
