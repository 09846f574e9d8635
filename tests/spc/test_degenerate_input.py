"""Whatever is asked of whatever readings: a named error, or a result without a figure that is none.

Every way of asking meets every kind of poor data. A result may hold NaN only where it stands for "not measured"
or "no such limit", and says so in its description.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import spc
from spc.capability.quick import quick

RNG = np.random.default_rng(20)

SERIES: dict[str, list[float] | np.ndarray] = {
    "nothing": [],
    "one value": [3.2],
    "two values": [3.2, 3.3],
    "constant": [5.0] * 30,
    "constant far from zero": [1e9 + 0.1] * 30,
    "all zero": [0.0] * 30,
    "one that differs": [5.0] * 29 + [5.1],
    "two steps of the gauge": np.tile([5.0, 5.1], 15),
    "identical to resolution": 5.0 + 1e-16 * RNG.normal(size=30),
    "tiny": 1e-200 * RNG.normal(size=30),
    "huge": 1e150 * RNG.normal(size=30),
    "not a number": [1.0, math.nan, 2.0, 3.0, 1.5, 2.5, 1.0, 2.0, 3.0, 2.2],
    "infinite": [1.0, math.inf, 2.0, 3.0, 1.5, 2.5, 1.0, 2.0, 3.0, 2.2],
    "a line": np.arange(30.0),
    "one wild value": np.r_[RNG.normal(size=29), 1e6],
    "below zero": -5 - RNG.random(30),
    "good": RNG.normal(5, 1, 30),
}
LIMITS = {
    "two": (0.0, 10.0),
    "upper": (None, 10.0),
    "lower": (1.0, None),
    "far off": (100.0, 101.0),
    "wrong side": (None, -50.0),
    "swapped": (10.0, 0.0),
    "none": (None, None),
    "not a number": (math.nan, 3.0),
}

OF_SERIES: dict[str, Callable[[np.ndarray], object]] = {
    "individuals": spc.individuals,
    "moving range sigma": spc.moving_range_sigma,
    "overall sigma": spc.overall_sigma,
    "ewma": lambda x: spc.ewma_chart(x, target=5.0, sigma=1.0),
    "cusum": lambda x: spc.cusum_chart(x, target=5.0, allowance=0.5, limit=5.0),
    "normality": spc.anderson_darling,
    "shapes": spc.compare_shapes,
    "weibull": spc.fit_weibull,
    "johnson": spc.fit_johnson,
    "master check": lambda x: spc.master_check(x, 5.0, tolerance=2.0, resolution=0.1),
    "trend": spc.trend,
    "steps": spc.best_steps,
    "ranks": spc.step_by_ranks,
    "rank trend": spc.rank_trend,
    "trended": lambda x: spc.trended_chart(x, np.arange(len(x), dtype=float)),
    "deviation": lambda x: spc.deviation_chart(x, ["a"] * len(x), {"a": 5.0}),
    "standardised": lambda x: spc.standardised_chart(x, np.arange(len(x)) % 2, {0: 5.0, 1: 4.0}),
    "before and after": lambda x: spc.before_after(x, np.arange(len(x)) >= len(x) // 2),
    "components": lambda x: spc.variance_components(np.reshape(x, (-1, 2))[:15]),
    "between within": lambda x: spc.between_within(np.reshape(x, (-1, 2))),
    "mean range": lambda x: spc.mean_range(np.reshape(x, (-1, 2))),
    "mean sd": lambda x: spc.mean_sd(np.reshape(x, (-1, 2))),
    "many charts": lambda x: spc.many_charts(np.reshape(x, (2, -1))),
    "linearity": lambda x: spc.linearity(x, np.arange(len(x)) % 3 + 1.0),
    "one family study": lambda x: spc.gauge_study(x, np.arange(len(x)) // 2, ["x"] * len(x)),
    "study": lambda x: spc.gauge_study(x, np.arange(len(x)) // 6, np.arange(len(x)) % 3, lower=0, upper=9),
    "t squared": lambda x: spc.t_squared(np.reshape(x, (-1, 2))),
}


def figures(thing: object) -> Iterator[float]:
    """Every number in a result, however deep."""
    if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        for item in dataclasses.fields(thing):
            yield from figures(getattr(thing, item.name))
    elif isinstance(thing, dict):
        for item in thing.values():
            yield from figures(item)
    elif isinstance(thing, (list, tuple)):
        for item in thing:
            yield from figures(item)
    elif isinstance(thing, np.ndarray):
        if thing.dtype.kind == "f":
            yield from thing.ravel().tolist()
    elif isinstance(thing, (float, np.floating)):
        yield float(thing)


def holds(ask: Callable[[], object]) -> None:
    """A named error, or finite figures throughout."""
    try:
        found = ask()
    except spc.SpcError as error:
        assert len(str(error)) > 15, error
        return
    assert all(math.isfinite(value) for value in figures(found)), found


def shaped(x: list[float] | np.ndarray, name: str) -> np.ndarray:
    """As it is, but cut to an even number where rows of two are made of it."""
    y = np.asarray(x, dtype=float)
    paired = name in ("components", "between within", "mean range", "mean sd", "many charts", "t squared")
    return y[: y.size // 2 * 2] if paired else y


@pytest.mark.parametrize("way", OF_SERIES)
@pytest.mark.parametrize("data", SERIES)
def test_every_way_of_asking_meets_every_series(way, data):
    x = shaped(SERIES[data], way)
    holds(lambda: OF_SERIES[way](x))


@pytest.mark.parametrize("limits", LIMITS)
@pytest.mark.parametrize("data", SERIES)
def test_capability_meets_every_series_and_every_limit(data, limits):
    lower, upper = LIMITS[limits]
    x = np.asarray(SERIES[data], dtype=float)
    holds(lambda: quick(x, lower, upper))
    for kind in ("size", "form", "finish"):
        holds(lambda kind=kind: spc.process_capability(x, lower, upper, stable=True, kind=kind))
    holds(lambda: spc.process_capability(x, lower, upper, stable=True, judge_absolute=True))
    for shape in ("weibull", "johnson", "as measured"):
        holds(lambda shape=shape: spc.percentile_capability(x, lower, upper, shape=shape, copies=50))
    holds(lambda: spc.compare_months([spc.Pair("p", x, x, lower, upper)]))


@pytest.mark.parametrize("limits", ["two", "upper", "wrong side", "far off"])
def test_capability_meets_missing_positions(limits):
    lower, upper = LIMITS[limits]
    y = RNG.normal(5, 1, (12, 4)) + RNG.normal(size=(12, 1))
    gaps = y.copy()
    gaps[RNG.random(y.shape) < 0.4] = np.nan
    column = y.copy()
    column[:, 2] = np.nan
    single = np.full((12, 4), np.nan)
    single[np.arange(12), np.arange(12) % 4] = 5 + RNG.normal(size=12)
    for table in (gaps, column, single):
        found = spc.process_capability(table, lower, upper, strata=[[0, 0, 1, 1]], stable=True)
        # A position that was never measured has no offset; 0 stands there.
        assert all(math.isfinite(value) for value in figures(found))
        assert found.refused or found.ppk is not None
        if limits == "wrong side":
            assert found.ppk is not None and found.ppk.estimate < 0
            assert any("above the upper limit" in text for text in found.warnings)


@pytest.mark.parametrize("parts", [0, 1, 2, 3, 4])
def test_capability_below_the_stated_minimum_is_refused_with_the_number(parts):
    y = RNG.normal(size=(parts, 3))
    if parts == 0:
        with pytest.raises(spc.TooFewReadings, match="1 reading"):
            spc.process_capability(y, -3, 3, stable=True)
        return
    found = spc.process_capability(y, -3, 3, stable=True)
    assert found.refused == f"too few parts: {parts}, an index needs 5"
    assert found.ppk is None


@given(st.integers(0, 2_000), st.sampled_from([25.4, 1 / 25.4, 1000.0, 1e-6]), st.booleans())
@settings(max_examples=12, deadline=None)
def test_a_change_of_unit_scales_sigmas_and_leaves_indices(seed, factor, nested):
    rng = np.random.default_rng(seed)
    y = rng.normal(5, 1, (12, 4 if nested else 1)) + rng.normal(size=(12, 1))
    first = spc.process_capability(y, 0.0, 9.0, stable=True)
    again = spc.process_capability(y * factor, 0.0, 9.0 * factor, stable=True)
    for name in ("cp", "cpk", "pp", "ppk"):
        a, b = getattr(first, name), getattr(again, name)
        assert (a.estimate, a.lower, a.upper) == pytest.approx((b.estimate, b.lower, b.upper), rel=1e-6)
    assert again.sigma_overall == pytest.approx(first.sigma_overall * factor, rel=1e-9)
    assert again.sigma_within == pytest.approx((first.sigma_within or 0) * factor, rel=1e-9)
    assert first.out is not None and again.out is not None
    assert first.out.expected is not None and again.out.expected is not None
    assert again.out.expected.estimate == pytest.approx(first.out.expected.estimate, rel=1e-6)


@given(st.integers(0, 2_000), st.booleans())
@settings(max_examples=12, deadline=None)
def test_swapped_sides_mirror(seed, two_sided):
    rng = np.random.default_rng(seed)
    y = rng.normal(5, 1, (12, 3)) + rng.normal(size=(12, 1))
    upper, lower = 9.0, (0.0 if two_sided else None)
    first = spc.process_capability(y, lower, upper, stable=True)
    mirror = spc.process_capability(-y, -upper, None if lower is None else -lower, stable=True)
    assert first.ppk is not None and mirror.ppk is not None
    assert mirror.ppk.estimate == pytest.approx(first.ppk.estimate)
    assert mirror.ppk.lower == pytest.approx(first.ppk.lower, rel=1e-6)
    assert first.out is not None and mirror.out is not None
    assert mirror.out.expected_below == pytest.approx(first.out.expected_above, rel=1e-9)


@given(st.integers(0, 2_000), st.sampled_from([25.4, 1e-4]), st.floats(-1e3, 1e3))
@settings(max_examples=15, deadline=None)
def test_charts_scale_and_shift_with_their_values(seed, factor, zero):
    x = np.random.default_rng(seed).normal(5, 1, 24)
    z = x * factor + zero
    for make in (
        spc.individuals,
        lambda v: spc.mean_sd(v.reshape(-1, 3)),
        lambda v: spc.mean_range(v.reshape(-1, 3)),
    ):
        first, again = make(x), make(z)
        a = first.values if hasattr(first, "values") else first.means
        b = again.values if hasattr(again, "values") else again.means
        assert b.upper == pytest.approx(a.upper * factor + zero, rel=1e-6, abs=1e-9)
        assert b.beyond.tolist() == a.beyond.tolist()
    a = spc.ewma_chart(x, target=5, sigma=1)
    b = spc.ewma_chart(z, target=5 * factor + zero, sigma=factor)
    assert b.values == pytest.approx(a.values * factor + zero, rel=1e-6, abs=1e-9)
    c = spc.cusum_chart(x, target=5, allowance=0.5, limit=4)
    d = spc.cusum_chart(z, target=5 * factor + zero, allowance=0.5 * factor, limit=4 * factor)
    assert d.high == pytest.approx(c.high * factor, rel=1e-6, abs=1e-7)


@given(st.integers(0, 2_000))
@settings(max_examples=15, deadline=None)
def test_mirrored_values_mirror_every_chart(seed):
    x = np.random.default_rng(seed).normal(0, 1, 24)
    first, again = spc.individuals(x), spc.individuals(-x)
    assert again.values.lower == pytest.approx(-first.values.upper)
    high, low = (spc.cusum_chart(v, target=0, allowance=0.5, limit=4) for v in (x, -x))
    assert high.high == pytest.approx(low.low)


def test_frozen_limits_stay_whatever_comes_and_carry_their_version():
    chart = spc.individuals(RNG.normal(size=30))
    kept = spc.freeze(
        chart.values, chart.sigma, baseline="first 30", version=2, fixed_on="2031-01-01", fixed_by="x"
    )
    later = kept.judge([100.0, 0.0])
    assert later.beyond.tolist() == [0]
    assert (later.upper[0], kept.version, kept.baseline_size) == (chart.values.upper[0], 2, 30)
    with pytest.raises(dataclasses.FrozenInstanceError):
        kept.upper = 3.0  # type: ignore[misc]
    with pytest.raises(spc.SpcError, match="count from 1"):
        spc.freeze(chart.values, 1.0, baseline="", version=0, fixed_on="", fixed_by="")
