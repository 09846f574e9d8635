"""Gauge studies: against the general library, by property, at the border."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.errors import SpcError, TooFewReadings
from spc.gauges.average_range import average_and_range
from spc.gauges.crossed import crossed_split
from spc.gauges.gaps import adjusted_squares
from spc.gauges.trial import gauge_study
from spc.mean_squares import large_sample_interval


def trial(seed: int, parts: int = 8, operators: int = 3, trials: int = 2, both: float = 0.6):
    """Readings, part and operator labels of a crossed study."""
    rng = np.random.default_rng(seed)
    cube = (
        50.0
        + 3.0 * rng.normal(size=(parts, 1, 1))
        + 0.8 * rng.normal(size=(1, operators, 1))
        + both * rng.normal(size=(parts, operators, 1))
        + 0.5 * rng.normal(size=(parts, operators, trials))
    )
    part, operator, _ = np.indices(cube.shape)
    return cube.ravel(), part.ravel(), operator.ravel()


def test_components_by_hand():
    # 2 parts x 2 operators x 2 trials; cell means 1, 3 / 5, 9, each cell +- 1 around its mean.
    y = [0.0, 2.0, 2.0, 4.0, 4.0, 6.0, 8.0, 10.0]
    found = gauge_study(y, [1, 1, 1, 1, 2, 2, 2, 2], [1, 1, 2, 2] * 2, pool=False)
    # Mean squares: part 2 * 2 * 2 * 2.5^2 = 50, operator 2 * 2 * 2 * 1.5^2 = 18, both 2 * 4 * 0.5^2 = 2, error 2.
    assert [row.mean_square for row in found.anova] == pytest.approx([50, 18, 2, 2])
    assert found.repeatability.estimate == pytest.approx(2)
    assert found.interaction is not None and found.operator is not None and found.reproducibility is not None
    assert found.interaction.estimate == pytest.approx(0)
    assert found.operator.estimate == pytest.approx((18 - 2) / 4)
    assert found.part.estimate == pytest.approx((50 - 2) / 4)
    assert found.gauge.estimate == pytest.approx(6)
    assert found.total.estimate == pytest.approx(18)
    assert found.percent_total_variation.estimate == pytest.approx(100 * math.sqrt(6 / 18))
    assert found.ndc is not None and found.ndc.estimate == math.floor(math.sqrt(2 * 12 / 6))


def test_mean_squares_equal_those_of_the_general_library():
    import pandas as pd
    from statsmodels.formula.api import ols
    from statsmodels.stats.anova import anova_lm

    y, part, operator = trial(1)
    table = anova_lm(ols("y ~ C(p) * C(o)", pd.DataFrame({"y": y, "p": part, "o": operator})).fit())
    found = gauge_study(y, part, operator, pool=False)
    assert [r.mean_square for r in found.anova] == pytest.approx(table["mean_sq"].tolist(), rel=1e-9)
    assert found.anova[2].p_value == pytest.approx(table["PR(>F)"].iloc[2], rel=1e-9)


def test_gaps_are_answered_by_likelihood_which_agrees_with_mean_squares_where_there_are_none():
    from spc.gauges.crossed import unequal_split

    y, part, operator = trial(4, parts=10, trials=3)
    whole = gauge_study(y, part, operator, pool=False)
    counts = np.full((10, 3), 3)
    split = unequal_split(y - y[0], part, operator, counts)
    for name in ("repeatability", "operator", "interaction", "part"):
        figure = getattr(whole, name)
        assert split.variances[name] == pytest.approx(figure.estimate, rel=1e-4)
    keep = np.ones(y.size, bool)
    keep[[3, 50]] = False
    gaps = gauge_study(y[keep], part[keep], operator[keep])
    assert gaps.method == "restricted maximum likelihood"
    assert gaps.part.estimate == pytest.approx(whole.part.estimate, rel=0.1)
    assert gaps.part.lower is not None and gaps.part.upper is not None and whole.part.lower is not None
    assert gaps.part.lower < gaps.part.estimate < gaps.part.upper
    assert gaps.part.lower == pytest.approx(whole.part.lower, rel=0.15)
    assert "gaps" in gaps.warnings[0] and "approximate" in gaps.warnings[0]


def test_mean_squares_of_a_study_with_gaps_are_those_of_the_general_library():
    import pandas as pd
    from statsmodels.formula.api import ols
    from statsmodels.stats.anova import anova_lm

    y, part, operator = trial(6, parts=8, trials=3)
    keep = np.ones(y.size, bool)
    keep[[0, 1, 2, 7, 30, 41]] = False
    y, part, operator = y[keep], part[keep], operator[keep]
    found = adjusted_squares(y, part, operator, interaction=True)
    frame = pd.DataFrame({"y": y, "p": part, "o": operator, "c": 10 * part + operator})
    two = anova_lm(ols("y ~ C(p) + C(o)", frame).fit(), typ=2)
    error = ols("y ~ C(c)", frame).fit()
    assert found is not None
    main = ols("y ~ C(p) + C(o)", frame).fit()
    dof = main.df_resid - error.df_resid
    theirs = [
        two.loc["C(p)", "sum_sq"] / two.loc["C(p)", "df"],
        two.loc["C(o)", "sum_sq"] / two.loc["C(o)", "df"],
        (main.ssr - error.ssr) / dof,
        error.ssr / error.df_resid,
    ]
    assert found.squares == pytest.approx(theirs, rel=1e-8)
    assert found.dofs == pytest.approx([7, 2, dof, error.df_resid])


def test_without_gaps_the_weights_are_those_of_the_two_way_analysis():
    y, part, operator = trial(4, parts=10, trials=3)
    whole = crossed_split(y, part, operator, 3, False, 0.25)
    found = adjusted_squares(y, part, operator, interaction=True)
    assert found is not None and whole.squares is not None
    assert found.squares == pytest.approx(whole.squares, rel=1e-9)
    assert found.dofs == whole.dofs
    for name, weights in whole.weights.items():
        assert found.weights[name] == pytest.approx(weights, abs=1e-12)


def test_groups_that_nobody_links_have_no_intervals_and_the_reason_is_named():
    rng = np.random.default_rng(2)
    part = np.repeat([0, 0, 1, 1, 2, 2, 3, 3], 2)
    operator = np.repeat([0, 1, 0, 1, 2, 3, 2, 3], 2)
    found = gauge_study(rng.normal(size=16) + part, part, operator)
    assert found.part.lower is None
    assert any("nobody measured" in text for text in found.warnings)


@given(st.integers(0, 30), st.sampled_from([25.4, 1e-4, -1.0]), st.floats(-1e3, 1e3))
@settings(max_examples=15, deadline=None)
def test_units_and_zero_do_not_matter(seed, factor, zero):
    y, part, operator = trial(seed)
    first = gauge_study(y, part, operator, lower=40, upper=60)
    limits = sorted((40 * factor + zero, 60 * factor + zero))
    again = gauge_study(y * factor + zero, part, operator, lower=limits[0], upper=limits[1])
    assert again.part.estimate == pytest.approx(first.part.estimate * factor**2, rel=1e-6)
    assert again.repeatability.upper == pytest.approx(first.repeatability.upper * factor**2, rel=1e-6)
    assert again.percent_tolerance is not None and first.percent_tolerance is not None
    assert again.percent_tolerance.estimate == pytest.approx(first.percent_tolerance.estimate, rel=1e-6)
    assert again.percent_total_variation.lower == pytest.approx(first.percent_total_variation.lower, rel=1e-6)
    assert again.pooled == first.pooled


def test_order_and_labels_do_not_matter():
    y, part, operator = trial(3)
    order = np.random.default_rng(0).permutation(y.size)
    names = np.array(["ann", "bo", "cy"])
    again = gauge_study(y[order], [f"p{p}" for p in part[order]], names[operator[order]])
    first = gauge_study(y, part, operator)
    assert again.part.estimate == pytest.approx(first.part.estimate)
    assert again.percent_total_variation.upper == pytest.approx(first.percent_total_variation.upper)


def test_the_parts_add_up_to_the_total():
    for seed in range(10):
        y, part, operator = trial(seed, both=0.0)
        found = gauge_study(y, part, operator)
        assert found.reproducibility is not None
        summed = found.repeatability.estimate + found.reproducibility.estimate + found.part.estimate
        assert found.total.estimate == pytest.approx(summed)


def test_the_interaction_is_pooled_or_kept_and_the_reason_is_given():
    with_both = gauge_study(*trial(2, both=1.5))
    without = gauge_study(*trial(2, both=0.0))
    assert not with_both.pooled and "kept" in with_both.decision
    assert without.pooled and without.interaction is None and "above 0.25" in without.decision
    assert gauge_study(*trial(2, both=1.5), pool=True).pooled


def test_parts_that_each_saw_one_operator_are_a_nested_study():
    y = np.array([1.0, 3.0, 5.0, 7.0, 11.0, 13.0, 15.0, 17.0])
    found = gauge_study(y, [1, 1, 2, 2, 3, 3, 4, 4], ["a"] * 4 + ["b"] * 4)
    # Part means 2, 6 / 12, 16; operators 4 and 14. Mean squares: 2 * 2 * 50, 2 * 16 / 2, 2.
    assert found.method == "nested"
    assert [row.mean_square for row in found.anova] == pytest.approx([200, 16, 2])
    assert found.operator is not None and found.operator.estimate == pytest.approx((200 - 16) / 4)
    assert found.part.estimate == pytest.approx((16 - 2) / 2)


def test_a_single_mean_square_has_the_exact_chi_square_interval():
    from scipy.stats import chi2

    found = large_sample_interval([1.0], [4.0], [7])
    assert found.lower == pytest.approx(7 * 4 / chi2.ppf(0.975, 7))
    assert found.upper == pytest.approx(7 * 4 / chi2.ppf(0.025, 7))


def test_a_difference_with_one_square_known_is_exact_too():
    from scipy.stats import chi2

    found = large_sample_interval([1.0, -1.0], [9.0, 2.0], [6, 10_000_000])
    assert found.lower == pytest.approx(6 * 9 / chi2.ppf(0.975, 6) - 2, rel=1e-3)
    assert found.upper == pytest.approx(6 * 9 / chi2.ppf(0.025, 6) - 2, rel=1e-3)


@pytest.mark.parametrize(
    ("readings", "part", "operator", "error", "words"),
    [
        ([1.0, 1.0, 1.0, 1.0], [1, 1, 2, 2], [1, 2, 1, 2], SpcError, "all readings are equal"),
        ([1.0, 2.0], [1, 1], [1, 2], TooFewReadings, "2 parts"),
        ([], [], [], TooFewReadings, "2 parts"),
        ([1.0, 2.0, 3.0], [1, 2, 3], [1, 1, 1], TooFewReadings, "2 readings of a part"),
        ([1.0, math.nan, 3.0], [1, 2, 3], [1, 1, 1], SpcError, "reading 2 of 3"),
        ([1.0, 2.0], [1, 2], [1], SpcError, "one part and one operator"),
        ([1.0, 2.0, 3.0, 4.0, 5.0, 7.0], [1, 1, 2, 2, 3, 3], [1, 1, 1, 1, 2, 2], SpcError, "equally many"),
    ],
)
def test_what_cannot_be_studied_is_refused_by_name(readings, part, operator, error, words):
    with pytest.raises(error, match=words):
        gauge_study(readings, part, operator)


def test_limits_the_wrong_way_round_are_refused():
    with pytest.raises(SpcError, match="wrong way round"):
        gauge_study(*trial(1), lower=60, upper=40)


def test_a_gauge_without_spread_of_its_own_says_so_and_prints_no_infinity():
    y = np.repeat([1.0, 2.0, 4.0, 7.0, 8.0], 4)
    found = gauge_study(y, np.repeat(np.arange(5), 4), np.tile([0, 0, 1, 1], 5), lower=0, upper=10)
    assert found.gauge.estimate == 0
    assert found.ndc is None
    assert found.percent_total_variation.estimate == 0
    assert any("too coarsely" in text for text in found.warnings)


def test_one_trial_a_cell_pools_and_says_so():
    y, part, operator = trial(1, trials=1)
    found = gauge_study(y, part, operator)
    assert found.pooled and any("one trial" in text for text in found.warnings)
    with pytest.raises(SpcError, match="cannot be kept apart"):
        gauge_study(y, part, operator, pool=False)


def test_negative_components_are_zero_and_said_so():
    rng = np.random.default_rng(11)
    part, operator, _ = (a.ravel() for a in np.indices((6, 3, 2)))
    found = [gauge_study(rng.normal(size=36), part, operator) for _ in range(20)]
    negative = [f for f in found if f.part.estimate == 0]
    assert negative
    assert all(any("part came out below 0" in text for text in f.warnings) for f in negative)


def test_averages_and_ranges_are_unbiased_for_what_they_estimate():
    rng = np.random.default_rng(5)
    squares = []
    for _ in range(2_000):
        cube = 2.0 * rng.normal(size=(6, 1, 1)) + rng.normal(size=(6, 3, 3))
        found = average_and_range(cube)
        squares.append((found.repeatability, found.part**2))
    # The part figure holds a ninth of the repeatability, by its construction.
    assert np.mean([r for r, _ in squares]) == pytest.approx(1.0, abs=0.01)
    assert np.mean([p for _, p in squares]) == pytest.approx(4 + 1 / 9, rel=0.05)


@pytest.mark.parametrize(
    ("cube", "words"),
    [(np.zeros((3, 2, 2)), "equal"), (np.zeros((3, 2)), "complete"), (np.ones((1, 2, 2)), "2 parts")],
)
def test_averages_and_ranges_refuse_by_name(cube, words):
    with pytest.raises(SpcError, match=words):
        average_and_range(cube)


def test_a_nested_trial_whose_gauge_may_have_no_spread_has_no_upper_end_of_sizes_told_apart():
    rng = np.random.default_rng(1)
    part, operator, _ = (a.ravel() for a in np.indices((5, 3, 2)))
    label = operator * 5 + part
    y = rng.normal(0, 3, 5)[part] + rng.normal(0, 0.7, 3)[operator] + rng.normal(0, 0.9, part.size)
    found = gauge_study(y, label, operator)
    assert found.gauge.lower == 0
    assert found.ndc is not None and found.ndc.lower is not None
    assert found.ndc.upper is None
