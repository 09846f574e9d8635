"""Intervals of indices, shares and tolerance limits: against scipy, by property, at the border."""

from __future__ import annotations

import math

import numpy as np
import pytest

from spc.errors import SpcError, TooFewReadings
from spc.intervals import (
    binomial_interval,
    bissell_interval,
    one_sided_interval,
    spread_index_interval,
    tolerance_factor,
    upper_limit,
)
from spc.spread import overall_spread, pivotal_draws, within_spread
from spc.strata import split_strata
from spc.variation import moving_range_sigma

PAIRS = np.repeat(np.arange(3), 2)


def nested(seed: int, parts: int = 15) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return (
        rng.normal(size=(parts, 1))
        + 0.5 * rng.normal(size=(parts, 3))[:, PAIRS]
        + 0.4 * rng.normal(size=(parts, 6))
    )


@pytest.mark.parametrize("index", [-1.0, 0.0, 0.3, 1.33, 2.0, 10.0, 60.0])
@pytest.mark.parametrize("n", [2, 3, 5, 30, 500])
def test_one_sided_limits_against_the_noncentral_t_of_scipy(index, n):
    from scipy.stats import nct

    found = one_sided_interval(index, n)
    t = 3 * math.sqrt(n) * index
    assert nct.sf(t, n - 1, 3 * math.sqrt(n) * found.lower) == pytest.approx(0.025, abs=1e-6)
    assert nct.sf(t, n - 1, 3 * math.sqrt(n) * found.upper) == pytest.approx(0.975, abs=1e-6)
    assert found.lower < index < found.upper


def test_one_sided_limits_of_mirrored_indices_mirror():
    one, other = one_sided_interval(1.2, 12), one_sided_interval(-1.2, 12)
    assert (one.lower, one.upper) == pytest.approx((-other.upper, -other.lower))


@pytest.mark.parametrize("n", [5, 20, 200])
def test_the_spread_index_of_plain_values_is_the_chi_square_interval(n):
    from scipy.stats import chi2

    x = np.random.default_rng(n).normal(size=(n, 1))
    spread = overall_spread(split_strata(x))
    found = spread_index_interval(1.5, spread, pivotal_draws(spread, np.random.default_rng(0))[1])
    assert found.lower == pytest.approx(1.5 * math.sqrt(chi2.ppf(0.025, n - 1) / (n - 1)))
    assert found.upper == pytest.approx(1.5 * math.sqrt(chi2.ppf(0.975, n - 1) / (n - 1)))


def test_pivotal_draws_of_plain_values_are_the_exact_laws():
    x = np.random.default_rng(1).normal(10, 2, size=(12, 1))
    spread = overall_spread(split_strata(x))
    mean, sigma = pivotal_draws(spread, np.random.default_rng(3), 200_000)
    from scipy.stats import chi2, t

    s = x.std(ddof=1)
    for tail in (0.025, 0.5, 0.975):
        exact = x.mean() + t.ppf(tail, 11) * s / math.sqrt(12)
        assert np.quantile(mean, tail) == pytest.approx(exact, abs=0.012 * s)
        assert np.quantile(sigma, tail) == pytest.approx(s * math.sqrt(11 / chi2.isf(tail, 11)), rel=0.006)


def test_satterthwaite_by_hand():
    # One level: its own degrees of freedom. Two levels of 1 + 1/2 * 1: (1.5)^2 / (1/4 + 0.25/5).
    from dataclasses import replace

    spread = overall_spread(split_strata(np.random.default_rng(2).normal(size=(9, 1))))
    assert spread.dof == pytest.approx(8)
    two = replace(spread, squares=(1.0, 1.0), dofs=(4.0, 5.0), weights=(1.0, 0.5))
    assert two.variance == 1.5
    assert two.dof == pytest.approx(2.25 / (0.25 + 0.05))


def test_the_upper_limit_is_the_formula():
    from scipy.stats import t

    spread = overall_spread(split_strata(np.random.default_rng(3).normal(size=(20, 1))))
    expected = 1.1 + t.ppf(0.975, 19) * math.sqrt(1 / (9 * 20) + 1.1**2 / (2 * 19))
    assert upper_limit(1.1, spread) == pytest.approx(expected)


def test_within_spread_of_one_reading_a_part_is_the_moving_range_sigma():
    x = np.random.default_rng(4).normal(size=(30, 1))
    assert within_spread(split_strata(x)).sigma == pytest.approx(moving_range_sigma(x[:, 0]))


def test_overall_spread_of_one_reading_a_part_is_the_standard_deviation():
    x = np.random.default_rng(4).normal(size=(30, 1))
    assert overall_spread(split_strata(x)).sigma == pytest.approx(x.std(ddof=1))


def test_within_spread_by_hand():
    # Part means 2, 5, 3 with readings 1 apart on each: moving ranges 3, 2; within mean square 0.5, half counts.
    y = np.array([[1.5, 2.5], [4.5, 5.5], [2.5, 3.5]])
    split = split_strata(y, pattern=False)
    moving = 2.5 / 1.1283791670955126
    assert within_spread(split).sigma == pytest.approx(math.sqrt(moving**2 + 0.5 * 0.5))


def test_a_drift_widens_the_overall_spread_and_not_the_one_within():
    y = nested(1, 60)
    drifting = y + np.linspace(0, 12, 60)[:, None]
    before, after = split_strata(y, [PAIRS]), split_strata(drifting, [PAIRS])
    assert overall_spread(after).sigma > 2.5 * overall_spread(before).sigma
    assert within_spread(after).sigma == pytest.approx(within_spread(before).sigma, rel=0.1)


def test_the_pattern_counts_overall_and_not_within():
    y = nested(2, 40)
    patterned = y + np.array([0, 3, 0, 3, 0, 3])
    before, after = split_strata(y, [PAIRS]), split_strata(patterned, [PAIRS])
    assert overall_spread(after).variance - overall_spread(before).variance == pytest.approx(2.25, abs=0.4)
    assert within_spread(after).sigma == pytest.approx(within_spread(before).sigma)


@pytest.mark.parametrize(("count", "n"), [(0, 5), (5, 5), (1, 30), (7, 20)])
def test_shares_against_scipy(count, n):
    from scipy.stats import binomtest

    found = binomial_interval(count, n)
    exact = binomtest(count, n).proportion_ci(0.95, method="exact")
    assert (found.lower, found.upper) == pytest.approx((exact.low, exact.high), abs=1e-9)


def test_one_sided_tolerance_factor_against_scipy():
    from scipy.stats import nct, norm

    exact = nct.ppf(0.95, 29, norm.ppf(0.99) * 30**0.5) / 30**0.5
    assert tolerance_factor(30, 0.99, 0.95, sides=1) == pytest.approx(exact, abs=1e-9)


def test_two_sided_tolerance_factor_holds_what_it_says():
    from scipy.special import ndtr

    rng = np.random.default_rng(6)
    x = rng.normal(size=(20_000, 10))
    mean, s = x.mean(axis=1), x.std(axis=1, ddof=1)
    k = tolerance_factor(10, 0.9, 0.95)
    held = ndtr(mean + k * s) - ndtr(mean - k * s) >= 0.9
    assert held.mean() == pytest.approx(0.95, abs=0.008)


def test_more_parts_narrow_every_interval():
    assert bissell_interval(1.0, 100).lower > bissell_interval(1.0, 10).lower
    assert one_sided_interval(1.0, 100).upper < one_sided_interval(1.0, 10).upper
    assert binomial_interval(10, 100).upper < binomial_interval(1, 10).upper


@pytest.mark.parametrize(
    ("call", "error", "says"),
    [
        (lambda: bissell_interval(1.0, 1), TooFewReadings, "2 values; got 1"),
        (lambda: one_sided_interval(1.0, 1), TooFewReadings, "2 values; got 1"),
        (lambda: tolerance_factor(1, 0.9, 0.95), TooFewReadings, "2 values; got 1"),
        (lambda: tolerance_factor(5, 1.0, 0.95), SpcError, "within 0 and 1"),
        (lambda: tolerance_factor(5, 0.9, 0.95, sides=3), SpcError, "1 or 2 sides; got 3"),
        (lambda: binomial_interval(6, 5), SpcError, "6 of 5"),
        (lambda: binomial_interval(0, 0), SpcError, "0 of 0"),
        (lambda: binomial_interval(-1, 5), SpcError, "-1 of 5"),
    ],
)
def test_what_has_no_interval_is_named(call, error, says):
    with pytest.raises(error, match=says):
        call()


def test_draws_of_the_mean_of_nested_readings_vary_as_part_means_do():
    from scipy.stats import t

    rng = np.random.default_rng(5)
    y = rng.normal(size=(9, 1)) + 0.5 * rng.normal(size=(9, 14))
    mean, _ = pivotal_draws(overall_spread(split_strata(y)), np.random.default_rng(6), 40_000)
    error = y.mean(axis=1).std(ddof=1) / 3
    for share in (0.025, 0.975):
        assert np.quantile(mean, share) == pytest.approx(y.mean() + t.ppf(share, 8) * error, abs=0.05 * error)
