"""Weibull and Johnson shapes and the percentile method: against the general library, by property, at the border."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.special import ndtr

from spc.capability.distribution import fit_shape
from spc.capability.histogram import histogram_of
from spc.capability.johnson import JOHNSON_Z, Johnson, fit_johnson, johnson_through
from spc.capability.percentile import percentile_capability
from spc.capability.process_capability import process_capability
from spc.capability.resample import (
    bootstrap_index,
    part_weights,
    resampled_index,
    resampled_points,
)
from spc.capability.shapes import Weibull, anderson_darling_of, below, compare_shapes, fit_weibull
from spc.errors import SpcError, TooFewReadings

FOUR = ndtr(np.array([-3, -1, 1, 3]) * JOHNSON_Z)


def test_weibull_is_fitted_as_by_the_general_library():
    x = stats.weibull_min.rvs(1.7, scale=3e-3, size=60, random_state=1)
    ours = fit_weibull(x)
    slope, _, scale = stats.weibull_min.fit(x, floc=0, method="mle", optimizer=_tight)
    assert float(ours.slope) == pytest.approx(slope, rel=1e-6)
    assert float(ours.scale) == pytest.approx(scale, rel=1e-6)
    law = stats.weibull_min(float(ours.slope), scale=float(ours.scale))
    assert float(ours.quantile(0.99865)) == pytest.approx(law.ppf(0.99865))
    assert ours.below(x) == pytest.approx(law.cdf(x))
    assert ours.below([-1.0, 0.0]).tolist() == [0, 0]


def _tight(func, start, args=(), disp=0):
    from scipy.optimize import fmin

    return fmin(func, start, args=args, xtol=1e-10, ftol=1e-12, maxiter=5_000, maxfun=5_000, disp=disp)


def test_reweighted_fits_equal_fits_of_the_repeated_values():
    x = np.random.default_rng(2).weibull(0.8, 12) * 5
    counts = np.array([[1] * 12, [3, 0, 2, 1, 0, 0, 1, 2, 0, 1, 1, 1]])
    found = fit_weibull(x, counts)
    for i, row in enumerate(counts):
        single = fit_weibull(np.repeat(x, row))
        assert found.slope[i] == pytest.approx(float(single.slope))
        assert found.scale[i] == pytest.approx(float(single.scale))


LAWS = {
    "SU": stats.johnsonsu(-1.2, 1.6, loc=4, scale=2),
    "SB": stats.johnsonsb(0.8, 1.1, loc=4, scale=2),
    "SB mirrored": stats.johnsonsb(-0.8, 1.1, loc=4, scale=2),
    "SL": stats.lognorm(0.5, loc=2, scale=3),
}


@pytest.mark.parametrize("name", LAWS)
def test_johnson_gives_back_the_law_that_made_the_points(name):
    law = LAWS[name]
    found = johnson_through(law.ppf(FOUR)[:, None], single=True)
    assert str(found.family) == name.split()[0]
    for share in (0.00135, 0.1, 0.5, 0.9, 0.99865):
        assert float(found.quantile(share)) == pytest.approx(law.ppf(share), rel=1e-8)
        assert float(found.below(law.ppf(share))) == pytest.approx(share, abs=1e-9)


@pytest.mark.parametrize("name", LAWS)
def test_johnson_mirrors(name):
    points = LAWS[name].ppf(FOUR)
    first = johnson_through(points[:, None], single=True)
    mirrored = johnson_through(-points[::-1][:, None], single=True)
    assert float(mirrored.quantile(0.02)) == pytest.approx(-float(first.quantile(0.98)))
    assert float(mirrored.below(-points[0])) == pytest.approx(1 - float(first.below(points[0])))


def test_shares_beyond_the_ends_of_a_johnson_curve():
    bounded = johnson_through(LAWS["SB"].ppf(FOUR)[:, None], single=True)
    assert bounded.below([3.9, 6.1]).tolist() == [0, 1]
    one_end = johnson_through(LAWS["SL"].ppf(FOUR)[:, None], single=True)
    assert float(one_end.below(1.9)) == 0


def test_shapes_are_ordered_by_fit():
    rng = np.random.default_rng(3)
    assert compare_shapes(rng.normal(100, 1, 300))[0].shape in ("normal", "lognormal", "johnson")
    skewed = compare_shapes(np.exp(rng.normal(0, 0.8, 300)))
    assert [fit.shape for fit in skewed].index("lognormal") < [fit.shape for fit in skewed].index("normal")
    weibull = compare_shapes(rng.weibull(0.7, 400))
    by_criterion = min((f for f in weibull if f.criterion is not None), key=lambda f: f.criterion or 0)
    assert by_criterion.shape == "weibull"
    assert {fit.shape for fit in compare_shapes(rng.normal(0, 1, 30))} == {"normal", "johnson"}


def test_anderson_darling_equals_the_general_library():
    x = np.random.default_rng(4).normal(3, 2, 40)
    fit = fit_shape(x, "normal")
    ours = anderson_darling_of(below(x, fit))
    assert ours == pytest.approx(stats.anderson(x, "norm", method="interpolate").statistic)


@given(st.integers(0, 500), st.sampled_from([25.4, 1e-3]))
@settings(max_examples=10, deadline=None)
def test_a_change_of_unit_changes_no_index(seed, factor):
    y = np.random.default_rng(seed).weibull(1.5, (30, 2)) + 0.01
    for shape in ("weibull", "johnson", "as measured"):
        first = percentile_capability(y, 0.005, 5, shape=shape, copies=200)
        again = percentile_capability(y * factor, 0.005 * factor, 5 * factor, shape=shape, copies=200)
        assert (
            first.ppk is not None and again.ppk is not None and first.pp is not None and again.pp is not None
        )
        assert again.ppk.estimate == pytest.approx(first.ppk.estimate, rel=1e-6)
        if first.ppk.lower is None:
            assert shape == "as measured" and again.ppk.lower is None and again.pp.upper is None
            assert again.pp.estimate == pytest.approx(first.pp.estimate, rel=1e-6)
        else:
            assert again.ppk.lower == pytest.approx(first.ppk.lower, rel=1e-4, abs=1e-6)
            assert again.pp.upper == pytest.approx(first.pp.upper, rel=1e-4)
        assert again.high == pytest.approx(first.high * factor, rel=1e-6)


def test_mirrored_readings_and_limits_give_the_same_index():
    y = np.random.default_rng(5).gamma(3, 1, (60, 1))
    for shape in ("johnson", "as measured"):
        first = percentile_capability(y, None, 12, shape=shape, copies=200)
        again = percentile_capability(-y, -12, None, shape=shape, copies=200)
        assert first.ppk is not None and again.ppk is not None
        assert again.ppk.estimate == pytest.approx(first.ppk.estimate, rel=1e-9)


def test_normal_readings_give_the_normal_index_by_percentiles():
    y = np.random.default_rng(6).normal(0, 1, (5_000, 1))
    for shape in ("johnson", "as measured"):
        found = percentile_capability(y, -5, 4, shape=shape, copies=100)
        assert found.ppk is not None
        assert found.ppk.estimate == pytest.approx(4 / 3, rel=0.08)


def test_a_lower_limit_of_zero_cannot_be_missed():
    y = np.random.default_rng(7).weibull(1.2, (20, 1))
    found = percentile_capability(y, 0, 9, shape="weibull", copies=200)
    assert found.pp is None
    assert "left out" in found.warnings[0]


def test_expected_share_out_follows_the_fit():
    y = np.random.default_rng(8).weibull(1.5, (50, 1)) * 2
    found = percentile_capability(y, None, 6, shape="weibull", copies=400)
    fit = fit_weibull(y[:, 0])
    assert found.out is not None and found.out.expected is not None
    assert found.out.expected.estimate == pytest.approx(
        math.exp(-((6 / float(fit.scale)) ** float(fit.slope)))
    )
    assert found.out.expected.lower <= found.out.expected.estimate <= found.out.expected.upper


def test_the_index_of_a_copy_is_that_of_its_repeated_parts():
    rng = np.random.default_rng(9)
    y = 1e6 + rng.normal(size=(6, 3))
    y[1, 2] = np.nan
    weights = part_weights(6, rng, 5)
    index, _ = resampled_index(y, weights, 1e6 - 3, 1e6 + 4)
    points = resampled_points(y, weights, (0.2, 0.5))
    for i, row in enumerate(weights):
        again = np.repeat(y, row.astype(int), axis=0)
        mean = np.nanmean(again, axis=1)
        sigma = math.sqrt(mean.var(ddof=1) + np.nanvar(again, axis=1).mean())
        middle = mean.mean()
        assert index[i] == pytest.approx(min(1e6 + 4 - middle, middle - 1e6 + 3) / (3 * sigma), rel=1e-6)
        flat = again[np.isfinite(again)]
        assert points[:, i] == pytest.approx(np.quantile(flat, (0.2, 0.5), method="weibull"), abs=1e-9)


def test_the_standard_error_is_that_of_leaving_parts_out():
    """Jackknife: the delta method's sum over parts, by leaving each out in turn."""
    y = np.random.default_rng(13).normal(size=(400, 2)) + np.random.default_rng(14).normal(size=(400, 1))
    one_out = np.ones((400, 400)) - np.eye(400)
    index, error = resampled_index(y, np.ones((1, 400)), None, 5.0)
    left, _ = resampled_index(y, one_out, None, 5.0)
    jackknife = math.sqrt(399 / 400 * np.sum((left - left.mean()) ** 2))
    assert error[0] == pytest.approx(jackknife, rel=0.02)
    assert index[0] == pytest.approx(left.mean(), rel=1e-3)


def test_many_processes_share_one_set_of_copies():
    y = np.random.default_rng(10).normal(size=(4, 9, 2))
    together = bootstrap_index(y, -4, 4, copies=50, seed=3)
    assert together.shape == (4, 50)
    assert together[2] == pytest.approx(bootstrap_index(y[2], -4, 4, copies=50, seed=3))


def test_the_bootstrap_spread_is_that_of_the_general_library():
    y = np.random.default_rng(11).normal(size=40)

    def index(x, axis=-1):
        return (4 - x.mean(axis=axis)) / (3 * x.std(axis=axis, ddof=1))

    theirs = stats.bootstrap(
        (y,), index, n_resamples=4_000, method="percentile", rng=np.random.default_rng(1)
    )
    weights = np.random.default_rng(2).multinomial(40, np.full(40, 1 / 40), size=4_000).astype(float)
    copies, _ = resampled_index(y[:, None], weights, None, 4.0)
    ours = np.quantile(copies, [0.025, 0.975])
    # Monte Carlo error of the ends of 4,000 copies is about 0.02.
    assert ours == pytest.approx([theirs.confidence_interval.low, theirs.confidence_interval.high], abs=0.06)


@pytest.mark.parametrize("family", ["johnsonsu", "johnsonsb"])
def test_the_likeliest_johnson_curve_is_as_likely_as_the_general_library_finds(family):
    law = getattr(stats, family)
    x = law.rvs(0.6, 1.4, loc=3.0, scale=2.0, size=800, random_state=4)
    points, top = fit_johnson(x), fit_johnson(x, likelihood=True)
    theirs = np.sum(law.logpdf(x, *law.fit(x, 0.6, 1.4, loc=3.0, scale=2.0)))
    ours = np.sum(np.log(top.density(x)))
    assert ours >= np.sum(np.log(points.density(x)))
    assert ours == pytest.approx(theirs, abs=0.05)


@pytest.mark.parametrize(
    "constants", [("SU", 0.5, 1.5, 1.0, 2.0), ("SB", -0.3, 1.1, -1.0, 4.0), ("SL", 0.2, -2.0, 1.0, -3.0)]
)
def test_densities_are_the_slopes_of_the_shares_below(constants):
    family, *rest = constants
    curves = [
        Johnson(np.str_(family), *(np.float64(v) for v in rest)),
        Weibull(np.float64(1.7), np.float64(2.0)),
    ]
    for curve in curves:
        for share in (0.01, 0.3, 0.5, 0.9, 0.999):
            x, step = float(curve.quantile(share)), 1e-5
            slope = (float(curve.below(x + step)) - float(curve.below(x - step))) / (2 * step)
            assert float(curve.density(x)) == pytest.approx(slope, rel=1e-5)
    assert float(curves[1].density(-1.0)) == 0.0


@pytest.mark.parametrize("shape", ["weibull", "johnson"])
def test_the_shape_that_is_asked_for_reaches_the_capability(shape):
    y = np.random.default_rng(21).weibull(1.5, (60, 2)) + 0.01
    found = process_capability(y, None, 7.0, stable=True, kind="finish", shape=shape)
    plain = percentile_capability(y, None, 7.0, shape=shape)
    assert (found.shape, found.ppk, found.out) == (shape, plain.ppk, plain.out)
    assert found.cp is None and found.cpk is None
    assert any("cannot be split" in text for text in found.warnings)
    drawn = histogram_of(y, found.fit)
    # The curve is a density: its area is that of the bars, but for the tails left out.
    area = np.trapezoid(drawn.curve, drawn.curve_at)
    assert area == pytest.approx(np.sum(drawn.counts * np.diff(drawn.edges)), rel=0.01)


@pytest.mark.parametrize("shape", ["weibull", "johnson"])
def test_the_capability_of_such_a_shape_without_limits_or_readings_is_told(shape):
    y = np.random.default_rng(22).weibull(1.5, (60, 1)) + 0.01
    free = process_capability(y, None, None, stable=True, shape=shape)
    assert free.ppk is None and free.refused is None and free.low < free.median < free.high
    assert free.low == pytest.approx(process_capability(y, None, 9.0, stable=True, shape=shape).low)
    few = process_capability(y[:4], None, 9.0, stable=True, shape=shape)
    assert few.refused == "too few parts: 4, an index needs 5"
    signed = process_capability(y - 1.0, None, 9.0, stable=True, judge_absolute=True, shape=shape)
    assert signed.low >= 0 or shape == "johnson"


def test_no_shape_with_a_tail_of_its_own_is_taken_unasked():
    y = np.random.default_rng(23).weibull(0.8, (300, 1)) + 0.01
    assert compare_shapes(y[:, 0])[0].shape in ("weibull", "johnson")
    for kind in ("size", "height", "form", "finish", "time", "check"):
        assert process_capability(y, None, 9.0, stable=True, kind=kind).shape not in ("weibull", "johnson")


GOOD = np.random.default_rng(0).weibull(1.5, (30, 1))


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        (lambda: percentile_capability(GOOD, None, None, shape="weibull"), SpcError, "needs a limit"),
        (lambda: percentile_capability(GOOD, 3, 1, shape="weibull"), SpcError, "wrong way round"),
        (lambda: percentile_capability(GOOD, None, 1, shape="gamma"), SpcError, "no shape of this method"),
        (lambda: percentile_capability(GOOD - 1, None, 1, shape="weibull"), SpcError, "above 0"),
        (lambda: percentile_capability(GOOD, -1, None, shape="weibull"), SpcError, "cannot be missed"),
        (lambda: percentile_capability([[np.nan]], None, 1, shape="weibull"), TooFewReadings, "1 reading"),
        (lambda: percentile_capability([[np.inf]], None, 1, shape="weibull"), SpcError, "infinite"),
        (lambda: percentile_capability(GOOD, None, 1, shape="weibull", tail=0.6), SpcError, "one half"),
        (lambda: fit_weibull([2.0] * 9), SpcError, "all are equal"),
        (lambda: fit_weibull([2.0, 3.0]), TooFewReadings, "5 values"),
        (lambda: fit_johnson([1.0] * 30), SpcError, "coincide"),
        (lambda: compare_shapes([1.0] * 30), SpcError, "all are equal"),
        (lambda: part_weights(1, np.random.default_rng(0)), TooFewReadings, "2 parts"),
        (lambda: bootstrap_index(GOOD, None, None), SpcError, "needs a limit"),
        (lambda: bootstrap_index(GOOD[:, 0], None, 4), SpcError, "table of parts"),
        (lambda: bootstrap_index(GOOD[:4], None, 4), TooFewReadings, "5 parts"),
        (lambda: bootstrap_index(np.ones((9, 2)), None, 4), SpcError, "process 1: all readings are equal"),
        (lambda: bootstrap_index(np.where(GOOD > 2, np.inf, GOOD), None, 4), SpcError, "infinite"),
        (lambda: bootstrap_index(np.where(GOOD > 1, np.nan, GOOD), None, 4), SpcError, "no reading"),
    ],
)
def test_refusals_say_what_is_wrong(call, error, words):
    with pytest.raises(error, match=words):
        call()


@pytest.mark.parametrize("shape", ["weibull", "johnson", "as measured"])
def test_degenerate_readings_are_refused_in_the_result(shape):
    few = percentile_capability(GOOD[:4], None, 5, shape=shape)
    flat = percentile_capability(np.full((30, 2), 1.5), None, 5, shape=shape)
    assert few.ppk is None and few.refused == "too few parts: 4, an index needs 5"
    if shape == "johnson":
        some = percentile_capability(GOOD[:10], None, 1, shape=shape)
        assert some.ppk is None and some.refused == "too few readings: 10, a johnson shape needs 25"
    assert flat.ppk is None and flat.refused is not None and "below what the gauge can show" in flat.refused


def test_coarse_readings_never_give_a_number_that_is_none():
    y = np.round(np.random.default_rng(1).weibull(2.0, (40, 1)) * 2) / 2 + 0.5
    for shape in ("weibull", "johnson", "as measured"):
        found = percentile_capability(y, 0.1, 5, shape=shape, copies=300)
        figures = [found.low, found.median, found.high]
        for index in (found.pp, found.ppk):
            if index is not None:
                figures += [index.estimate, *(end for end in (index.lower, index.upper) if end is not None)]
        assert np.isfinite(figures).all()


def test_the_middle_beyond_a_limit_is_warned_of():
    found = percentile_capability(GOOD + 10, None, 9, shape="weibull", copies=200)
    assert found.ppk is not None and found.ppk.estimate < 0
    assert any("above the upper limit" in text for text in found.warnings)
