"""Published worked examples of Shewhart charts."""

from __future__ import annotations

import numpy as np
import pytest

from spc.charts.classical import individuals, mean_range, mean_sd
from tests.reference.tables import column, printed, table

X5 = ("x1", "x2", "x3", "x4", "x5")


def test_flow_rate_of_ten_batches():
    """NIST/SEMATECH e-Handbook 6.3.2.2. The page rounds d2 to 1.128: its limits lie 0.0017 further out."""
    chart = individuals(column("nist_flowrate.csv", "flowrate"))
    assert chart.center == printed("50.81")
    assert chart.moving_range.center == printed("1.8778")
    reach = 3 * chart.moving_range.center / 1.128
    assert chart.center + reach == printed("55.8041")
    assert chart.center - reach == printed("45.8159")
    assert chart.values.upper[0] == pytest.approx(55.8041, abs=0.002)
    assert chart.values.lower[0] == pytest.approx(45.8159, abs=0.002)
    assert chart.values.beyond.size == 0


def test_viscosity_of_primer_paint():
    """Montgomery, Introduction to SQC, individuals example (from memory)."""
    chart = individuals(column("primer_viscosity.csv", "viscosity"))
    assert chart.center == printed("33.52")
    assert chart.moving_range.center == printed("0.48")
    assert chart.values.upper[0] == printed("34.80")
    # The book divides by d2 = 1.128; exactly the limit is 32.2453.
    assert chart.values.lower[0] == printed("32.24", 0.1)
    assert chart.moving_range.upper[0] == printed("1.57")


def test_piston_rings_mean_and_standard_deviation():
    """Montgomery, Introduction to SQC, piston ring diameter: 25 subgroups, then 15 more."""
    first, later = table("piston_rings_phase1.csv", *X5), table("piston_rings_phase2.csv", *X5)
    chart = mean_sd(first)
    assert chart.center == printed("74.001")
    assert chart.spreads.values.mean() == printed("0.0094")
    # The book forms 74.001 + 1.427 x 0.0094 from rounded figures.
    assert chart.means.upper[0] == printed("74.014", 0.2)
    assert chart.means.lower[0] == printed("73.988")
    assert chart.spreads.upper[0] == printed("0.0196")
    assert chart.sigma == printed("0.01")
    ranges = mean_range(first)
    assert ranges.spreads.center == printed("0.0232")
    assert ranges.spreads.upper[0] == printed("0.049")
    again = mean_sd(later, center=chart.center, sigma=chart.sigma)
    assert (again.means.beyond + 26).tolist() == [37, 38, 39]


def test_vane_opening_with_trial_and_revised_limits():
    """Montgomery & Runger, Applied Statistics and Probability for Engineers, 3rd ed., example 16-1."""
    data = table("vane_opening.csv", *X5)
    chart = mean_range(data)
    assert chart.center == printed("33.32")
    assert chart.spreads.center == printed("5.80")
    assert chart.means.upper[0] == printed("36.67")
    assert chart.means.lower[0] == printed("29.97")
    # The book uses D4 = 2.115; exactly it is 2.1145.
    assert chart.spreads.upper[0] == printed("12.27", 0.2)
    assert (chart.means.beyond + 1).tolist() == [6, 8, 11, 19]
    assert (chart.spreads.beyond + 1).tolist() == [9]
    sd = mean_sd(data)
    assert sd.spreads.values.mean() == printed("2.345")
    assert sd.spreads.upper[0] == printed("4.899")
    revised = mean_range(np.delete(data, [5, 7, 8, 10, 18], axis=0))
    assert revised.center == printed("33.21")
    assert revised.spreads.center == printed("5.0")
    assert revised.means.upper[0] == printed("36.10")
    assert revised.means.lower[0] == printed("30.33")
    assert revised.spreads.upper[0] == printed("10.57")


def test_twenty_parts_measured_twice():
    """Montgomery, Introduction to SQC, gauge of one operator (from memory)."""
    chart = mean_range(table("gauge_one_operator.csv", "trial1", "trial2"))
    assert chart.center == printed("22.3")
    assert chart.spreads.center == printed("1.0")
    assert chart.means.upper[0] == printed("24.18")
    assert chart.means.lower[0] == printed("20.42")
    # The book divides by d2 = 1.128 (exactly 1.12838): sigma 0.887 against 0.8862.
    assert chart.spreads.center / 1.128 == printed("0.887")
    assert chart.sigma == pytest.approx(0.887, abs=0.001)
    assert 6 * chart.sigma / (60 - 5) == printed("0.097")
