"""Recursive residuals and scores against other people's software and theory."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from spc.score.recursion import level_residuals, model_residuals, normal_scores


def one_model(value, design, noise, learn, variance):
    """Predictions of a single linear model from a wide prior around nought."""
    q = design.shape[1]
    prior = np.zeros((1, q)), np.eye(q)[None] * variance
    expected, spread = model_residuals(value, design, noise, learn, *prior, exact=True)
    return expected[:, 0], spread[:, 0]


def recursive_residuals(value: np.ndarray, design: np.ndarray) -> np.ndarray:
    """By statsmodels, standardised; NaN for the parts that start it."""
    from statsmodels.regression.recursive_ls import RecursiveLS

    fit = RecursiveLS(value, design).fit()
    answer = np.asarray(fit.resid_recursive, float)
    answer[: design.shape[1]] = np.nan
    return answer


def test_level_as_statsmodels():
    value = np.random.default_rng(1).normal(7.0, 3.0, 60)
    expected, variance = level_residuals(value, np.ones(60), np.ones(60, bool))
    mine = (value - expected) / np.sqrt(variance)
    np.testing.assert_allclose(mine[1:], recursive_residuals(value, np.ones((60, 1)))[1:], rtol=1e-6)


def test_line_as_statsmodels():
    rng = np.random.default_rng(2)
    design = np.column_stack([np.ones(60), np.linspace(0.0, 1.0, 60), rng.choice(2, 60)])
    value = design @ [3.0, -2.0, 5.0] + rng.standard_normal(60)
    expected, variance = one_model(value, design, np.ones(60), np.ones(60, bool), 1e8)
    mine = (value - expected) / np.sqrt(variance)
    theirs = recursive_residuals(value, design)
    start = 10
    np.testing.assert_allclose(mine[start:], theirs[start:], rtol=1e-5, atol=1e-6)


def test_level_and_general_model_agree_with_unequal_noise_and_parts_left_out():
    rng = np.random.default_rng(3)
    value, noise = rng.standard_normal(50), rng.uniform(0.5, 3.0, 50)
    learn = rng.random(50) > 0.2
    learn[0] = True
    plain = level_residuals(value, noise, learn)
    general = one_model(value, np.ones((50, 1)), noise, learn, 1e8)
    for a, b in zip(plain, general, strict=True):
        np.testing.assert_allclose(b[1:], a[1:], rtol=1e-5, atol=1e-6)
    before = learn[:20]
    weight = 1 / noise[:20][before]
    assert plain[0][20] == pytest.approx((weight * value[:20][before]).sum() / weight.sum())
    assert plain[1][20] == pytest.approx(noise[20] + 1 / weight.sum())


@given(st.floats(-50, 50), st.floats(0.01, 100), st.integers(1, 400))
def test_scores_carry_the_tail_of_student_over_to_the_normal(residual, sd, freedom):
    score = normal_scores(np.array([residual]), np.array([sd]), np.array([float(freedom)]))[0]
    tail = stats.t.sf(abs(residual / sd), freedom)
    assert abs(score) == pytest.approx(min(stats.norm.isf(max(tail, 1e-300)), 37.0), rel=1e-6, abs=1e-9)
    assert score * residual >= 0.0


def test_no_score_without_freedom_or_spread():
    score = normal_scores(np.array([1.0, 1.0, np.nan]), np.array([1.0, 0.0, 1.0]), np.array([0.0, 9.0, 9.0]))
    assert np.isnan(score).all()


def test_scores_are_standard_normal_and_independent_from_the_third_part_on():
    rng = np.random.default_rng(4)
    value = rng.normal(40.0, 6.0, (4_000, 12))
    scores = []
    for row in value:
        expected, variance = level_residuals(row, np.ones(12), np.ones(12, bool))
        residual = (row - expected) / np.sqrt(variance)
        total = np.concatenate([[0.0], np.nancumsum(residual**2)[:-1]])
        freedom = np.maximum(np.arange(12) - 1.0, 0.0)
        scores.append(normal_scores(residual, np.sqrt(total / np.maximum(freedom, 1.0)), freedom)[2:])
    z = np.array(scores)
    assert stats.kstest(z.ravel(), "norm").pvalue > 0.001
    # correlations of 4,000 pairs: standard error 0.016; 45 of them
    off = np.corrcoef(z.T)[np.triu_indices(10, 1)]
    assert np.abs(off).max() < 4.5 / np.sqrt(4_000)
