"""The day component, and scores freed from it."""

import numpy as np
import pytest
from scipy import stats

from spc.score.days import day_component, without_day


def test_component_by_hand():
    rng = np.random.default_rng(1)
    day = np.repeat(np.arange(12), 3)
    score = rng.standard_normal(36) + rng.normal(0, 2, 12)[day]
    groups = [score[day == number] for number in range(12)]
    f = stats.f_oneway(*groups)
    ratio, chance = day_component(score, day)
    assert chance == pytest.approx(f.pvalue, rel=1e-6)
    assert ratio == pytest.approx((f.statistic - 1) / 3, rel=1e-9)


def test_nothing_is_said_of_few_days():
    assert day_component(np.arange(30.0), np.arange(30)) == (0.0, 1.0)


def test_freed_scores_are_independent_again():
    rng = np.random.default_rng(2)
    day = np.repeat(np.arange(6_000), 4)
    score = (rng.standard_normal(24_000) + rng.normal(0, 1.5, 6_000)[day]) / np.sqrt(1 + 2.25)
    freed = without_day(score, day, 2.25).reshape(-1, 4)
    assert stats.kstest(freed.ravel(), "norm").pvalue > 0.001
    assert np.abs(np.corrcoef(freed.T)[np.triu_indices(4, 1)]).max() < 4 / np.sqrt(6_000)


def test_missing_scores_are_passed_over():
    score = np.array([1.0, np.nan, 0.5, -1.0])
    day = np.array([3, 3, 3, 4])
    freed = without_day(score, day, 1.0)
    # c = 1/2, one earlier score: mean 0.5 * 1, variance 3/4
    assert freed[0] == 1.0 and np.isnan(freed[1]) and freed[3] == -1.0
    assert freed[2] == pytest.approx((0.5 - 0.5) / np.sqrt(0.75))
