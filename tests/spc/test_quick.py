"""The quick look at one series: the figures of its contract, against their definitions."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.capability.process_capability import process_capability
from spc.capability.quick import BEYOND_LIMITS, quick
from spc.errors import SpcError, TooFewReadings

X = np.random.default_rng(11).normal(50, 2, size=60)


def test_figures_by_their_definitions():
    found = quick(X, 42.0, 59.0).to_dict()
    within = np.abs(np.diff(X)).mean() / 1.1283791670955126
    assert found["n"] == 60
    assert found["mean"] == pytest.approx(X.mean())
    assert found["sigma_within"] == pytest.approx(within)
    assert found["sigma_overall"] == pytest.approx(X.std(ddof=1))
    limits = found["limits"]
    assert isinstance(limits, dict)
    assert limits == pytest.approx(
        {"center": X.mean(), "lower": X.mean() - 3 * within, "upper": X.mean() + 3 * within}
    )
    capability = found["capability"]
    assert isinstance(capability, dict)
    nearer = min(59 - X.mean(), X.mean() - 42)
    assert capability["cp"]["estimate"] == pytest.approx(17 / (6 * within))
    assert capability["cpk"]["estimate"] == pytest.approx(nearer / (3 * within))
    assert capability["pp"]["estimate"] == pytest.approx(17 / (6 * X.std(ddof=1)))
    assert capability["ppk"]["estimate"] == pytest.approx(nearer / (3 * X.std(ddof=1)))
    for index in capability.values():
        assert index["lower"] < index["estimate"] < index["upper"]
        assert index["confidence"] == 0.95


def test_the_contract_has_these_names_in_this_order():
    found = quick(X, 42.0, 59.0).to_dict()
    assert list(found) == [
        "n", "mean", "sigma_within", "sigma_overall", "limits", "signals", "capability", "distribution", "warnings",
    ]  # fmt: skip
    assert list(found["limits"]) == ["center", "lower", "upper"]  # type: ignore[call-overload]
    assert list(found["capability"]) == ["cp", "cpk", "pp", "ppk"]  # type: ignore[call-overload]
    assert json.loads(json.dumps(found, allow_nan=False)) == found


def test_signals_are_points_beyond_the_limits_counted_from_zero():
    x = X.copy()
    x[[7, 31]] = 70.0, 20.0
    found = quick(x).to_dict()
    assert found["signals"] == [{"index": 7, "rule": BEYOND_LIMITS}, {"index": 31, "rule": BEYOND_LIMITS}]
    judged = quick(x, 10, 90)
    assert any("not stable" in w for w in judged.warnings)


def test_without_limits_there_is_no_capability():
    assert quick(X).to_dict()["capability"] is None


@pytest.mark.parametrize(("lower", "upper"), [(42.0, None), (None, 59.0)])
def test_one_limit_gives_no_width_index(lower, upper):
    found = quick(X, lower, upper).to_dict()["capability"]
    assert isinstance(found, dict)
    assert found["cp"] is None and found["pp"] is None
    side = (X.mean() - 42) if lower else (59 - X.mean())
    assert found["ppk"]["estimate"] == pytest.approx(side / (3 * X.std(ddof=1)))


def test_constant_values_have_named_warnings_and_no_index():
    found = quick([5.0] * 12, 4.0, 6.0)
    assert found.capability is not None
    assert set(vars(found.capability).values()) == {None}
    assert any("all values are equal" in w for w in found.warnings)
    assert found.to_dict()["limits"] == {"center": 5.0, "lower": 5.0, "upper": 5.0}
    assert found.signals == ()


@pytest.mark.parametrize("values", [[0.0, 4.9e-187], [0.0, 1.9e-91], [1e9, 1e9 * (1 + 1e-15)]])
def test_a_spread_that_is_mere_rounding_counts_as_none(values):
    found = quick(values, 0.0, 1.0)
    assert found.capability is not None
    assert set(vars(found.capability).values()) == {None}
    assert any("all values are equal" in w for w in found.warnings)


def test_few_coarse_and_skewed_values_are_said_to_be_so():
    assert any(w.startswith("few values: 4") for w in quick([1.0, 2.0, 3.0, 2.5]).warnings)
    coarse = np.round(np.random.default_rng(1).normal(size=50) / 2) * 2
    assert any("resolution is too coarse" in w for w in quick(coarse).warnings)
    skewed = np.random.default_rng(1).exponential(size=100)
    found = quick(skewed)
    assert any("not normal" in w for w in found.warnings)
    assert found.to_dict()["distribution"]["p_value"] < 0.005  # type: ignore[index]


def test_a_mean_beyond_a_limit_is_a_negative_index_and_a_warning():
    found = quick(X, 60.0, 70.0)
    assert found.capability is not None and found.capability.ppk is not None
    assert found.capability.ppk.estimate < 0
    assert any("below the lower limit" in w for w in found.warnings)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=30),
    st.floats(-1e6, 1e6),
    st.floats(1e-3, 1e6),
)
def test_every_figure_is_a_number(values, lower, width):
    found = quick(values, lower, lower + width)
    text = json.dumps(found.to_dict(), allow_nan=False)
    assert "NaN" not in text
    assert found.sigma_within >= 0 and found.sigma_overall >= 0


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 9999), st.sampled_from([25.4, 1 / 25.4, 1000.0]))
def test_a_change_of_unit_leaves_indices_and_signals_unchanged(seed, factor):
    x = np.random.default_rng(seed).normal(3, 1, size=25)
    one, other = quick(x, 0, 7), quick(factor * x, 0, 7 * factor)
    assert one.capability is not None and other.capability is not None
    for name in ("cp", "cpk", "pp", "ppk"):
        a, b = getattr(one.capability, name), getattr(other.capability, name)
        assert (a.estimate, a.lower, a.upper) == pytest.approx((b.estimate, b.lower, b.upper), rel=1e-7)
    assert one.signals == other.signals
    assert other.sigma_within == pytest.approx(factor * one.sigma_within)


def test_mirrored_values_in_mirrored_limits():
    one, other = quick(X, 42, 59).capability, quick(-X, -59, -42).capability
    assert one is not None and other is not None
    for name in ("cp", "cpk", "pp", "ppk"):
        a, b = getattr(one, name), getattr(other, name)
        assert (a.estimate, a.lower, a.upper) == pytest.approx((b.estimate, b.lower, b.upper))


@pytest.mark.parametrize(
    ("call", "error", "says"),
    [
        (lambda: quick([]), TooFewReadings, "at least 2 values; got 0"),
        (lambda: quick([1.0]), TooFewReadings, "at least 2 values; got 1"),
        (lambda: quick([1.0, math.nan, 3.0]), SpcError, "value 2 of 3 is nan"),
        (lambda: quick([1.0, math.inf]), SpcError, "value 2 of 2 is inf"),
        (lambda: quick(X, 5.0, 4.0), SpcError, "wrong way round"),
        (lambda: quick(X, math.nan), SpcError, "must be a number"),
        (lambda: quick(np.zeros((3, 3))), SpcError, "one series"),
    ],
)
def test_impossible_input_is_a_named_error(call, error, says):
    with pytest.raises(error, match=says):
        call()


def test_two_values_are_enough_for_limits_and_wide_intervals():
    found = quick([1.0, 2.0], 0.0, 3.0)
    assert found.capability is not None and found.capability.ppk is not None
    assert found.capability.ppk.lower < 0 < 1 < found.capability.ppk.upper


def test_more_rules_find_more_and_say_how_often_chance_would():
    from spc.charts.run_rules import BEYOND, NINE_IN_A_ROW, SIX_TREND

    x = np.r_[X, 50 + np.arange(1, 11) * 0.4]
    plain, more = quick(x), quick(x, rules=(BEYOND, NINE_IN_A_ROW, SIX_TREND))
    assert plain.in_control is None and "rules" not in plain.to_dict()
    assert more.in_control is not None
    assert more.in_control.average < 300
    assert {s.rule for s in more.signals} >= {"nine in a row on one side", "six in a row rising or falling"}
    assert [s.index for s in more.signals] == sorted(s.index for s in more.signals)
    assert more.to_dict()["rules"]["names"] == [  # type: ignore[index]
        BEYOND_LIMITS,
        "nine in a row on one side",
        "six in a row rising or falling",
    ]


def test_equal_values_break_no_rule():
    from spc.charts.run_rules import RULES

    assert quick([2.0] * 40, rules=RULES).signals == ()


@pytest.mark.parametrize("shape", ["lognormal", "folded normal", "weibull", "johnson"])
def test_the_shape_that_is_named_tells_the_capability_and_no_other_does(shape):
    x = np.random.default_rng(3).weibull(1.5, 60) + 0.01
    found = quick(x, None, 6.0, shape=shape)
    held = process_capability(x[:, None], None, 6.0, stable=True, shape=shape)
    assert found.capability is not None
    assert (found.capability.cpk, found.capability.ppk) == (held.cpk, held.ppk)
    assert found.to_dict()["distribution"]["name"] == shape  # type: ignore[index]
    plain = quick(x, None, 6.0)
    assert (plain.shape, found.lower, found.sigma_within) == ("normal", plain.lower, plain.sigma_within)
    json.dumps(found.to_dict(), allow_nan=False)


@pytest.mark.parametrize("shape", ["lognormal", "weibull", "johnson", "folded normal"])
def test_few_or_equal_values_of_such_a_shape_are_told_and_impossible_ones_refused(shape):
    few = quick([1.0, 2.0, 3.0], None, 6.0, shape=shape)
    assert few.capability is not None and few.capability.ppk is None
    assert any("too few parts" in text for text in few.warnings)
    flat = quick(np.full(30, 2.0), None, 6.0, shape=shape)
    assert flat.capability is not None and flat.capability.ppk is None
    if shape != "johnson":
        with pytest.raises(SpcError, match=r"above 0|below 0"):
            quick(np.linspace(-1, 2, 30), None, 6.0, shape=shape)
