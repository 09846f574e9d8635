"""Shapes: quantiles and shares against scipy, choice by kind and fit, histogram."""

from __future__ import annotations

import numpy as np
import pytest

from spc.capability.distribution import (
    HIGH_SHARE,
    LOW_SHARE,
    Fit,
    anderson_darling,
    choose_shape,
    density,
    fit_shape,
    folded_from_moments,
    quantiles,
    share_out,
    to_normal_scale,
)
from spc.capability.histogram import histogram_of
from spc.capability.sizes import fit_sizes
from spc.errors import SpcError, TooFewReadings


def law(fit: Fit):
    from scipy.stats import foldnorm, lognorm, norm

    if fit.shape == "lognormal":
        return lognorm(fit.sigma, scale=np.exp(fit.mean))
    if fit.shape == "folded normal":
        return foldnorm(abs(fit.mean) / fit.sigma, scale=fit.sigma)
    return norm(fit.mean, fit.sigma)


FITS = [
    Fit("normal", 3.0, 0.5),
    Fit("lognormal", 0.7, 0.3),
    Fit("folded normal", 0.0, 2.0),
    Fit("folded normal", -1.0, 0.8),
    Fit("folded normal", 9.0, 0.5),
]


@pytest.mark.parametrize("fit", FITS, ids=str)
def test_quantiles_and_shares_against_scipy(fit):
    theirs = law(fit)
    found = quantiles(fit.shape, fit.mean, fit.sigma)
    for ours, share in zip(found, (LOW_SHARE, 0.5, HIGH_SHARE), strict=True):
        assert float(ours) == pytest.approx(theirs.ppf(share), rel=1e-4, abs=1e-4 * fit.sigma)
    lower, upper = theirs.ppf(0.2), theirs.ppf(0.97)
    below, above = share_out(fit.shape, fit.mean, fit.sigma, lower, upper)
    assert (float(below), float(above)) == pytest.approx((0.2, 0.03), abs=1e-9)


@pytest.mark.parametrize("fit", FITS, ids=str)
def test_densities_against_scipy(fit):
    at = np.linspace(-1.0, 10.0, 45)
    # At 0 the density of a folded normal jumps; scipy and we both count 0 as inside.
    assert density(at, fit) == pytest.approx(law(fit).pdf(at), rel=1e-9, abs=1e-12)


def test_far_tails_keep_their_digits():
    from scipy.stats import norm

    below, above = share_out("normal", 0.0, 1.0, -9.0, 12.0)
    assert float(below) == pytest.approx(norm.cdf(-9), rel=1e-9)
    assert float(above) == pytest.approx(norm.sf(12), rel=1e-9)


def test_shares_without_a_limit_or_with_one_at_zero():
    assert [float(s) for s in share_out("normal", 0.0, 1.0, None, None)] == [0.0, 0.0]
    assert float(share_out("lognormal", 0.0, 1.0, 0.0, None)[0]) == 0.0
    assert float(share_out("folded normal", 0.0, 1.0, 0.0, None)[0]) == 0.0
    assert float(share_out("folded normal", 0.0, 1.0, None, -1.0)[1]) == 1.0


def test_folded_moments_are_undone():
    mean, sigma = np.array([0.0, 0.5, 1.0, 4.0]), np.array([1.0, 1.0, 2.0, 0.5])
    from scipy.stats import foldnorm

    size = foldnorm.mean(mean / sigma, scale=sigma)
    found = folded_from_moments(size, mean**2 + sigma**2)
    assert found[0] == pytest.approx(mean, abs=2e-3)
    assert found[1] == pytest.approx(sigma, rel=2e-3)


def test_a_ratio_no_folded_normal_can_have_is_answered_by_the_half_normal():
    mean, sigma = folded_from_moments(np.array(0.5), np.array(1.0))
    assert (float(mean), float(sigma)) == (0.0, 1.0)


def test_fits_recover_what_made_the_data():
    rng = np.random.default_rng(1)
    x = rng.normal(1.0, 0.4, 20_000)
    assert fit_shape(x, "normal").sigma == pytest.approx(0.4, rel=0.02)
    assert fit_shape(np.exp(x), "lognormal").mean == pytest.approx(1.0, abs=0.01)
    folded = fit_shape(np.abs(rng.normal(0.8, 1.0, 20_000)), "folded normal")
    assert (folded.mean, folded.sigma) == pytest.approx((0.8, 1.0), abs=0.08)


def test_sizes_by_likelihood_against_scipy():
    from scipy.stats import foldnorm

    x = np.abs(np.random.default_rng(2).normal(1.5, 1.0, size=(80, 1)))
    found = fit_sizes(x).fit
    shape, _, scale = foldnorm.fit(x.ravel(), floc=0)
    assert found.sigma == pytest.approx(scale, rel=1e-3)
    assert found.mean == pytest.approx(shape * scale, rel=1e-3)


def test_believable_fits_surround_the_best_and_scale_with_the_unit():
    x = np.abs(np.random.default_rng(3).normal(1.0, 1.0, size=(40, 2)))
    one, other = fit_sizes(x), fit_sizes(25.4 * x)
    assert other.fit.sigma == pytest.approx(25.4 * one.fit.sigma, rel=1e-6)
    means, sigmas = one.believable
    assert means.min() <= one.fit.mean <= means.max()
    assert sigmas.min() < one.fit.sigma < sigmas.max()
    assert other.believable[1].max() == pytest.approx(25.4 * sigmas.max(), rel=1e-5)


def test_very_many_sizes_are_condensed_without_moving_the_fit():
    x = np.abs(np.random.default_rng(4).normal(1.2, 1.0, size=(3_000, 1)))
    from scipy.stats import foldnorm

    shape, _, scale = foldnorm.fit(x.ravel(), floc=0)
    assert fit_sizes(x).fit.sigma == pytest.approx(scale, rel=0.01)
    assert fit_sizes(x).fit.mean == pytest.approx(shape * scale, rel=0.02)


@pytest.mark.parametrize(
    ("kind", "values", "shape"),
    [
        ("size", np.exp(np.random.default_rng(1).normal(size=300)), "normal"),
        ("finish", np.exp(np.random.default_rng(1).normal(size=300)), "lognormal"),
        ("finish", np.random.default_rng(1).normal(10, 1, size=30), "lognormal"),
        ("finish", 10 - np.random.default_rng(1).gamma(2, 1.5, size=300).clip(0, 9.5), "normal"),
        ("finish", np.random.default_rng(1).normal(size=300), "normal"),
        ("form", np.abs(np.random.default_rng(1).normal(size=300)), "folded normal"),
        ("form", np.exp(np.random.default_rng(1).normal(size=300)), "lognormal"),
        ("form", np.array([0.0, 1.0, 2.0, 1.0]), "folded normal"),
        ("form", np.random.default_rng(1).normal(size=300), "normal"),
        ("time", np.exp(np.random.default_rng(1).normal(size=300)), "lognormal"),
        ("finish", np.ones(5), "lognormal"),
    ],
)
def test_shape_by_kind_and_fit(kind, values, shape):
    assert choose_shape(values, kind) == shape


def test_readings_of_one_part_count_once_in_the_choice_of_shape():
    x = np.random.default_rng(2).normal(10, 2.2, size=(60, 1))
    assert choose_shape(x, "finish") == choose_shape(np.repeat(x, 30, axis=1), "finish")
    assert choose_shape(np.repeat(x, 30, axis=1).ravel(), "finish") == "normal"


def test_signed_values_judged_by_size_are_folded_by_construction():
    assert choose_shape(np.random.default_rng(1).normal(size=9), "size", signed_sizes=True) == "folded normal"


def test_anderson_darling_against_scipy_and_on_data_that_are_not_normal():
    from scipy.stats import anderson

    rng = np.random.default_rng(7)
    x = rng.normal(size=60)
    found = anderson_darling(x)
    assert found.statistic == pytest.approx(anderson(x, "norm", method="interpolate").statistic, abs=1e-8)
    assert found.n == 60 and found.p_value > 0.05
    assert anderson_darling(rng.exponential(size=200)).p_value < 1e-6
    assert anderson_darling(x * 25.4 + 1e5).statistic == pytest.approx(found.statistic, abs=1e-6)


def test_anderson_darling_is_that_of_statsmodels_where_that_is_finite():
    from statsmodels.stats.diagnostic import normal_ad

    rng = np.random.default_rng(5)
    for n in (8, 9, 20, 200):
        for draw in (rng.normal, rng.uniform, rng.exponential):
            x = draw(size=n)
            statistic, p_value = normal_ad(x)
            assert np.isfinite(statistic)
            found = anderson_darling(x)
            assert found.statistic == pytest.approx(statistic, abs=1e-8)
            assert found.p_value == pytest.approx(p_value, abs=1e-8)


@pytest.mark.parametrize("far", [9.0, 40.0, 1e6])
def test_a_value_far_out_keeps_anderson_darling_finite_and_sure(far: float):
    x = np.r_[np.random.default_rng(6).normal(size=3000), far * 3000]
    found = anderson_darling(x)
    assert np.isfinite(found.statistic)
    assert found.p_value < 1e-100


def test_anderson_darling_is_right_as_often_as_it_says():
    rng = np.random.default_rng(8)
    p = np.array([anderson_darling(row).p_value for row in rng.normal(size=(600, 20))])
    assert (p < 0.05).mean() == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 600))


def test_histogram_counts_every_reading_once():
    x = np.random.default_rng(9).normal(size=(50, 4))
    x[3, 2] = np.nan
    found = histogram_of(x, Fit("normal", 0.0, 1.0))
    assert found.counts.sum() == 199
    assert found.edges[0] <= np.nanmin(x) and found.edges[-1] >= np.nanmax(x)
    area = np.trapezoid(found.curve, found.curve_at)
    assert area == pytest.approx(199 * np.diff(found.edges).mean(), rel=0.02)


def test_histogram_classes_are_whole_steps_of_the_gauge():
    x = np.round(np.random.default_rng(9).normal(0, 3, size=400) / 0.5) * 0.5
    found = histogram_of(x, resolution=0.5)
    assert np.diff(found.edges) / 0.5 == pytest.approx(np.round(np.diff(found.edges) / 0.5))
    # Every reading lies inside a class, half a step from its ends at least.
    assert np.abs(x[:, None] - found.edges[None, :]).min() >= 0.25 - 1e-9
    assert found.counts.sum() == 400
    assert found.curve.size == 0


@pytest.mark.parametrize("values", [[5.0], [2.0, 2.0, 2.0], [0.0, 0.0], [1.0, 1.0, 1.0, 1.0, 9.0]])
def test_histogram_of_hardly_any_spread(values):
    found = histogram_of(values)
    assert found.counts.sum() == len(values)
    assert np.all(np.diff(found.edges) > 0)


@pytest.mark.parametrize(
    ("call", "error", "says"),
    [
        (lambda: anderson_darling([1.0] * 7), TooFewReadings, "8 values; got 7"),
        (lambda: anderson_darling([1.0] * 8), SpcError, "all are equal"),
        (lambda: fit_shape([1.0], "normal"), TooFewReadings, "2 values"),
        (lambda: fit_shape([1.0, -1.0], "folded normal"), SpcError, "below 0; the smallest is -1"),
        (lambda: fit_shape([1.0, 0.0], "lognormal"), SpcError, "above 0; the smallest is 0"),
        (lambda: fit_sizes(np.array([[1.0], [-2.0]])), SpcError, "below 0; the smallest is -2"),
        (lambda: to_normal_scale([np.nan, -3.0], "lognormal"), SpcError, "smallest is -3"),
        (lambda: histogram_of([np.nan]), TooFewReadings, "1 reading"),
    ],
)
def test_what_cannot_be_fitted_is_named(call, error, says):
    with pytest.raises(error, match=says):
        call()
