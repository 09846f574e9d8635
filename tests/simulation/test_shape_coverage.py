"""How often intervals of shapes without a normal scale, and of shares out, hold the truth; with Monte Carlo error.

Single Weibull readings have an exact interval and must keep the promise of all (lower limit missed at most
3.5 %, at least 93.5 % covered). A bootstrap by part is too narrow for few parts: 10 parts are held to 86 %, 25 to
90 %, 100 to 92 %. Run with ``-s`` for the table.
"""

from __future__ import annotations

import math
import sys

import numpy as np
import pytest

from spc.capability.distribution import HIGH_SHARE, LOW_SHARE
from spc.capability.percentile import percentile_capability
from spc.capability.process_capability import process_capability
from spc.capability.resample import bootstrap_index
from spc.capability.shapes import Weibull

SHORT, LONG = 200, 1_000
PAIRS = np.repeat(np.arange(7), 2)


def told(name: str, runs: int, low: float, high: float) -> tuple[float, float, float]:
    covered = 1 - low - high
    error = math.sqrt(max(covered * (1 - covered), 0.05 * 0.95) / runs)
    sys.stdout.write(
        f"\n{name:44} n={runs}  lower missed {low:.3f}  upper missed {high:.3f}  covered {covered:.3f} +- {error:.3f}"
    )
    return low, covered, error


def weibull(parts: int, runs: int):
    rng = np.random.default_rng([parts, runs])
    law = Weibull(np.float64(1.6), np.float64(2.0))
    median, high = float(law.quantile(0.5)), float(law.quantile(HIGH_SHARE))
    upper = 9.0
    truth, share = (upper - median) / (high - median), 1 - float(law.below(upper))
    missed, of_share = np.zeros(2), np.zeros(2)
    for run in range(runs):
        found = percentile_capability(
            2.0 * rng.weibull(1.6, (parts, 1)), None, upper, shape="weibull", copies=1_000, seed=run
        )
        assert found.ppk is not None and found.out is not None and found.out.expected is not None
        missed += found.ppk.lower > truth, found.ppk.upper < truth
        of_share += found.out.expected.lower > share, found.out.expected.upper < share
    told(f"weibull share out, {parts} parts", runs, *(of_share / runs))
    return told(f"weibull Ppk, {parts} parts", runs, *(missed / runs))


def by_bootstrap(parts: int, runs: int):
    rng = np.random.default_rng([parts, runs, 7])
    truth = 4 / 3
    missed = np.zeros(2)
    for run in range(runs):
        y = math.sqrt(0.5) * (rng.normal(size=(parts, 1)) + rng.normal(size=(parts, 4)))
        low, high = np.quantile(bootstrap_index(y, None, 4.0, copies=1_000, seed=run), [0.025, 0.975])
        missed += low > truth, high < truth
    return told(f"bootstrap by part of Ppk, {parts} parts x 4", runs, *(missed / runs))


def share(parts: int, runs: int, positions: int = 14):
    from scipy.special import ndtr

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


@pytest.mark.parametrize("parts", [5, 25])
def test_single_weibull_readings(parts):
    promised(weibull(parts, SHORT))


def test_the_shares_of_the_outer_points_are_those_of_three_sigma():
    from scipy.special import ndtr

    assert float(ndtr(-3)) == pytest.approx(LOW_SHARE, rel=1e-12)


@pytest.mark.slow
@pytest.mark.parametrize("parts", [5, 10, 25, 100])
def test_single_weibull_readings_in_long_runs(parts):
    promised(weibull(parts, LONG))


@pytest.mark.slow
@pytest.mark.parametrize("parts", [5, 10, 25, 100])
def test_expected_shares_out_in_long_runs(parts):
    low, covered, error = share(parts, LONG)
    assert covered >= 0.935 - 2.5 * error
    assert low <= 0.035 + 2.5 * error


@pytest.mark.slow
@pytest.mark.parametrize("parts", [10, 25, 100])
def test_the_bootstrap_by_part_in_long_runs(parts):
    _, covered, error = by_bootstrap(parts, LONG)
    assert covered >= {10: 0.86, 25: 0.90, 100: 0.92}[parts] - 2.5 * error
