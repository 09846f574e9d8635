"""How often intervals of capability indices hold the truth, by simulation, with Monte Carlo error.

Wanted of every 95 % interval: the lower limit is missed in at most 3.5 % of cases, and at least 93.5 % of
intervals hold the truth. Counting the readings of a part as independent is shown beside it.
Run with ``-s`` for the table; the long version is marked slow.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass

import numpy as np
import pytest

from spc.capability.distribution import Shape, quantiles
from spc.capability.indices import from_set, limit_index, width_index
from spc.capability.process_capability import process_capability
from spc.capability.sizes import fit_sizes
from spc.capability.tolerance import distance_index
from spc.intervals import bissell_interval
from spc.spread import overall_spread, pivotal_draws, within_spread
from spc.strata import split_strata

MISSED_AT_MOST = 0.035
COVERED_AT_LEAST = 0.935
SHORT, LONG = 250, 1_000
PAIRS = np.repeat(np.arange(7), 2)


@dataclass(frozen=True)
class Case:
    """Parts by positions of unit overall variance, limits at -4 and 4 around `aside`."""

    parts: int
    positions: int = 14
    between: float = 0.6
    groups: float = 0.2
    pattern: float = 0.0
    aside: float = 0.0
    missing: float = 0.0
    two_sided: bool = True
    shape: Shape = "normal"
    mean: float = 0.0
    within: bool = False

    def __str__(self) -> str:
        name = f"{self.parts}x{self.positions}"
        name += f" {self.shape}" if self.shape != "normal" else ""
        for word, value in (("aside", self.aside), ("pattern", self.pattern), ("missing", self.missing)):
            name += f" {word} {value:g}" if value else ""
        name += "" if self.two_sided else " one limit"
        return name + (" Cpk" if self.within else "")

    @property
    def sigma(self) -> float:
        return 0.25 if self.shape == "lognormal" else 1.0

    @property
    def limits(self) -> tuple[float | None, float]:
        if self.shape == "lognormal":
            return (0.3 if self.two_sided else None), 2.6
        upper = 4.0 + self.aside + (abs(self.mean) if self.shape != "normal" else 0.0)
        return (-4.0 + self.aside if self.two_sided and self.shape == "normal" else None), upper

    @property
    def counted(self) -> float:
        """Standard deviation of what the index counts: Cpk leaves the position pattern out."""
        return self.sigma * math.sqrt(1 - self.pattern if self.within else 1)

    @property
    def truth(self) -> float:
        return float(distance_index(*quantiles(self.shape, self.mean, self.counted), *self.limits))

    @property
    def width_truth(self) -> float | None:
        lower, upper = self.limits
        low, _, high = quantiles(self.shape, self.mean, self.counted)
        return None if lower is None else float((upper - lower) / (high - low))

    def offsets(self) -> np.ndarray:
        slope = np.arange(self.positions) - (self.positions - 1) / 2
        return slope * math.sqrt(self.pattern / np.mean(slope**2)) if self.positions > 1 else slope * 0

    def draw(self, rng: np.random.Generator) -> np.ndarray:
        n, p = self.parts, self.positions
        if p == 1:
            return self.mean + self.sigma * rng.normal(size=(n, 1))
        rest = 1 - self.pattern - self.between - self.groups
        y = math.sqrt(self.between) * rng.normal(size=(n, 1)) + math.sqrt(rest) * rng.normal(size=(n, p))
        if self.groups:
            y = y + math.sqrt(self.groups) * rng.normal(size=(n, 7))[:, PAIRS]
        y = self.mean + self.sigma * (y + self.offsets())
        return np.where(rng.random(y.shape) < self.missing, np.nan, y) if self.missing else y


@dataclass(frozen=True)
class Rates:
    """Shares of runs in which a limit was on the wrong side of the truth."""

    runs: int
    low: float
    high: float
    width_low: float
    width_high: float
    flat: float

    @property
    def covered(self) -> float:
        return 1 - self.low - self.high

    def error(self, share: float) -> float:
        return math.sqrt(share * (1 - share) / self.runs)


def simulate(case: Case, runs: int) -> Rates:
    rng = np.random.default_rng([case.parts, case.positions, runs])
    strata = [PAIRS] if case.groups and case.positions == 14 else []
    lower, upper = case.limits
    counts = np.zeros(5)
    for _ in range(runs):
        y = case.draw(rng)
        split = split_strata(y, strata)
        spread = within_spread(split) if case.within else overall_spread(split)
        drawn = pivotal_draws(spread, rng, 2_000)
        near = limit_index(case.shape, spread, drawn, lower, upper)
        counts[:2] += near.lower > case.truth, near.upper < case.truth
        if case.width_truth is not None and lower is not None:
            wide = width_index(case.shape, spread, drawn, lower, upper)
            counts[2:4] += wide.lower > case.width_truth, wide.upper < case.width_truth
        if case.shape == "normal":
            flat = y[np.isfinite(y)]
            m, s = flat.mean(), flat.std(ddof=1)
            index = bissell_interval(float(distance_index(m - 3 * s, m, m + 3 * s, lower, upper)), flat.size)
            counts[4] += index.lower <= case.truth <= index.upper
    return Rates(runs, *(counts / runs))


def check(case: Case, runs: int) -> Rates:
    found = simulate(case, runs)
    sys.stdout.write(
        f"\n{case!s:34} n={runs}  lower missed {found.low:.3f}  upper missed {found.high:.3f}  "
        f"covered {found.covered:.3f} +- {found.error(found.covered):.3f}  "
        f"width {found.width_low:.3f}/{found.width_high:.3f}  readings as independent {found.flat:.3f}"
    )
    slack = 2.5 * found.error(MISSED_AT_MOST)
    assert found.low <= MISSED_AT_MOST + slack
    assert found.width_low <= MISSED_AT_MOST + slack
    cover_slack = 2.5 * found.error(COVERED_AT_LEAST)
    assert found.covered >= COVERED_AT_LEAST - cover_slack
    assert 1 - found.width_low - found.width_high >= COVERED_AT_LEAST - cover_slack
    return found


NESTED = [
    Case(parts, aside=aside, pattern=pattern)
    for parts in (5, 10, 25, 100)
    for aside, pattern in ((0.0, 0.0), (1.0, 0.0), (1.0, 0.1))
]
PLAIN = [Case(parts, 1, aside=aside) for parts in (5, 10, 25, 100) for aside in (0.0, 1.0)]
OTHERS = [
    Case(5, aside=1.0, missing=0.2),
    Case(25, aside=1.0, missing=0.2),
    Case(12, between=0.3, groups=0.0, pattern=0.3, aside=1.0),
    Case(10, 1, two_sided=False),
    Case(25, 1, two_sided=False),
    Case(10, aside=1.0, missing=0.2),
    Case(100, aside=1.0, missing=0.2),
    Case(25, missing=0.2, within=True),
    *(
        Case(parts, aside=aside, pattern=0.1, within=True)
        for parts in (5, 10, 25, 100)
        for aside in (0.0, 1.0)
    ),
    *(Case(parts, 1, aside=aside, within=True) for parts in (5, 10, 25, 100) for aside in (0.0, 1.0)),
    *(Case(parts, shape="lognormal", groups=0.0, two_sided=False) for parts in (5, 10, 25)),
    *(Case(parts, 1, shape="lognormal") for parts in (10, 25, 100)),
    *(
        Case(parts, shape="folded normal", groups=0.0, mean=mean)
        for parts in (5, 10, 25)
        for mean in (0.3, 2.0)
    ),
]


@pytest.mark.parametrize("case", [*NESTED, *PLAIN, *OTHERS[:5]], ids=str)
def test_intervals_hold_the_truth_as_often_as_they_say(case):
    check(case, SHORT)


@pytest.mark.slow
@pytest.mark.parametrize("case", [*NESTED, *PLAIN, *OTHERS], ids=str)
def test_intervals_hold_the_truth_in_long_runs(case):
    check(case, LONG)


@pytest.mark.parametrize("parts", [5, 12, 30])
def test_readings_counted_as_independent_hold_the_truth_in_half_the_cases(parts):
    found = [simulate(Case(parts, aside=aside), 400) for aside in (0.0, 1.0)]
    for rates in found:
        assert 0.42 - 3 * rates.error(0.42) <= rates.flat <= 0.64 + 3 * rates.error(0.64)
        assert rates.covered >= COVERED_AT_LEAST - 3 * rates.error(COVERED_AT_LEAST)


def size_rates(parts: int, mean: float, runs: int) -> Rates:
    rng = np.random.default_rng([parts, runs])
    upper = mean + 4.0
    truth = float(distance_index(*quantiles("folded normal", mean, 1.0), None, upper))
    counts = np.zeros(2)
    for _ in range(runs):
        fitted = fit_sizes(np.abs(mean + rng.normal(size=(parts, 1))))
        estimate = distance_index(*quantiles("folded normal", fitted.fit.mean, fitted.fit.sigma), None, upper)
        among = distance_index(*quantiles("folded normal", *fitted.believable), None, upper)
        found = from_set(float(estimate), among)
        counts += found.lower > truth, found.upper < truth
    return Rates(runs, *(counts / runs), 0.0, 0.0, 0.0)


@pytest.mark.slow
@pytest.mark.parametrize("parts", [5, 10, 25, 100])
@pytest.mark.parametrize("mean", [0.0, 0.7, 1.5, 3.0])
def test_sizes_without_a_sign(parts, mean):
    found = size_rates(parts, mean, 500)
    sys.stdout.write(
        f"\nsizes {parts} mean {mean:g}: lower missed {found.low:.3f}  upper missed {found.high:.3f}  "
        f"covered {found.covered:.3f} +- {found.error(found.covered):.3f}"
    )
    assert found.low <= MISSED_AT_MOST + 2.5 * found.error(MISSED_AT_MOST)
    assert found.covered >= COVERED_AT_LEAST - 2.5 * found.error(COVERED_AT_LEAST)


def test_the_verified_interval_is_the_one_that_is_reported():
    y = Case(12, aside=1.0, pattern=0.1).draw(np.random.default_rng(4))
    reported = process_capability(y, -3.0, 5.0, strata=[PAIRS], stable=True, seed=9)
    overall = overall_spread(split_strata(y, [PAIRS]))
    drawn = pivotal_draws(overall, np.random.default_rng(9))
    assert reported.ppk == limit_index("normal", overall, drawn, -3.0, 5.0)
    assert reported.pp == width_index("normal", overall, drawn, -3.0, 5.0)
