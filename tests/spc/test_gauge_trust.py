"""What a gauge adds to a reading, capability without it, and what warmth does."""

import math

import numpy as np
import pytest

from spc.errors import SpcError
from spc.gauges.trust import (
    OF_RANGE,
    from_reading_to_reading,
    gauge_uncertainty,
    of_derived,
    warmth_effect,
    without_gauge,
)
from spc.mean_squares import Ranged


def test_contributions_add_in_quadrature():
    told = gauge_uncertainty(3.0, setting=4.0, bias=-12.0)
    assert told.standard == pytest.approx(13.0)
    assert told.parts == {"repeats": 3.0, "setting": 4.0, "bias": 12.0}


def test_rounding_counts_once_as_the_larger_of_step_and_repeats():
    assert gauge_uncertainty(0.2, resolution=6.0).standard == pytest.approx(6 / math.sqrt(12))
    assert gauge_uncertainty(5.0, resolution=6.0).standard == pytest.approx(5.0)


def test_a_gauge_that_adds_nothing_is_refused():
    with pytest.raises(SpcError, match="resolution"):
        gauge_uncertainty(0.0)


def test_a_setting_and_a_bias_are_no_difference_between_readings_of_one_part():
    set_daily, coarse = (
        gauge_uncertainty(3.0, setting=4.0, bias=9.0),
        gauge_uncertainty(0.0, resolution=math.sqrt(12)),
    )
    assert from_reading_to_reading([set_daily]) == pytest.approx(3.0)
    assert from_reading_to_reading([coarse]) == pytest.approx(1.0)
    assert from_reading_to_reading([set_daily, coarse]) == pytest.approx(math.sqrt(5.0))
    with pytest.raises(SpcError, match="takes a gauge"):
        from_reading_to_reading([])


def test_the_uncertainty_of_a_derived_value_is_that_of_its_weights():
    """Against the scatter of simulated readings; 40,000 draws, four Monte Carlo errors (1.4 %)."""
    weights = np.array([[1.0, -1.0, 0.0, 0.0], [0.5, 0.5, -0.5, -0.5]])
    seen = np.random.default_rng(4).normal(0, 2.0, (40_000, 4)) @ weights.T
    assert of_derived(2.0, weights) == pytest.approx(seen.std(axis=0), rel=0.014)
    assert of_derived(2.0, weights) == pytest.approx([2 * OF_RANGE, 2.0])


def test_the_true_size_holds_more_than_the_measured_one():
    told = without_gauge(Ranged(1.2, 1.0, 1.4), 5.0, Ranged(9.0, 7.0, 12.0))
    assert told is not None
    assert told.estimate == pytest.approx(1.2 * 5 / 4)  # 3-4-5: 25 - 9 = 16
    assert told.lower < told.estimate < told.upper
    assert told.lower > 1.0


def test_a_gauge_that_explains_everything_leaves_no_index():
    assert without_gauge(Ranged(1.0), 2.0, Ranged(4.0)) is None


def test_the_true_index_lies_in_its_interval_as_often_as_it_says():
    """400 runs: 60 parts read once by a gauge whose spread is known from 120 repeats.

    90.5 % is 95 % less four Monte Carlo errors (1.1 % each).
    """
    rng = np.random.default_rng(3)
    sigma, gauge, half = 2.0, 1.0, 9.0
    true = half / (3 * sigma)
    held = 0
    for _ in range(400):
        seen = rng.normal(0, math.hypot(sigma, gauge), 60)
        sd = seen.std(ddof=1)
        ends = [math.sqrt(59 / q) for q in (82.12, 39.66)]  # chi-square 97.5 and 2.5 %, 59 degrees of freedom
        index = half / (3 * sd)
        repeats = rng.normal(0, gauge, 120).var(ddof=1)
        interval = Ranged(repeats, repeats * 119 / 151.08, repeats * 119 / 90.70)  # 119 degrees of freedom
        told = without_gauge(Ranged(index, index / max(ends), index / min(ends)), sd, interval)
        held += told.lower < true < told.upper
    assert held / 400 >= 0.905


def test_warmth_agrees_with_heteroscedasticity_robust_least_squares():
    from statsmodels.regression.linear_model import OLS

    rng = np.random.default_rng(5)
    x = np.r_[rng.normal(0, 0.5, 40), np.full(6, 6.0)]
    y = 0.9 * x + rng.normal(0, 0.3 + 0.1 * np.abs(x))
    told = warmth_effect(y, x)
    fit = OLS(y, np.column_stack([np.ones(46), x])).fit(cov_type="HC3", use_t=True)
    assert told is not None
    assert told.slope.estimate == pytest.approx(fit.params[1])
    low, high = fit.conf_int()[1]
    assert (told.slope.lower, told.slope.upper) == pytest.approx((low, high))
    assert told.p_value == pytest.approx(fit.pvalues[1], rel=1e-6, abs=1e-12)
    assert told.warm == 6


def test_several_families_widen_the_interval_and_raise_the_chance():
    rng = np.random.default_rng(5)
    x, y = rng.normal(0, 1, 30), rng.normal(0, 1, 30)
    one, many = warmth_effect(y, x), warmth_effect(y, x, tests=3)
    assert many.p_value == pytest.approx(min(1.0, 3 * one.p_value))
    assert many.slope.lower < one.slope.lower


def test_few_parts_or_equal_warmth_say_nothing():
    assert warmth_effect(np.zeros(7), np.arange(7.0)) is None
    assert warmth_effect(np.arange(9.0), np.full(9, 2.0)) is None
    assert warmth_effect(np.full(9, np.nan), np.arange(9.0)) is None
