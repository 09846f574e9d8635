"""NIST Statistical Reference Datasets: certified values to the digits that the data allow."""

from __future__ import annotations

import math

import pytest

from spc.charts import individuals
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
