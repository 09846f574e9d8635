"""NIST Statistical Reference Datasets: certified values to the digits that the data allow."""

from __future__ import annotations

import math

import pytest

from spc.charts.classical import individuals
from spc.gauges.master import linearity
from spc.strata import split_strata
from spc.variation import overall_sigma
from tests.reference.tables import by_group, column

# NIST StRD, Univariate Summary Statistics, certified mean and standard deviation.
UNIVARIATE = {
    "lew": (-177.435000000000, 277.332168044316),
    "lottery": (518.958715596330, 291.699727470969),
    "mavro": (2.00185600000000, 0.000429123454003053),
    "numacc1": (10000002.0, 1.0),
    "numacc3": (1000000.2, 0.1),
}
# NIST StRD, Analysis of Variance, certified F and residual standard deviation. SmLs04, SmLs07 have 7 and 13
# constant leading digits: their float64 readings hold about 10 and 4 digits of what varies.
ANOVA = {
    "sirstv": (1.18046237440255, 1.04076068334656e-1, 1e-12),
    "smls01": (21.0, 0.1, 1e-12),
    "smls04": (21.0, 0.1, 1e-9),
    "smls07": (21.0, 0.1, 4e-4),
}


@pytest.mark.parametrize("name", UNIVARIATE)
def test_mean_and_standard_deviation(name):
    y = column(f"strd_{name}.csv", "y")
    mean, sd = UNIVARIATE[name]
    assert individuals(y).center == pytest.approx(mean, rel=1e-14)
    # The readings of Mavro and NumAcc3 are not exact in binary; the others are, and agree to 14 digits.
    assert overall_sigma(y) == pytest.approx(sd, rel=1e-9 if name in ("mavro", "numacc3") else 1e-14)


@pytest.mark.parametrize("name", ANOVA)
def test_one_way_analysis_of_variance(name):
    f, residual, close = ANOVA[name]
    y = by_group(f"strd_{name}.csv", "treatment", "y")
    split = split_strata(y, pattern=False)
    between, within = split.levels
    assert y.shape[1] * between.mean_square / within.mean_square == pytest.approx(f, rel=close)
    assert math.sqrt(within.mean_square) == pytest.approx(residual, rel=close)
    assert (between.dof, within.dof) == (y.shape[0] - 1, y.size - y.shape[0])


def test_straight_line_through_the_errors_of_a_gauge():
    """NIST StRD, Norris: calibration of an ozone meter; ours fits reading less master, so its slope is one less.

    Forming that difference first loses two or three digits of the slope's excess over one.
    """
    found = linearity(column("strd_norris.csv", "y"), column("strd_norris.csv", "x"))
    assert 1 + found.slope.estimate == pytest.approx(1.00211681802045, rel=1e-13)
    assert found.intercept.estimate == pytest.approx(-0.262323073774029, rel=1e-10)
    assert found.residual_sd == pytest.approx(0.884796396144373, rel=1e-12)
    slope_error, intercept_error = 0.429796848199937e-03, 0.232818234301152
    t = (found.slope.upper - found.slope.estimate) / slope_error
    assert (found.intercept.upper - found.intercept.estimate) / intercept_error == pytest.approx(t, rel=1e-9)
