"""Published gauge studies, masters, temperature and conformity."""

from __future__ import annotations

import numpy as np
import pytest

from spc.gauges.average_range import average_and_range
from spc.gauges.conformity import acceptance_limits, chance_conforms, guard_factor
from spc.gauges.master import linearity, master_check
from spc.gauges.temperature import Temperature, at_reference
from spc.gauges.trial import gauge_study
from spc.mean_squares import large_sample_interval
from tests.reference.tables import column, printed, rows

STUDY = rows("gauge_10x3x3.csv")


def study():
    return gauge_study(
        [float(r["reading"]) for r in STUDY], [r["part"] for r in STUDY], [r["operator"] for r in STUDY]
    )


def test_crossed_study_by_analysis_of_variance():
    """AIAG, Measurement Systems Analysis, 4th ed., chapter III: 10 parts x 3 appraisers x 3 trials (from memory).

    The manual tests part and appraiser against equipment although it pools; ours tests against what is pooled.
    """
    found = study()
    part, operator, interaction, equipment, pooled = found.anova
    for row, squares, mean in (
        (operator, "3.1673", "1.58363"),
        (part, "88.3619", "9.81799"),
        (interaction, "0.3590", "0.01994"),
        (equipment, "2.7589", "0.04598"),
    ):
        assert row.sum_of_squares == printed(squares)
        assert row.mean_square == printed(mean)
    total = part.sum_of_squares + operator.sum_of_squares + pooled.sum_of_squares
    assert total == printed("94.6471")
    assert operator.mean_square / equipment.mean_square == printed("34.44")
    # The manual prints 213.52; exactly it is 213.517.
    assert part.mean_square / equipment.mean_square == printed("213.52")
    assert interaction.f == printed("0.434")
    assert (found.pooled, found.interaction, pooled.dof) == (True, None, 78)
    assert found.operator is not None
    for variance, sigma in (
        (found.repeatability, "0.199933"),
        (found.operator, "0.226838"),
        (found.gauge, "0.302373"),
        (found.part, "1.042327"),
    ):
        # The manual rounds its mean squares to six digits first.
        assert variance.estimate**0.5 == printed(sigma, 2)
    assert found.percent_total_variation.estimate == printed("27.86")
    assert found.ndc is not None and found.ndc.estimate == 4


def test_crossed_study_by_averages_and_ranges():
    """The same by the manual's forms; it rounds the mean range and its factors K to four digits first."""
    cube = np.array([float(r["reading"]) for r in STUDY]).reshape(3, 10, 3)
    first = [[float(r["reading"]) for r in STUDY if (r["operator"], r["part"]) == ("B", "3")]]
    assert cube[1, 2].tolist() == first[0]
    found = average_and_range(cube.transpose(1, 0, 2))
    for ours, theirs in (
        (found.repeatability, 0.20188),
        (found.reproducibility, 0.22963),
        (found.gauge, 0.30575),
        (found.part, 1.10456),
        (found.total, 1.14610),
    ):
        assert ours == pytest.approx(theirs, rel=3e-4)
    assert found.percent_total_variation == printed("26.68")
    assert found.ndc == 5


def test_intervals_of_a_crossed_study():
    """Burdick, Borror & Montgomery (2003), J. Quality Technology 35, 342-354, after Houf & Berman (1988).

    Thermal impedance, 10 parts x 3 operators x 3 trials, mean squares and 95 % modified large-sample limits
    (recalled before computing): part 22.69 to 161.64, gauge 1.20 to 27.02; the upper limit of the gauge is
    printed from rounded factors.
    """
    squares, dofs = (437.3284, 19.6333, 2.6951, 0.5111), (9, 2, 18, 60)
    part = large_sample_interval((1 / 9, 0, -1 / 9, 0), squares, dofs)
    assert part.estimate == printed("48.29")
    assert part.lower == printed("22.69")
    assert part.upper == printed("161.64")
    gauge = large_sample_interval((0, 1 / 30, 9 / 30, 2 / 3), squares, dofs)
    assert gauge.estimate == printed("1.80")
    assert gauge.lower == printed("1.20", 0.2)
    assert gauge.upper == printed("27.02")


def test_one_operator():
    """Montgomery, Introduction to SQC (from memory): 20 parts measured twice, limits 5 and 60.

    The book's sigma is the mean range over 1.128; ours pools variances, so it is compared with the chart's way.
    """
    data = rows("gauge_one_operator.csv")
    y = np.array([[float(r["trial1"]), float(r["trial2"])] for r in data])
    found = gauge_study(y.ravel(), np.repeat(np.arange(20), 2), ["x"] * 40, lower=5, upper=60)
    assert y.mean() == printed("22.3")
    assert np.ptp(y, axis=1).mean() == printed("1.0")
    assert np.ptp(y, axis=1).mean() / 1.128 == printed("0.887")
    assert found.repeatability.estimate == pytest.approx(np.mean((y[:, 0] - y[:, 1]) ** 2) / 2)
    assert found.repeatability.estimate**0.5 == pytest.approx(0.887, rel=0.08)
    assert found.percent_tolerance is not None
    assert found.percent_tolerance.estimate / 100 == pytest.approx(0.097, rel=0.08)
    assert (found.operator, found.reproducibility) == (None, None)


def test_bias_on_a_master():
    """AIAG, Measurement Systems Analysis, 4th ed., bias example (from memory): 15 readings of a 6.00 master.

    Its third edition took sigma from the range and printed 0.22514, t 0.1153 and -0.1185 to 0.1319.
    """
    x = [5.8, 5.7, 5.9, 5.9, 6.0, 6.1, 6.0, 6.1, 6.4, 6.3, 6.0, 6.1, 6.2, 5.6, 6.0]
    found = master_check(x, 6.0)
    assert found.bias.estimate == printed("0.0067")
    assert found.repeatability.estimate == printed("0.2120")
    assert found.t == printed("0.1218")
    assert found.bias.lower == printed("-0.1107")
    assert found.bias.upper == printed("0.1241")


def test_bias_and_repeatability_of_calibrations():
    """NIST/SEMATECH e-Handbook 1.3.5.2 (single precision) and 3.5.1.2 (limits of the standard deviation)."""
    found = master_check(column("zarr13.csv", "y"), 5.0)
    assert found.bias.lower is not None and found.bias.upper is not None
    assert 5 + found.bias.lower == printed("9.258242")
    assert 5 + found.bias.upper == printed("9.264679")
    assert found.t == pytest.approx(2611.284, abs=0.003)
    furnace = master_check(column("nist_furnace.csv", "thickness"), 560.0)
    assert furnace.repeatability.lower == printed("22.9297")
    assert furnace.repeatability.upper == printed("28.4331")
    assert 560 + furnace.bias.lower == printed("559.1692")
    assert 560 + furnace.bias.upper == printed("566.9023")


def test_linearity_of_a_gauge():
    """AIAG, Measurement Systems Analysis, linearity example (data and results from memory): 5 parts, 12 trials."""
    trials = {
        2: "2.7 2.5 2.4 2.5 2.7 2.3 2.5 2.5 2.4 2.4 2.6 2.4",
        4: "5.1 3.9 4.2 5.0 3.8 3.9 3.9 3.9 3.9 4.0 4.1 3.8",
        6: "5.8 5.7 5.9 5.9 6.0 6.1 6.0 6.1 6.4 6.3 6.0 6.1",
        8: "7.6 7.7 7.8 7.7 7.8 7.8 7.8 7.7 7.8 7.5 7.6 7.7",
        10: "9.1 9.3 9.5 9.3 9.4 9.5 9.5 9.5 9.6 9.2 9.3 9.4",
    }
    y = [float(t) for text in trials.values() for t in text.split()]
    found = linearity(y, np.repeat(list(trials), 12))
    for mean, text in zip(found.bias, ("0.4917", "0.1250", "0.0250", "-0.2917", "-0.6167"), strict=True):
        assert mean == printed(text)
    assert found.intercept.estimate == printed("0.7367")
    assert found.slope.estimate == printed("-0.1317")
    assert 100 * found.r_squared == printed("71.4")
    assert found.residual_sd == printed("0.2395")


def test_steel_rod_at_another_temperature():
    """National Physical Laboratory, FAQ: 500.035 mm at 23.7 degC, 11.7e-6 / K. The page takes the first order."""
    found = at_reference(500.035, Temperature(23.7, 11.7e-6))
    assert found.length == printed("500.013")
    assert found.length == pytest.approx(500.035 * (1 - 11.7e-6 * 3.7), abs=2e-6)


def test_uncertainty_of_an_end_gauge():
    """JCGM 100:2008, example H.1 (from memory), in nm: standard 25, comparison 9.7, expansion 2.9, temperature 16.6.

    Together 32 nm. The guide works with differences between the two gauges, so the standard's own coefficient
    and temperature carry no uncertainty here.
    """
    found = at_reference(
        50.000838e6,
        Temperature(19.9, 11.5e-6, 0.0289, 0.58e-6),
        Temperature(19.9, 11.5e-6),
        reading_uncertainty=np.hypot(25, 9.7),
    )
    assert found.contributions["part coefficient"] == printed("2.9")
    assert found.contributions["part temperature"] == printed("16.6")
    assert found.uncertainty == printed("32")
    assert found.correction == pytest.approx(0.0, abs=1e-6)


def test_zener_diode_and_guard_factors():
    """JCGM 106:2012, clause 7 and table 1 (from memory)."""
    assert chance_conforms(-5.47, 0.05, None, -5.4) == printed("0.92")
    for chance, text in zip(
        (0.80, 0.90, 0.95, 0.99, 0.999), ("0.84", "1.28", "1.64", "2.33", "3.09"), strict=True
    ):
        assert guard_factor(chance) == printed(text)


def test_acceptance_zones():
    """ISO 14253-1, default rule, limits 25.000 and 25.018, u 0.002: U with k = 2, and 1.65 u (2017)."""
    low, high = acceptance_limits(0.002, 25.0, 25.018, factor=2)
    assert (low, high) == (printed("25.004"), printed("25.014"))
    low, high = acceptance_limits(0.002, 25.0, 25.018)
    assert (low, high) == (printed("25.0033"), printed("25.0147"))
