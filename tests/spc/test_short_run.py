"""Short-run and trended charts, and T-squared: by hand, against the general library, by property, at the border."""

from __future__ import annotations

import math

import numpy as np
import pytest

from spc.charts.classical import individuals
from spc.charts.short_run import deviation_chart, standardised_chart, standardised_means, trended_chart
from spc.charts.together import Reference, learn_reference, t_squared, weighted_t_squared
from spc.constants import d2
from spc.errors import SpcError, TooFewReadings


def test_deviations_by_hand():
    # Family b jumps between a's values; ranges stay within a family: |2-1|, |12-11|, |4-2|.
    chart = deviation_chart([1, 11, 2, 12, 4], list("ababa"), {"a": 2, "b": 11})
    assert chart.values.values.tolist() == [-1, 0, 0, 1, 2]
    assert chart.spreads.values.tolist() == [1, 1, 2]
    assert chart.values.upper[0] == pytest.approx(3 * (4 / 3) / d2(2))
    assert chart.values.center == 0


def test_one_family_is_an_individuals_chart_around_its_target():
    x = np.random.default_rng(1).normal(5, 1, 30)
    ours, plain = deviation_chart(x, ["a"] * 30, {"a": 5.0}), individuals(x, center=5.0)
    assert ours.values.upper + 5 == pytest.approx(plain.values.upper)
    assert ours.spreads.values == pytest.approx(plain.moving_range.values)


def test_families_of_unequal_spread_are_warned_of_and_standardised():
    rng = np.random.default_rng(2)
    family = np.tile(["a", "b"], 40)
    x = np.where(family == "a", rng.normal(10, 1, 80), rng.normal(50, 6, 80))
    targets: dict[object, float] = {"a": 10.0, "b": 50.0}
    assert "differ in spread" in deviation_chart(x, family, targets).warnings[0]
    chart = standardised_chart(x, family, targets)
    assert chart.values.values[family == "a"].std() == pytest.approx(
        chart.values.values[family == "b"].std(), rel=0.3
    )
    assert chart.values.upper[0] == pytest.approx(3 / d2(2))


def test_units_of_a_family_do_not_matter_when_standardised():
    rng = np.random.default_rng(3)
    x, family = rng.normal(10, 1, 12), np.tile(["a", "b", "c"], 4)
    first = standardised_chart(x, family, {"a": 10, "b": 10, "c": 10})
    again = standardised_chart(x / 25.4, family, {"a": 10 / 25.4, "b": 10 / 25.4, "c": 10 / 25.4})
    assert again.values.values == pytest.approx(first.values.values)
    assert again.values.upper == pytest.approx(first.values.upper)


def test_a_trend_is_followed_and_a_jump_within_it_is_seen():
    rng = np.random.default_rng(4)
    wear, life = np.tile(np.arange(20.0), 3), np.repeat([1, 2, 3], 20)
    x = 100 + np.repeat([0.0, 4.0, -3.0], 20) - 0.5 * wear + rng.normal(0, 0.3, 60)
    chart = trended_chart(x, wear, life)
    assert chart.beyond.size == 0
    assert np.diff(chart.upper[:20]) == pytest.approx(-0.5, abs=0.05)
    jumped = x.copy()
    jumped[45] += 3
    assert chart.beyond.size == 0 and trended_chart(jumped, wear, life).beyond.tolist() == [45]


def test_the_slope_of_a_trend_is_that_of_the_general_library():
    import pandas as pd
    from statsmodels.formula.api import ols

    rng = np.random.default_rng(5)
    wear, life = np.tile(np.arange(10.0), 4), np.repeat(np.arange(4), 10)
    x = rng.normal(0, 1, 40) + 0.3 * wear + life
    fit = ols("x ~ 0 + C(life) + wear", pd.DataFrame({"x": x, "wear": wear, "life": life})).fit()
    chart = trended_chart(x, wear, life)
    assert (chart.upper + chart.lower) / 2 == pytest.approx(fit.fittedvalues.to_numpy())


def test_limits_of_a_trend_hold_three_sigma():
    rng = np.random.default_rng(6)
    wide = []
    for _ in range(400):
        wear = np.arange(25.0)
        chart = trended_chart(rng.normal(0, 1, 25) + 0.1 * wear, wear)
        wide.append((chart.upper[0] - chart.lower[0]) / 6)
    # Monte Carlo error of the mean is about 0.009.
    assert np.mean(wide) == pytest.approx(1.0, abs=0.03)


def test_t_squared_equals_the_general_library_for_a_later_part():
    from statsmodels.stats.multivariate import test_mvmean as mean_test

    rng = np.random.default_rng(7)
    y = rng.normal(size=(30, 3)) @ rng.normal(size=(3, 3))
    reference = learn_reference(y)
    at = np.array([0.4, -0.2, 0.1])
    theirs = mean_test(y, at)
    ours = t_squared(at[None, :], reference).panel.values[0]
    # The library tests the mean of 30 parts, so its statistic is 30 times ours.
    assert 30 * ours == pytest.approx(float(theirs.statistic) * 29 * 3 / 27, rel=1e-8)


@pytest.mark.parametrize("own", [True, False])
def test_t_squared_alarms_as_often_as_it_says(own):
    rng = np.random.default_rng(8)
    alarms, seen = 0, 0
    for _ in range(1_500):
        y = rng.normal(size=(20, 3))
        chart = (
            t_squared(y, false_alarm=0.02)
            if own
            else t_squared(rng.normal(size=(5, 3)), learn_reference(y), false_alarm=0.02)
        )
        alarms, seen = alarms + chart.panel.beyond.size, seen + chart.panel.values.size
    assert alarms / seen == pytest.approx(0.02, abs=3 * math.sqrt(0.02 * 0.98 / seen) * 1.5)


def test_t_squared_does_not_depend_on_units_or_mixing():
    rng = np.random.default_rng(9)
    y = rng.normal(size=(25, 3))
    mixed = y @ np.array([[2.0, 0.1, 0.0], [0.0, 25.4, 1.0], [0.3, 0.0, -4.0]]) + 7
    assert t_squared(mixed).panel.values == pytest.approx(t_squared(y).panel.values)


def test_contributions_name_the_feature_that_moved():
    rng = np.random.default_rng(10)
    reference = learn_reference(rng.normal(size=(60, 3)))
    chart = t_squared(np.array([[0.0, 6.0, 0.0]]), reference)
    assert chart.contributions[0].argmax() == 1
    assert chart.panel.beyond.tolist() == [0]


def test_weight_one_is_t_squared():
    rng = np.random.default_rng(11)
    reference = learn_reference(rng.normal(size=(60, 2)))
    y = rng.normal(size=(9, 2))
    assert weighted_t_squared(y, reference, weight=1.0, limit=9.0).values == pytest.approx(
        t_squared(y, reference).panel.values
    )


REFERENCE = Reference(np.zeros(2), np.eye(2), 20)


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        (lambda: deviation_chart([1.0, 2.0], ["a", "b"], {"a": 1.0, "b": 2.0}), TooFewReadings, "one family"),
        (lambda: deviation_chart([1.0, 2.0], ["a", "a"], {}), SpcError, "no target is given for a"),
        (lambda: deviation_chart([1.0, math.nan], ["a", "a"], {"a": 1}), SpcError, "value 2 of 2"),
        (lambda: deviation_chart([1.0, 2.0], ["a"], {"a": 1}), SpcError, "its family"),
        (lambda: standardised_chart([1.0, 2.0], ["a", "a"], {"a": 1}), TooFewReadings, "3 values"),
        (lambda: standardised_chart([1.0] * 4, ["a"] * 4, {"a": 1}), SpcError, "no spread"),
        (lambda: standardised_means([[1.0, 1.0]], ["a"], {"a": 1}), SpcError, "no spread|2"),
        (lambda: trended_chart([1.0, 2.0, 3.0], [0, 1, 2]), TooFewReadings, "4 values for 1 lives"),
        (lambda: trended_chart([1.0] * 6, [3.0] * 6), SpcError, "no trend to follow"),
        (lambda: trended_chart([1.0] * 6, [3.0] * 5), SpcError, "one wear count"),
        (lambda: learn_reference([[1.0, 2.0], [2.0, 3.0]]), TooFewReadings, "4 parts"),
        (
            lambda: learn_reference(np.column_stack([np.arange(9.0), 2 * np.arange(9.0)])),
            SpcError,
            "follows from",
        ),
        (lambda: learn_reference(np.column_stack([np.arange(9.0), np.ones(9)])), SpcError, "does not move"),
        (lambda: t_squared([[1.0, math.nan]], REFERENCE), SpcError, "part 1 lacks feature 2"),
        (lambda: t_squared([[1.0, 2.0, 3.0]], REFERENCE), SpcError, "knows 2 features"),
        (lambda: t_squared([[1.0, 2.0]], REFERENCE, false_alarm=1.0), SpcError, "within 0 and 1"),
        (lambda: weighted_t_squared([[1.0, 2.0]], REFERENCE, limit=0), SpcError, "above 0"),
    ],
)
def test_refusals_say_what_is_wrong(call, error, words):
    with pytest.raises(error, match=words):
        call()


def test_constant_values_have_limits_of_no_width_and_no_alarm():
    chart = deviation_chart([3.0] * 5, ["a"] * 5, {"a": 3.0})
    assert chart.values.beyond.size == 0
    trend = trended_chart(np.full(8, 3.0), np.arange(8.0))
    assert np.isfinite(trend.upper).all() and trend.beyond.size == 0
