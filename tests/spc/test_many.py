"""Many processes at once give what one process at a time gives."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.capability.indices import limit_index, width_index
from spc.charts.classical import individuals
from spc.charts.many import many_charts, many_components, many_indices
from spc.charts.run_rules import RULES, broken, check_rules, standard_score
from spc.charts.smoothed import cusum_chart, ewma_chart
from spc.errors import SpcError, TooFewReadings
from spc.intervals import one_sided_interval, one_sided_limits
from spc.spread import overall_spread, pivotal_draws
from spc.strata import split_strata
from spc.variation import variance_components


def test_charts_equal_those_of_one_process():
    rng = np.random.default_rng(1)
    x = rng.normal(10, 2, (7, 90)) + np.where(np.arange(90) > 60, 1.5, 0.0)
    found = many_charts(x, RULES)
    for i, row in enumerate(x):
        chart = individuals(row)
        assert found.upper[i] == pytest.approx(chart.values.upper[0])
        signals = check_rules(standard_score(row, chart.center, chart.sigma), RULES)
        for j, rule in enumerate(RULES):
            at = [s.index for s in signals if s.rule == rule.name]
            assert found.counts[i, j] == len(at)
            assert found.last[i, j] == (at[-1] if at else -1)
        ewma = ewma_chart(row, target=chart.center, sigma=chart.sigma)
        cusum = cusum_chart(row, target=chart.center, allowance=0.5 * chart.sigma, limit=5 * chart.sigma)
        assert (found.average_out[i], found.sum_out[i]) == (ewma.beyond.size, cusum.beyond.size)


@given(st.integers(0, 10_000), st.integers(2, 70), st.integers(1, 9), st.sampled_from([0.05, 0.2, 1.0]))
@settings(max_examples=60, deadline=None)
def test_charts_of_any_length_equal_those_of_one_process(seed, n, m, weight):
    """Coarse values make ties and points right on a zone's border; long excursions reach over pieces and bytes."""
    rng = np.random.default_rng(seed)
    x = np.round(
        rng.normal(size=(m, n)) + np.repeat(rng.normal(0, 2, (m, 2)), [n // 2, n - n // 2], axis=1), 1
    )
    x[:, -1] += 0.05 * (np.ptp(x, axis=1) == 0)
    found = many_charts(x, RULES, weight=weight, width=2.4, allowance=0.3, limit=2.5)
    for i, row in enumerate(x):
        z = standard_score(row, found.center[i], found.sigma[i])
        for j, rule in enumerate(RULES):
            at = np.flatnonzero(broken(z, rule))
            assert (found.counts[i, j], found.last[i, j]) == (at.size, at[-1] if at.size else -1)
        ewma = ewma_chart(z, target=0.0, sigma=1.0, weight=weight, width=2.4)
        cusum = cusum_chart(z, target=0.0, allowance=0.3, limit=2.5)
        assert (found.average_out[i], found.sum_out[i]) == (ewma.beyond.size, cusum.beyond.size)


def test_a_process_without_spread_is_marked_and_silent():
    x = np.vstack([np.full(30, 4.0), np.random.default_rng(2).normal(size=30)])
    found = many_charts(x, RULES)
    assert found.flat.tolist() == [True, False]
    assert found.counts[0].tolist() == [0] * len(RULES)
    assert np.isfinite(found.upper).all()


def test_blocks_do_not_matter():
    x = np.random.default_rng(3).normal(size=(300, 400))
    whole, some = many_charts(x, RULES), many_charts(x[137:141], RULES)
    assert (whole.counts[137:141] == some.counts).all()
    assert (whole.sum_out[137:141] == some.sum_out).all()


def test_exact_limits_of_many_equal_those_of_one():
    estimates, n = np.array([1.2, -0.4, 0.0, 8.0]), np.array([30, 5, 2, 100])
    low, high = one_sided_limits(estimates, n)
    for i in range(4):
        one = one_sided_interval(float(estimates[i]), int(n[i]))
        assert (low[i], high[i]) == pytest.approx((one.lower, one.upper), rel=1e-12)


def test_exact_limits_are_those_of_the_noncentral_t():
    from scipy.stats import nct

    low, high = one_sided_limits(np.array([1.1]), np.array([12]))
    t, root = 1.1 * 3 * math.sqrt(12), 3 * math.sqrt(12)
    assert nct.sf(t, 11, low[0] * root) == pytest.approx(0.025, abs=1e-9)
    assert nct.cdf(t, 11, high[0] * root) == pytest.approx(0.025, abs=1e-9)


@given(st.floats(0.01, 12), st.integers(2, 3_000), st.sampled_from([0.5, 0.9, 0.95, 0.999]))
@settings(max_examples=60, deadline=None)
def test_exact_limits_leave_the_chances_they_name(estimate, n, confidence):
    from scipy.special import nctdtr

    low, high = one_sided_limits(np.array([estimate]), np.array([n]), confidence)
    root, tail = 3 * math.sqrt(n), (1 - confidence) / 2
    assert nctdtr(n - 1, low[0] * root, root * estimate) == pytest.approx(1 - tail, abs=2e-8)
    assert nctdtr(n - 1, high[0] * root, root * estimate) == pytest.approx(tail, abs=2e-8)


@pytest.mark.parametrize("limits", [(-4.0, 4.5), (math.nan, 4.0), (-3.0, math.nan)])
def test_indices_equal_those_of_one_process(limits):
    x = np.random.default_rng(4).normal(0.3, 1.0, (25, 1))
    lower, upper = (None if math.isnan(v) else v for v in limits)
    found = many_indices([x.mean()] * 2, [x.std(ddof=1)] * 2, [25] * 2, limits[0], limits[1], seed=5)
    spread = overall_spread(split_strata(x))
    drawn = pivotal_draws(spread, np.random.default_rng(1))
    one = limit_index("normal", spread, drawn, lower, upper)
    assert found.ppk == pytest.approx([one.estimate] * 2)
    # Two sets of draws: their Monte Carlo error is about 0.006.
    assert found.ppk_lower == pytest.approx([one.lower] * 2, abs=0.03)
    assert found.ppk_upper == pytest.approx([one.upper] * 2)
    if lower is not None and upper is not None:
        wide = width_index("normal", spread, drawn, lower, upper)
        assert (found.pp[0], found.pp_lower[0], found.pp_upper[0]) == pytest.approx(
            (wide.estimate, wide.lower, wide.upper)
        )
    else:
        assert np.isnan(found.pp).all()


def test_components_equal_those_of_one_process():
    y = np.random.default_rng(6).normal(size=(5, 8, 3)) + np.random.default_rng(7).normal(size=(5, 8, 1))
    between, within = many_components(y)
    for i in range(5):
        one = variance_components(y[i], pattern=False)
        assert (max(0.0, between[i]), within[i]) == pytest.approx(one.variances)


def test_the_lower_limit_of_many_is_missed_as_seldom_as_promised():
    rng = np.random.default_rng(8)
    x = rng.normal(size=(4_000, 10))
    found = many_indices(x.mean(1), x.std(1, ddof=1), 10, -4.0, 5.0)
    missed = np.mean(found.ppk_lower > 4 / 3)
    over = np.mean(found.ppk_upper < 4 / 3)
    error = math.sqrt(0.035 * 0.965 / 4_000)
    assert missed <= 0.035 + 2.5 * error
    assert 1 - missed - over >= 0.935 - 2.5 * error


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        (lambda: many_charts([1.0, 2.0]), SpcError, "table"),
        (lambda: many_charts([[1.0]]), TooFewReadings, "2 values"),
        (lambda: many_charts([[1.0, 2.0], [1.0, math.nan]]), SpcError, "value 2 of process 2 is nan"),
        (lambda: many_charts([[1.0, 2.0]], weight=0), SpcError, "weight"),
        (lambda: many_indices([1.0, 1.0], [1.0, 0.0], 5, 0, 2), SpcError, "process 2 has no spread"),
        (lambda: many_indices([1.0], [1.0], 5, math.nan, math.nan), SpcError, "process 1 has no limit"),
        (lambda: many_indices([1.0], [1.0], 5, 3, 2), SpcError, "wrong way round"),
        (lambda: many_indices([math.nan], [1.0], 5, 0, 2), SpcError, "no number"),
        (lambda: many_indices([1.0], [1.0], 1, 0, 2), TooFewReadings, "2 values"),
        (lambda: many_components(np.ones((2, 3))), SpcError, "complete tables"),
        (lambda: many_components(np.ones((2, 1, 3))), TooFewReadings, "2 parts"),
    ],
)
def test_refusals_say_what_is_wrong(call, error, words):
    with pytest.raises(error, match=words):
        call()
