"""Masters, resolution, temperature and conformity: by hand, by property, at the border."""

from __future__ import annotations

import math

import numpy as np
import pytest

from spc.errors import SpcError, TooFewReadings
from spc.gauges.conformity import acceptance_limits, chance_conforms, decision_zone, guard_factor
from spc.gauges.master import linearity, master_check, resolution_verdict
from spc.gauges.temperature import Temperature, at_reference


def test_bias_and_indices_by_hand():
    found = master_check([10.0, 10.2, 10.4], 10.1, tolerance=12.0)
    assert found.bias.estimate == pytest.approx(0.1)
    assert found.repeatability.estimate == pytest.approx(0.2)
    assert found.cg is not None and found.cgk is not None
    assert found.cg.estimate == pytest.approx(0.2 * 12 / (6 * 0.2))
    assert found.cgk.estimate == pytest.approx((0.1 * 12 - 0.1) / (3 * 0.2))


def test_bias_equals_the_one_sample_t_of_the_general_library():
    from scipy.stats import ttest_1samp

    x = np.random.default_rng(2).normal(5, 1, 20)
    theirs, found = ttest_1samp(x, 5.2), master_check(x, 5.2)
    assert (found.t, found.p_value) == pytest.approx((theirs.statistic, theirs.pvalue))
    assert found.bias.lower == pytest.approx(theirs.confidence_interval().low - 5.2)


def test_indices_do_not_depend_on_the_unit():
    x = np.random.default_rng(3).normal(5, 1, 20)
    mm, inch = master_check(x, 5.2, tolerance=30), master_check(x / 25.4, 5.2 / 25.4, tolerance=30 / 25.4)
    assert mm.cg is not None and inch.cg is not None and mm.cgk is not None and inch.cgk is not None
    assert inch.cg.lower == pytest.approx(mm.cg.lower)
    assert inch.cgk.estimate == pytest.approx(mm.cgk.estimate)
    assert inch.bias.upper == pytest.approx(mm.bias.upper / 25.4)


def test_equal_readings_give_a_bias_and_a_warning():
    found = master_check([2.0] * 5, 1.5, tolerance=1)
    assert found.bias.estimate == 0.5
    assert (found.t, found.cg) == (None, None)
    assert "below what the gauge shows" in found.warnings[0]
    coarse = master_check([2.0, 2.0, 2.0, 2.001], 2.0, resolution=0.01)
    assert "rounding" in coarse.warnings[0]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: master_check([1.0], 1.0), "2 values"),
        (lambda: master_check([1.0, 2.0], math.nan), "master"),
        (lambda: master_check([1.0, 2.0], 1.0, tolerance=0.0), "tolerance"),
        (lambda: linearity([1.0, 2.0, 3.0], [1.0, 1.0, 1.0]), "2 master sizes"),
        (lambda: linearity([1.0, 2.0, 3.0], [1.0, 2.0, 3.0]), "exactly"),
        (lambda: linearity([1.0, 2.0, 3.0], [1.0, 2.0, 3.0, 4.0]), "its master"),
        (lambda: resolution_verdict(0.1), "give one"),
        (lambda: resolution_verdict(0.0, sigma=1.0), "above 0"),
        (lambda: at_reference(1.0, Temperature(math.nan, 1e-5)), "numbers"),
        (lambda: at_reference(1.0, Temperature(21, 11.5)), "none of a metal"),
        (lambda: at_reference(1.0, Temperature(21, 1e-5, -1.0)), "0 or above"),
        (lambda: chance_conforms(1.0, 0.0, 0.0, 2.0), "above 0"),
        (lambda: chance_conforms(1.0, 0.1, None, None), "at least one"),
        (lambda: chance_conforms(1.0, 0.1, 2.0, 0.0), "wrong way round"),
        (lambda: acceptance_limits(1.0, 0.0, 1.0), "leave nothing"),
        (lambda: guard_factor(1.0), "within 0.5 and 1"),
    ],
)
def test_refusals_say_what_is_wrong(call, words):
    with pytest.raises(SpcError, match=words):
        call()


def test_a_gauge_whose_error_is_not_a_line_fails_the_line():
    rng = np.random.default_rng(4)
    size = np.repeat([1.0, 2.0, 3.0, 4.0, 5.0], 8)
    bent = linearity(size + 0.1 * (size - 3) ** 2 + 0.02 * rng.normal(size=40), size)
    straight = linearity(size + 0.1 * (size - 3) + 0.02 * rng.normal(size=40), size)
    assert bent.lack_of_fit_p is not None and straight.lack_of_fit_p is not None
    assert bent.lack_of_fit_p < 1e-6
    assert straight.lack_of_fit_p > 0.01
    assert straight.slope.estimate == pytest.approx(0.1, abs=0.01)


@pytest.mark.parametrize(
    ("step", "tolerance", "sigma", "word"),
    [
        (0.1, 1.0, None, "fine enough"),
        (0.11, 1.0, None, "too coarse for the tolerance"),
        (0.1, 1.0, 0.1, "too coarse for the process"),
        (0.06, None, 0.1, "fine enough"),
    ],
)
def test_resolution(step, tolerance, sigma, word):
    assert resolution_verdict(step, tolerance=tolerance, sigma=sigma) == word


def test_a_part_and_a_gauge_of_one_metal_at_one_temperature_need_no_correction():
    warm = Temperature(27.0, 11.5e-6, 0.5, 1e-6)
    found = at_reference(100.0, warm, warm)
    assert found.length == pytest.approx(100.0)
    assert found.uncertainty > 0


def test_aluminium_read_by_steel_when_both_are_warm():
    # 100 mm, 10 K, difference of 11.5e-6: 11.5 um too long.
    found = at_reference(100.0, Temperature(30, 23e-6), Temperature(30, 11.5e-6))
    assert found.correction == pytest.approx(-0.0115, rel=1e-3)


def test_uncertainty_equals_a_simulation():
    rng = np.random.default_rng(8)
    part, gauge = Temperature(26, 23e-6, 0.6, 1.5e-6), Temperature(22, 11.5e-6, 0.3, 1e-6)
    found = at_reference(80_000.0, part, gauge, reading_uncertainty=0.8)
    n = 200_000
    warm, scale = 6 + 0.6 * rng.normal(size=n), 2 + 0.3 * rng.normal(size=n)
    a, b = 23e-6 + 1.5e-6 * rng.normal(size=n), 11.5e-6 + 1e-6 * rng.normal(size=n)
    drawn = (80_000 + 0.8 * rng.normal(size=n)) * (1 + b * scale) / (1 + a * warm)
    assert found.uncertainty == pytest.approx(drawn.std(), rel=0.01)
    assert found.length == pytest.approx(drawn.mean(), abs=5 * drawn.std() / math.sqrt(n))


def test_chance_with_a_process_behind_it_equals_the_integral():
    grid = np.linspace(-8, 8, 200_001)
    weight = np.exp(-(((1.2 - grid) / 0.5) ** 2) / 2) * np.exp(-(((grid - 0.2) / 0.7) ** 2) / 2)
    inside = weight[(grid >= -1) & (grid <= 1)].sum() / weight.sum()
    assert chance_conforms(1.2, 0.5, -1, 1, process=(0.2, 0.7)) == pytest.approx(inside, rel=1e-3)
    assert chance_conforms(1.2, 0.5, -1, 1) < inside


def test_mirrored_limits_mirror_the_chance_and_the_zone():
    assert chance_conforms(0.9, 0.1, None, 1.0) == pytest.approx(chance_conforms(-0.9, 0.1, -1.0, None))
    for value in (0.5, 0.9, 1.1, 1.3):
        assert decision_zone(value, 0.1, -1, 1) == decision_zone(-value, 0.1, -1, 1)


@pytest.mark.parametrize(
    ("value", "zone"),
    [
        (0.0, "conforms"),
        (0.8, "conforms"),
        (0.9, "cannot be told"),
        (1.1, "cannot be told"),
        (1.3, "does not conform"),
    ],
)
def test_zones(value, zone):
    assert decision_zone(value, 0.1, -1, 1, factor=2) == zone


def test_too_few_readings_is_its_own_error():
    with pytest.raises(TooFewReadings):
        linearity([1.0], [1.0])
