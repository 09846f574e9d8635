"""Charts: by hand, by property, at the border."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from spc.charts.classical import between_within, individuals, mean_range, mean_sd
from spc.charts.frozen import freeze
from spc.charts.smoothed import cusum_chart, ewma_chart
from spc.constants import c4, d2, d3
from spc.errors import SpcError, TooFewReadings


def test_individuals_by_hand():
    chart = individuals([10.0, 12.0, 11.0, 13.0])
    # Mean 11.5, ranges 2, 1, 2.
    assert chart.center == 11.5
    assert chart.sigma == pytest.approx(5 / 3 / d2(2))
    assert chart.values.upper.tolist() == pytest.approx([11.5 + 3 * chart.sigma] * 4)
    assert chart.moving_range.values.tolist() == [2.0, 1.0, 2.0]
    assert chart.moving_range.upper[0] == pytest.approx(5 / 3 * (1 + 3 * d3(2) / d2(2)))
    assert chart.moving_range.lower[0] == 0.0
    assert chart.values.beyond.size == 0


def test_a_point_on_the_limit_is_inside_and_one_past_it_is_not():
    known = individuals([1.0, 4.0, 4.0000001, -2.0000001, -2.0], center=1.0, sigma=1.0)
    assert known.values.beyond.tolist() == [2, 3]


def test_mean_range_by_hand():
    chart = mean_range([[1.0, 3.0], [2.0, 6.0]])
    assert chart.means.values.tolist() == [2.0, 4.0]
    assert chart.spreads.values.tolist() == [2.0, 4.0]
    assert chart.sigma == pytest.approx(3 / d2(2))
    assert chart.means.upper[0] == pytest.approx(3 + 3 * chart.sigma / np.sqrt(2))


def test_mean_sd_with_sizes_that_differ():
    y = np.array([[1.0, 3.0, np.nan], [2.0, 6.0, 4.0], [1.0, 2.0, 3.0]])
    chart = mean_sd(y)
    assert chart.means.values.tolist() == [2.0, 4.0, 2.0]
    assert chart.spreads.values == pytest.approx([np.sqrt(2), 2.0, 1.0])
    weights = np.array([c4(n) ** 2 / (1 - c4(n) ** 2) for n in (2, 3, 3)])
    scaled = np.array([np.sqrt(2) / c4(2), 2 / c4(3), 1 / c4(3)])
    assert chart.sigma == pytest.approx(np.sum(weights * scaled) / weights.sum())
    assert chart.center == pytest.approx(22 / 8)
    half = chart.means.upper - chart.center
    assert half == pytest.approx(3 * chart.sigma / np.sqrt([2, 3, 3]))
    assert chart.spreads.center == pytest.approx(c4(3) * chart.sigma)


def test_known_level_and_sigma_are_used_as_given():
    y = np.random.default_rng(1).normal(size=(6, 4))
    chart = mean_sd(y, center=2.0, sigma=0.5)
    assert chart.means.center == 2.0
    assert chart.means.upper[0] == pytest.approx(2 + 3 * 0.5 / 2)
    assert mean_range(y, center=2.0, sigma=0.5).spreads.center == pytest.approx(0.5 * d2(4))


def test_parts_that_differ_signal_on_a_mean_chart_but_not_between_within():
    rng = np.random.default_rng(5)
    y = 3 * rng.normal(size=(40, 1)) + 0.2 * rng.normal(size=(40, 6))
    assert mean_sd(y).means.beyond.size > 20
    assert between_within(y).means.beyond.size <= 2
    y[25] += np.array([-2, 2, -2, 2, -2, 2])
    assert between_within(y).within.beyond.tolist() == [25]


@given(
    arrays(float, st.integers(3, 30), elements=st.floats(-100, 100)),
    st.floats(0.01, 100),
    st.floats(-1000, 1000),
)
@settings(deadline=None)
def test_limits_move_and_scale_with_the_readings(x, scale, shift):
    plain, other = individuals(x), individuals(scale * x + shift)
    assert other.values.upper == pytest.approx(scale * plain.values.upper + shift, rel=1e-9, abs=1e-7)
    assert other.sigma == pytest.approx(scale * plain.sigma, rel=1e-9, abs=1e-9)


@given(arrays(float, st.integers(2, 30), elements=st.floats(-100, 100)))
@settings(deadline=None)
def test_mirrored_readings_mirror_the_limits(x):
    plain, mirror = individuals(x), individuals(-x)
    assert mirror.values.upper == pytest.approx(-plain.values.lower, abs=1e-9)


def test_false_alarms_of_known_limits():
    x = np.random.default_rng(8).normal(size=200_000)
    rate = individuals(x, center=0.0, sigma=1.0).values.beyond.size / x.size
    assert rate == pytest.approx(0.0027, abs=4 * np.sqrt(0.0027 / x.size))


def test_frozen_limits_judge_later_parts_and_do_not_move():
    chart = individuals([10.0, 12.0, 11.0, 13.0])
    kept = freeze(
        chart.values,
        chart.sigma,
        baseline="parts 1 to 4",
        version=1,
        fixed_on="2020-01-02",
        fixed_by="B.C.",
    )
    later = kept.judge([11.0, 50.0])
    assert later.beyond.tolist() == [1]
    assert later.upper.tolist() == [chart.values.upper[0]] * 2
    assert (kept.baseline_size, kept.version, kept.fixed_by) == (4, 1, "B.C.")


def test_limits_that_follow_the_size_cannot_be_frozen_as_one():
    chart = mean_sd([[1.0, 3.0, np.nan], [2.0, 6.0, 4.0]])
    with pytest.raises(SpcError, match="point to point"):
        freeze(chart.means, chart.sigma, baseline="", version=1, fixed_on="2020-01-02", fixed_by="")


def test_versions_count_from_one():
    chart = individuals([1.0, 2.0])
    with pytest.raises(SpcError, match="from 1; got 0"):
        freeze(chart.values, 1.0, baseline="", version=0, fixed_on="2020-01-02", fixed_by="")


def test_weighted_average_by_hand():
    chart = ewma_chart([2.0, 4.0], target=0.0, sigma=1.0, weight=0.5, width=3.0)
    assert chart.values.tolist() == [1.0, 2.5]
    # Variance 1/4 after one value, 1/16 + 1/4 after two.
    assert chart.upper == pytest.approx([1.5, 3 * np.sqrt(5 / 16)])
    steady = ewma_chart([2.0, 4.0], target=0.0, sigma=1.0, weight=0.5, width=3.0, asymptotic=True)
    assert steady.upper == pytest.approx([3 * np.sqrt(1 / 3)] * 2)


def test_weight_one_is_the_individuals_chart():
    x = np.random.default_rng(3).normal(size=50)
    chart = ewma_chart(x, target=0.0, sigma=1.0, weight=1.0, width=3.0)
    assert chart.values == pytest.approx(x)
    assert chart.upper == pytest.approx(np.full(50, 3.0))


def test_cumulative_sum_against_its_recursion():
    x = np.random.default_rng(4).normal(0.3, 1, size=300)
    chart = cusum_chart(x, target=0.0, allowance=0.5, limit=5.0)
    high = low = 0.0
    for value, h, w in zip(x, chart.high, chart.low, strict=True):
        high, low = max(0.0, high + value - 0.5), max(0.0, low - value - 0.5)
        assert h == pytest.approx(high, abs=1e-12)
        assert w == pytest.approx(low, abs=1e-12)
    assert chart.beyond.tolist() == np.flatnonzero(np.maximum(chart.high, chart.low) > 5.0).tolist()


@pytest.mark.parametrize(
    ("call", "error", "says"),
    [
        (lambda: individuals([1.0]), TooFewReadings, "individuals chart needs at least 2 values"),
        (lambda: individuals([1.0, np.nan]), SpcError, "value 2 of 2 is nan"),
        (lambda: individuals([1.0, 2.0], sigma=-1.0), SpcError, "0 or above"),
        (lambda: individuals([1.0, 2.0], width=0.0), SpcError, "above 0"),
        (lambda: mean_range([[1.0, np.nan]]), SpcError, "complete subgroups"),
        (lambda: mean_range([[1.0], [2.0]]), TooFewReadings, "2 readings in every subgroup"),
        (lambda: mean_range(np.zeros((0, 3))), TooFewReadings, "1 subgroup"),
        (lambda: mean_range([1.0, 2.0]), SpcError, "table of subgroups"),
        (lambda: mean_sd([[1.0, np.nan], [1.0, 2.0]]), TooFewReadings, "2 readings in every subgroup"),
        (lambda: mean_sd([[1.0, np.inf]]), SpcError, "finite readings"),
        (lambda: between_within([[1.0, 2.0]]), TooFewReadings, "2 values"),
        (lambda: ewma_chart([], target=0, sigma=1), TooFewReadings, "1 values"),
        (lambda: ewma_chart([1.0], target=0, sigma=1, weight=0), SpcError, "weight"),
        (lambda: ewma_chart([1.0], target=0, sigma=-1), SpcError, "standard deviation"),
        (lambda: cusum_chart([1.0], target=0, allowance=-1, limit=4), SpcError, "allowance"),
        (lambda: cusum_chart([1.0], target=0, allowance=0.5, limit=0), SpcError, "limit above 0"),
    ],
)
def test_what_cannot_be_charted_is_named(call, error, says):
    with pytest.raises(error, match=says):
        call()


def test_constant_readings_have_limits_on_the_line_and_no_signal():
    for panel in (individuals([2.0] * 5).values, mean_sd(np.full((4, 3), 2.0)).means):
        assert panel.upper.tolist() == panel.lower.tolist() == [2.0] * panel.values.size
        assert panel.beyond.size == 0
