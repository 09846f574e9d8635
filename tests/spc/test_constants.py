"""Bias factors: against simulation, against scipy, by their own identities and at the border."""

from __future__ import annotations

import math

import numpy as np
import pytest

from spc.constants import c4, chart_factors, d2, d3, median_range, moving_range_dof
from spc.errors import SpcError


@pytest.mark.parametrize("n", [2, 3, 7, 20])
def test_range_factors_against_simulated_ranges(n):
    runs = 200_000
    ranges = np.ptp(np.random.default_rng(n).normal(size=(runs, n)), axis=1)
    error = ranges.std() / math.sqrt(runs)
    assert d2(n) == pytest.approx(ranges.mean(), abs=4 * error)
    assert d3(n) == pytest.approx(ranges.std(), abs=4 * error)
    assert median_range(n) == pytest.approx(np.median(ranges), abs=6 * error)


@pytest.mark.parametrize("n", [2, 5, 12])
def test_range_mean_against_the_studentised_range_of_scipy(n):
    from scipy.stats import studentized_range

    assert d2(n) == pytest.approx(studentized_range.expect(lambda w: w, args=(n, math.inf)), abs=1e-6)


@pytest.mark.parametrize("n", [2, 3, 10, 200])
def test_bias_of_the_standard_deviation_against_the_chi_law_of_scipy(n):
    from scipy.stats import chi

    assert c4(n) == pytest.approx(chi.mean(n - 1) / math.sqrt(n - 1), rel=1e-10)


def test_large_samples_stay_finite_and_in_order():
    values = [d2(n) for n in (2, 10, 100, 1_000, 10_000)]
    assert values == sorted(values)
    # Twice the expected largest of 10,000 normal values, 3.85 (from the same integral in scipy.integrate).
    assert values[-1] == pytest.approx(7.7014, abs=0.002)
    assert c4(100_000) == pytest.approx(1 - 1 / 400_000, abs=1e-9)


def test_factors_follow_from_their_parts():
    f = chart_factors(5, width=2.0)
    assert f.A2 * d2(5) == pytest.approx(2 / math.sqrt(5))
    assert f.A3 * c4(5) == pytest.approx(2 / math.sqrt(5))
    assert (f.D4 - 1) * d2(5) == pytest.approx(2 * d3(5))
    assert pytest.approx(4 * d3(5)) == f.D2 - f.D1
    assert pytest.approx(4 * math.sqrt(1 - c4(5) ** 2)) == f.B6 - f.B5
    assert pytest.approx(2 / d2(5)) == f.E2
    assert f.B4 * c4(5) == pytest.approx(f.B6)


@pytest.mark.parametrize("n", [2, 5, 12, 60])
def test_moving_range_degrees_of_freedom_against_simulation(n):
    runs = 60_000
    x = np.random.default_rng(n).normal(size=(runs, n))
    sigma = np.abs(np.diff(x, axis=1)).mean(axis=1) / d2(2)
    dof = moving_range_dof(n)
    spread = sigma.std()
    assert math.sqrt(1 / c4(dof + 1) ** 2 - 1) == pytest.approx(
        spread, abs=4 * spread / math.sqrt(2 * runs) * 1.3
    )
    # The chi approximation as a whole: its 5 % and 95 % points. It is exact for 2 values and worst for about 5.
    from scipy.stats import chi2

    for share in (0.05, 0.95):
        point = math.sqrt(chi2.ppf(share, dof) / dof) / c4(dof + 1)
        assert (sigma < point).mean() == pytest.approx(share, abs=0.017)


def test_one_moving_range_is_one_degree_of_freedom():
    assert moving_range_dof(2) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("call", [d2, d3, median_range, chart_factors, moving_range_dof])
@pytest.mark.parametrize("n", [1, 0, -3, 2.5])
def test_samples_without_a_range_are_refused(call, n):
    with pytest.raises(SpcError, match="whole number"):
        call(n)


def test_a_single_value_has_no_standard_deviation():
    with pytest.raises(SpcError, match="above 1"):
        c4(1)


def test_limits_need_a_width():
    with pytest.raises(SpcError, match="above 0"):
        chart_factors(5, width=0)
