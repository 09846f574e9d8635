"""Capability of a process: by hand, by property, at the border."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.capability.distribution import quantiles
from spc.capability.process_capability import Capability, process_capability
from spc.capability.tolerance import LEAST_PARTS, check_limits, count_out, distance_index
from spc.errors import SpcError, TooFewReadings
from spc.strata import split_strata
from spc.variation import moving_range_sigma

PAIRS = np.repeat(np.arange(3), 2)
OFFSETS = np.array([0.0, 0.4, -0.3, 0.2, 0.5, -0.8])


def nested(seed: int = 1, parts: int = 20, missing: float = 0.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    y = (
        1.0 * rng.normal(size=(parts, 1))
        + 0.5 * rng.normal(size=(parts, 3))[:, PAIRS]
        + 0.4 * rng.normal(size=(parts, 6))
        + OFFSETS
    )
    y[rng.random(y.shape) < missing] = np.nan
    return y


def plain(seed: int = 1, parts: int = 20) -> np.ndarray:
    return np.random.default_rng(seed).normal(size=(parts, 1))


def numbers(thing: object) -> list[float]:
    """Every float inside a result, however deep."""
    if isinstance(thing, float):
        return [thing]
    if isinstance(thing, tuple | list):
        return [x for part in thing for x in numbers(part)]
    if is_dataclass(thing) and not isinstance(thing, type):
        return [x for field in fields(thing) for x in numbers(getattr(thing, field.name))]
    return []


def test_indices_of_plain_readings_by_hand():
    x = plain()
    found = process_capability(x, -4.0, 5.0, stable=True)
    mean, s, short = x.mean(), x.std(ddof=1), moving_range_sigma(x[:, 0])
    assert found.pp is not None and found.ppk is not None and found.cp is not None and found.cpk is not None
    assert found.pp.estimate == pytest.approx(9 / (6 * s))
    assert found.ppk.estimate == pytest.approx(min(5 - mean, mean + 4) / (3 * s))
    assert found.cp.estimate == pytest.approx(9 / (6 * short))
    assert found.cpk.estimate == pytest.approx(min(5 - mean, mean + 4) / (3 * short))
    assert (found.sigma_overall, found.sigma_within) == pytest.approx((s, short))


def test_overall_sigma_of_nested_readings_is_the_sum_of_the_components():
    y = nested()
    found = process_capability(y, -4.0, 4.0, strata=[PAIRS], stable=True)
    split = split_strata(y, [PAIRS])
    total = split.raw_components.sum() + split.pattern
    assert found.sigma_overall == pytest.approx(math.sqrt(total))
    assert found.position_offsets == pytest.approx(tuple(split.offsets))
    truth = 1 + 0.25 + 0.16 + np.var(OFFSETS)
    many = [
        process_capability(nested(s), -4, 4, strata=[PAIRS], stable=False).sigma_overall ** 2
        for s in range(60)
    ]
    assert np.mean(many) == pytest.approx(truth, abs=4 * np.std(many) / math.sqrt(60))


def test_cp_and_cpk_belong_to_stable_processes_only():
    found = process_capability(nested(), -4, 4, strata=[PAIRS], stable=False)
    assert found.cp is None and found.cpk is None
    assert found.pp is not None and found.ppk is not None
    assert any(w.startswith("not stable") for w in found.warnings)


@pytest.mark.parametrize(("lower", "upper"), [(None, 4.0), (-4.0, None)])
def test_one_limit_has_no_width_index(lower, upper):
    found = process_capability(nested(), lower, upper, strata=[PAIRS], stable=True)
    assert found.cp is None and found.pp is None
    assert found.cpk is not None and found.ppk is not None
    side = upper - found.mean if upper is not None else found.mean - lower
    assert found.ppk.estimate == pytest.approx(side / (3 * found.sigma_overall))


def test_without_limits_there_is_a_spread_and_no_index():
    found = process_capability(nested(), None, None, strata=[PAIRS], stable=True)
    assert (found.cp, found.cpk, found.pp, found.ppk, found.out) == (None,) * 5
    assert found.sigma_overall > 0 and found.causes == ()
    assert found.fit is not None


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.01, 1e4), st.sampled_from([0.0, 0.15]))
def test_a_change_of_unit_leaves_every_index_unchanged(seed, factor, missing):
    y = nested(seed, parts=8, missing=missing)
    one = process_capability(y, -4.0, 4.5, strata=[PAIRS], stable=True, gauge_sd=0.1)
    other = process_capability(
        factor * y, -4.0 * factor, 4.5 * factor, strata=[PAIRS], stable=True, gauge_sd=0.1 * factor
    )
    for name in ("cp", "cpk", "pp", "ppk"):
        a, b = getattr(one, name), getattr(other, name)
        assert (a.estimate, a.lower, a.upper) == pytest.approx((b.estimate, b.lower, b.upper), rel=1e-6)
    assert other.sigma_overall == pytest.approx(factor * one.sigma_overall, rel=1e-8)
    assert [c.name for c in one.causes] == [c.name for c in other.causes]


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_mirrored_readings_in_mirrored_limits_have_the_same_indices(seed):
    y = nested(seed, parts=9)
    one = process_capability(y, -3.0, 5.0, strata=[PAIRS], stable=True)
    other = process_capability(-y, -5.0, 3.0, strata=[PAIRS], stable=True)
    for name in ("cp", "cpk", "pp", "ppk"):
        a, b = getattr(one, name), getattr(other, name)
        assert (a.estimate, a.lower, a.upper) == pytest.approx((b.estimate, b.lower, b.upper), rel=1e-9)
    assert one.out is not None and other.out is not None
    assert one.out.expected_below == pytest.approx(other.out.expected_above)


def test_the_order_of_parts_moves_cp_and_not_pp():
    y = np.sort(plain(parts=40), axis=0)
    one = process_capability(y, -4, 4, stable=True)
    other = process_capability(np.random.default_rng(0).permutation(y), -4, 4, stable=True)
    assert one.pp is not None and other.pp is not None and one.cp is not None and other.cp is not None
    assert one.pp.estimate == pytest.approx(other.pp.estimate)
    assert one.cp.estimate > 2 * other.cp.estimate


def test_the_same_seed_gives_the_same_result_and_another_nearly_so():
    y = nested()
    calls = [process_capability(y, -4, 4, strata=[PAIRS], stable=True, seed=s).ppk for s in (3, 3, 4)]
    assert calls[0] == calls[1] != calls[2]
    assert calls[0] is not None and calls[2] is not None
    assert calls[0].lower == pytest.approx(calls[2].lower, abs=0.02)


def test_parts_fail_as_parts():
    y = np.zeros((10, 6)) + plain(parts=10) * 0.1
    y[4, 2:5] = 9.0
    y[7, 0] = -9.0
    found = process_capability(y, -4, 4, stable=False)
    assert found.out is not None
    assert (found.out.readings_out, found.out.parts_out, found.out.parts) == (4, 2, 10)
    assert found.out.observed.estimate == 0.2
    assert found.out.resolvable == 0.3


def test_a_reading_on_the_limit_is_inside():
    counted = count_out(np.array([[4.0], [-4.0], [4.000001]]), -4.0, 4.0)
    assert counted is not None and counted.parts_out == 1


def test_expected_share_holds_the_truth():
    from scipy.stats import norm

    held = 0
    for seed in range(200):
        y = nested(seed, parts=12)
        found = process_capability(y, -3.0, 3.0, strata=[PAIRS], stable=False)
        assert found.out is not None and found.out.expected is not None
        truth = 2 * norm.sf(3.0 / math.sqrt(1 + 0.25 + 0.16 + np.var(OFFSETS)))
        held += found.out.expected.lower <= truth <= found.out.expected.upper
    assert held / 200 >= 0.95 - 3 * math.sqrt(0.05 * 0.95 / 200)


def test_causes_add_up_to_the_overall_variance():
    found = process_capability(nested(3, 60), -4, 4, strata=[PAIRS], stable=True, gauge_sd=0.2)
    shares = [c.share_of_variance for c in found.causes if c.share_of_variance is not None]
    assert sum(shares) == pytest.approx(1.0, abs=0.02)
    by_name = {(c.name, c.level): c for c in found.causes}
    assert by_name["gauge", None].sigma == pytest.approx(0.2)
    assert by_name["within part", 1].sigma == pytest.approx(0.5, abs=0.15)
    assert by_name["within part", 2].sigma == pytest.approx(math.sqrt(0.16 - 0.04), abs=0.1)
    assert by_name["position pattern", None].sigma == pytest.approx(OFFSETS.std(), abs=0.1)


def test_the_index_without_a_cause_is_the_index_of_the_rest():
    found = process_capability(nested(4, 60), -3, 5, strata=[PAIRS], stable=True)
    assert found.ppk is not None
    for cause in found.causes:
        assert cause.ppk_without is not None and cause.ppk_without >= found.ppk.estimate - 1e-12
        if cause.share_of_variance is not None:
            left = found.sigma_overall * math.sqrt(1 - cause.share_of_variance)
            assert cause.ppk_without == pytest.approx(min(5 - found.mean, found.mean + 3) / (3 * left))
            assert cause.share_of_tolerance == pytest.approx(6 * cause.sigma / 8)
    centred = next(c for c in found.causes if c.name == "off centre")
    assert found.pp is not None
    assert centred.ppk_without == pytest.approx(found.pp.estimate)
    assert centred.sigma == pytest.approx(1 - found.mean)


def test_without_its_only_cause_a_process_has_no_index():
    y = np.random.default_rng(1).normal(size=(4, 40)).T + np.zeros((40, 4))
    found = process_capability(y - y.mean(axis=1, keepdims=True), -4, 4, stable=False)
    assert (found.causes[0].name, found.causes[0].ppk_without) == ("within part", None)
    shares = [c.share_of_variance for c in found.causes if c.share_of_variance is not None]
    assert max(shares) <= 1.0


def test_many_missing_readings_are_a_warning_and_few_are_not():
    few = process_capability(nested(missing=0.05), -4, 4, strata=[PAIRS], stable=True)
    many = process_capability(nested(missing=0.4), -4, 4, strata=[PAIRS], stable=True)
    assert not any("missing" in w for w in few.warnings)
    assert any("of the readings are missing" in w for w in many.warnings)


def test_drift_is_named_as_drift():
    y = nested(5, 60) + np.linspace(0, 9, 60)[:, None]
    found = process_capability(y, -20, 20, strata=[PAIRS], stable=False)
    assert found.causes[0].name == "drift"
    assert found.causes[0].sigma == pytest.approx(np.linspace(0, 9, 60).std(), rel=0.15)


def test_a_gauge_worse_than_the_readings_is_a_warning():
    found = process_capability(nested(), -4, 4, strata=[PAIRS], stable=True, gauge_sd=5.0)
    assert any("gauge" in w for w in found.warnings)
    assert ("within part", 2) not in {(c.name, c.level) for c in found.causes}


def test_signed_readings_judged_by_size_follow_the_folded_normal():
    y = nested(6, 40)
    found = process_capability(y, 0.0, 5.0, strata=[PAIRS], stable=True, kind="form", judge_absolute=True)
    assert found.shape == "folded normal" and found.lower_limit is None
    low, median, high = (float(q) for q in quantiles("folded normal", found.mean, found.sigma_overall))
    assert found.ppk is not None and found.cpk is not None
    assert found.ppk.estimate == pytest.approx((5 - median) / (high - median))
    assert (found.low, found.median, found.high) == pytest.approx((low, median, high))
    mirror = process_capability(-y, None, 5.0, strata=[PAIRS], stable=True, kind="form", judge_absolute=True)
    assert mirror.ppk is not None
    assert mirror.ppk.estimate == pytest.approx(found.ppk.estimate)
    assert found.out is not None and found.out.parts_out == int((np.abs(y) > 5).any(axis=1).sum())


def test_finish_is_lognormal_by_the_percentile_method():
    y = np.exp(0.2 * nested(7, 30))
    found = process_capability(y, None, 3.0, strata=[PAIRS], stable=True, kind="finish")
    assert found.shape == "lognormal" and found.ppk is not None
    m, s = found.mean, found.sigma_overall
    assert found.ppk.estimate == pytest.approx((3 - math.exp(m)) / (math.exp(m + 3 * s) - math.exp(m)))
    both = process_capability(y, 0.2, 3.0, strata=[PAIRS], stable=True, kind="finish")
    assert both.pp is not None and both.ppk is not None
    assert both.pp.estimate == pytest.approx(2.8 / (math.exp(m + 3 * s) - math.exp(m - 3 * s)))
    centred = next(c for c in both.causes if c.name == "off centre")
    assert centred.ppk_without is not None and centred.ppk_without > both.ppk.estimate


def test_wildly_skewed_readings_stay_numbers():
    y = np.exp(np.random.default_rng(1).normal(0, 60, size=(6, 1)))
    found = process_capability(y, None, 5.0, stable=True, kind="finish")
    assert found.shape == "lognormal"
    assert all(math.isfinite(x) for x in numbers(found))


def test_sizes_without_a_sign_have_no_split():
    y = np.abs(np.random.default_rng(8).normal(0.5, 1, size=(30, 2)))
    found = process_capability(y, None, 6.0, stable=True, kind="form")
    assert found.shape == "folded normal" and found.ppk is not None
    assert found.cp is None and found.cpk is None and found.sigma_within is None
    assert any("without a sign" in w for w in found.warnings)
    assert found.ppk.lower < found.ppk.estimate < found.ppk.upper
    assert found.out is not None and found.out.expected is not None


def test_sizes_far_from_zero_are_split_as_any_other():
    y = 20 + np.random.default_rng(8).normal(size=(30, 2))
    found = process_capability(y, None, 26.0, stable=True, kind="form")
    assert found.cpk is not None and found.causes
    as_size = process_capability(y, None, 26.0, stable=True, kind="size")
    assert found.ppk is not None and as_size.ppk is not None
    assert found.ppk.estimate == pytest.approx(as_size.ppk.estimate, rel=1e-6)


def test_a_shape_can_be_given():
    y = np.exp(0.2 * nested(7, 30))
    assert process_capability(y, None, 3.0, stable=True, kind="size", shape="lognormal").shape == "lognormal"


def test_part_means_that_are_not_normal_are_a_warning():
    y = np.random.default_rng(9).exponential(size=(60, 1))
    found = process_capability(y, None, 9.0, stable=True)
    assert found.normality is not None and found.normality.p_value < 0.005
    assert any("histogram" in w for w in found.warnings)


def test_a_shape_that_the_readings_put_in_the_place_of_the_usual_one_is_named():
    y = np.linspace(1.0, 19.0, 200)[:, None]
    found = process_capability(y, None, 30.0, stable=True, kind="finish")
    assert found.shape == "normal"
    assert any("fits clearly better than the usual lognormal one" in text for text in found.warnings)
    asked = process_capability(y, None, 30.0, stable=True, kind="finish", shape="lognormal")
    assert asked.shape == "lognormal"
    assert not any("clearly better" in text for text in asked.warnings)


@pytest.mark.parametrize("kind", ["size", "form", "finish"])
@pytest.mark.parametrize("parts", [1, 2, LEAST_PARTS - 1])
def test_too_few_parts_have_counts_and_no_index(kind, parts):
    y = np.abs(nested(10, parts)) + 0.01
    found = process_capability(y, None, 0.5, strata=[PAIRS], stable=True, kind=kind)
    assert found.refused == f"too few parts: {parts}, an index needs {LEAST_PARTS}"
    assert (found.cp, found.cpk, found.pp, found.ppk) == (None,) * 4
    assert found.out is not None and found.out.parts == parts
    assert found.fit is None
    assert all(math.isfinite(x) for x in numbers(found))


@pytest.mark.parametrize(
    "y",
    [
        np.full((8, 4), 2.0),
        np.full((8, 1), 0.1),
        np.full((8, 4), 0.1) * np.arange(1, 5),
        np.zeros((8, 4)),
    ],
    ids=["equal", "equal one", "pattern only", "zero"],
)
@pytest.mark.parametrize("kind", ["size", "form"])
def test_readings_without_a_spread_are_refused(y, kind):
    found = process_capability(y, None, 1.0, stable=True, kind=kind)
    if kind == "form" and np.ptp(y) > 0:
        # Sizes of different places are simply sizes.
        assert found.ppk is not None
    else:
        assert found.refused is not None and "below what the gauge can show" in found.refused
    assert all(math.isfinite(x) for x in numbers(found))


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 10_000),
    st.integers(1, 9),
    st.integers(1, 6),
    st.sampled_from(["size", "form", "finish"]),
    st.sampled_from([0.0, 0.3, 0.6]),
    st.sampled_from([0.0, 0.5, 5.0]),
    st.booleans(),
    st.booleans(),
)
def test_no_result_ever_holds_a_nan_or_an_infinity(
    seed, parts, places, kind, missing, step, absolute, stable
):
    y = np.exp(nested(seed, parts))[:, :places]
    y = np.round(y / step) * step if step else y
    y[np.random.default_rng(seed).random(y.shape) < missing] = np.nan
    try:
        found = process_capability(
            y, 0.5, 3.0, strata=[PAIRS[:places]], stable=stable, kind=kind, judge_absolute=absolute
        )
    except TooFewReadings:
        assert not np.isfinite(y).any()
        return
    assert all(math.isfinite(x) for x in numbers(found))
    for index in (found.cp, found.cpk, found.pp, found.ppk):
        assert index is None or index.lower <= index.estimate <= index.upper
    assert isinstance(found, Capability)


@pytest.mark.parametrize(("lower", "upper"), [(3.0, 8.0), (None, -5.0), (5.0, None)])
def test_a_middle_beyond_a_limit_is_a_negative_index_and_a_warning(lower, upper):
    found = process_capability(nested(), lower, upper, strata=[PAIRS], stable=True)
    assert found.ppk is not None and found.ppk.estimate < 0
    assert any("middle of the readings" in w for w in found.warnings)


@pytest.mark.parametrize(
    ("call", "error", "says"),
    [
        (lambda: process_capability(nested(), 4, -4, stable=True), SpcError, "wrong way round"),
        (lambda: process_capability(nested(), 4, 4, stable=True), SpcError, "must be below"),
        (
            lambda: process_capability(nested(), math.nan, 4, stable=True),
            SpcError,
            "lower specification limit is nan",
        ),
        (lambda: check_limits(None, math.inf), SpcError, "upper specification limit is inf"),
        (
            lambda: process_capability(np.full((5, 2), np.nan), -4, 4, stable=True),
            TooFewReadings,
            "1 reading",
        ),
        (lambda: process_capability([[1.0, math.inf]] * 6, -4, 4, stable=True), SpcError, "infinite"),
        (lambda: process_capability(-nested(), 0, 4, stable=True, shape="lognormal"), SpcError, "above 0"),
        (lambda: process_capability(nested(), -4, 4, strata=[[0, 1]], stable=True), SpcError, "stratum"),
    ],
)
def test_impossible_input_is_a_named_error(call, error, says):
    with pytest.raises(error, match=says):
        call()


def test_distance_index_takes_the_nearer_side():
    assert float(distance_index(-3.0, 0.0, 6.0, -3.0, 12.0)) == 1.0
    assert float(distance_index(-3.0, 0.0, 6.0, -6.0, 6.0)) == 1.0


def test_the_gauge_behind_a_lognormal_shape_counts_by_its_share_of_the_median():
    """A gauge of 1 % of the median among readings that spread by 10 % takes a hundredth of the variance."""
    rng = np.random.default_rng(8)
    y = 5.0 * np.exp(rng.normal(0, 0.1, (60, 4)))
    found = process_capability(y, None, 9.0, strata=[], stable=True, shape="lognormal", gauge_sd=0.05)
    (gauge,) = [c for c in found.causes if c.name == "gauge"]
    assert gauge.sigma == pytest.approx(0.01, rel=0.05)
    assert gauge.share_of_variance == pytest.approx(0.01, rel=0.3)
