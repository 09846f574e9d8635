"""How often intervals of shapes without a normal scale, and of shares out, hold the truth; with Monte Carlo error.

All must keep the promise: the lower limit is missed in at most 3.5 % of cases, and 93.5 % at least are covered. Run
with ``-s`` for the table.
"""

from __future__ import annotations

import math
import sys

import numpy as np
import pytest
from scipy import stats
from scipy.special import ndtr

from spc.capability.distribution import HIGH_SHARE, LOW_SHARE
from spc.capability.percentile import OtherShape, percentile_capability
from spc.capability.process_capability import process_capability
from spc.capability.resample import bootstrap_index
from spc.intervals import Index

SHORT, LONG = 200, 1_000
PAIRS = np.repeat(np.arange(7), 2)


def told(name: str, runs: int, low: float, high: float) -> tuple[float, float, float]:
    covered = 1 - low - high
    error = math.sqrt(max(covered * (1 - covered), 0.05 * 0.95) / runs)
    sys.stdout.write(
        f"\n{name:44} n={runs}  lower missed {low:.3f}  upper missed {high:.3f}  covered {covered:.3f} +- {error:.3f}"
    )
    return low, covered, error


LAWS = {
    "weibull": stats.weibull_min(1.6, scale=2.0),
    "gamma": stats.gamma(4.0),
    "normal": stats.norm(20.0, 1.0),
}


def by_percentiles(shape: OtherShape, law: str, parts: int, positions: int, runs: int):
    """Readings of a known law, half of whose variance (on a normal scale) is shared by a part."""
    rng = np.random.default_rng([parts, positions, runs])
    known = LAWS[law]
    median, high = float(known.ppf(0.5)), float(known.ppf(HIGH_SHARE))
    truth = 1.2
    upper = median + truth * (high - median)
    share = float(known.sf(upper))
    missed, of_share = np.zeros(2), np.zeros(2)
    for run in range(runs):
        z = rng.normal(size=(parts, positions))
        if positions > 1:
            z = math.sqrt(0.5) * (z + rng.normal(size=(parts, 1)))
        found = percentile_capability(known.ppf(ndtr(z)), None, upper, shape=shape, copies=1_000, seed=run)
        assert isinstance(found.ppk, Index) and found.out is not None and found.out.expected is not None
        missed += found.ppk.lower > truth, found.ppk.upper < truth
        of_share += found.out.expected.lower > share, found.out.expected.upper < share
    name = f"{shape} of {law} readings, {parts} x {positions}"
    return told(f"{name}: share out", runs, *(of_share / runs)), told(f"{name}: Ppk", runs, *(missed / runs))


def by_bootstrap(parts: int, positions: int, two_sided: bool, runs: int):
    rng = np.random.default_rng([parts, positions, two_sided, runs])
    truth, lower = 4 / 3, (-4.0 if two_sided else None)
    missed = np.zeros(2)
    for run in range(runs):
        y = rng.normal(size=(parts, positions))
        if positions > 1:
            y = math.sqrt(0.5) * (y + rng.normal(size=(parts, 1)))
        low, high = np.quantile(bootstrap_index(y, lower, 4.0, copies=1_000, seed=run), [0.025, 0.975])
        missed += low > truth, high < truth
    sides = "two limits" if two_sided else "one limit"
    return told(f"bootstrap by part of Ppk, {parts} x {positions}, {sides}", runs, *(missed / runs))


def share(parts: int, runs: int, positions: int = 14):
    rng = np.random.default_rng([parts, runs, 9])
    truth = float(ndtr(-2.5))
    missed = np.zeros(2)
    for run in range(runs):
        y = math.sqrt(0.6) * rng.normal(size=(parts, 1)) + math.sqrt(0.4) * rng.normal(
            size=(parts, positions)
        )
        found = process_capability(y, None, 2.5, stable=False, seed=run)
        assert found.out is not None and found.out.expected is not None
        missed += found.out.expected.lower > truth, found.out.expected.upper < truth
    return told(f"expected share out, {parts} parts x {positions}", runs, *(missed / runs))


def promised(found: tuple[float, float, float], covered_at_least: float = 0.935):
    low, covered, error = found
    assert low <= 1 - covered_at_least - 0.03 + 2.5 * error
    assert covered >= covered_at_least - 2.5 * error


@pytest.mark.parametrize(("parts", "positions"), [(5, 1), (25, 1), (10, 4)])
def test_weibull_readings(parts, positions):
    for found in by_percentiles("weibull", "weibull", parts, positions, SHORT):
        promised(found)


def test_the_shares_of_the_outer_points_are_those_of_three_sigma():
    assert float(ndtr(-3)) == pytest.approx(LOW_SHARE, rel=1e-12)


@pytest.mark.slow
@pytest.mark.parametrize("parts", [5, 10, 25, 100])
@pytest.mark.parametrize("positions", [1, 4])
def test_weibull_readings_in_long_runs(parts, positions):
    for found in by_percentiles("weibull", "weibull", parts, positions, LONG):
        promised(found)


@pytest.mark.slow
@pytest.mark.parametrize("parts", [25, 100])
@pytest.mark.parametrize("law", ["normal", "gamma"])
@pytest.mark.parametrize("positions", [1, 4])
def test_johnson_curves_in_long_runs(parts, law, positions):
    promised(by_percentiles("johnson", law, parts, positions, LONG // 2)[1])


@pytest.mark.slow
@pytest.mark.parametrize("parts", [5, 10, 25, 100])
def test_expected_shares_out_in_long_runs(parts):
    low, covered, error = share(parts, LONG)
    assert covered >= 0.935 - 2.5 * error
    assert low <= 0.035 + 2.5 * error


@pytest.mark.parametrize("parts", [5, 10])
def test_the_bootstrap_by_part(parts):
    promised(by_bootstrap(parts, 4, False, SHORT))


@pytest.mark.slow
@pytest.mark.parametrize("parts", [5, 10, 25, 100])
@pytest.mark.parametrize(("positions", "two_sided"), [(1, False), (4, False), (4, True)])
def test_the_bootstrap_by_part_in_long_runs(parts, positions, two_sided):
    promised(by_bootstrap(parts, positions, two_sided, LONG))
