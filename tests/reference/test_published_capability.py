"""Published worked examples of capability."""

from __future__ import annotations

import numpy as np
import pytest

from spc.capability.distribution import share_out
from spc.capability.percentile import percentile_capability
from spc.capability.quick import quick
from spc.capability.resample import resampled_points
from spc.capability.tolerance import distance_index
from spc.charts.classical import mean_range
from spc.intervals import binomial_interval, bissell_interval, tolerance_factor
from spc.variation import overall_sigma
from tests.reference.tables import column, printed, table


def test_formulas_from_summary_values():
    """NIST/SEMATECH e-Handbook 6.1.6 (from memory): limits 8 and 20, mean 16, s 2."""
    assert float(distance_index(10, 16, 22, 8, 20)) == printed("0.6667")
    assert float(distance_index(10, 16, 22, None, 20)) == printed("0.6667")
    assert float(distance_index(10, 16, 22, 8, None)) == printed("1.3333")


@pytest.mark.parametrize(
    ("sigmas", "scale", "text", "slack"),
    # At 8 sigma the page prints 64 ppm; exactly it is 63.3.
    [(3, 1e2, "0.27", 0), (4, 1e6, "64", 0.3), (5, 1e6, "0.6", 0), (6, 1e9, "2", 0)],
)
def test_share_out_of_a_centred_process(sigmas, scale, text, slack):
    """NIST/SEMATECH e-Handbook 6.1.6, table of Cp and rejects (from memory)."""
    below, above = share_out("normal", 0.0, 1.0, -sigmas, sigmas)
    assert float(below + above) * scale == printed(text, slack)


def test_film_thickness_of_a_furnace():
    """NIST/SEMATECH e-Handbook 3.5.1.2: 168 thicknesses, limits 460 and 660.

    The page calls Cp and Cpk what ISO 22514 calls Pp and Ppk: its sigma is the n - 1 standard deviation. It
    also prints limits of CPL and CPU whose formula could not be identified; they are left out.
    """
    x = column("nist_furnace.csv", "thickness")
    found = quick(x, 460, 660)
    assert found.n == 168
    assert found.mean == printed("563.0357")
    assert found.sigma_overall == printed("25.3847")
    assert found.capability is not None
    pp, ppk = found.capability.pp, found.capability.ppk
    assert pp is not None and ppk is not None
    assert pp.estimate == printed("1.31313")
    assert pp.lower == printed("1.17234")
    assert pp.upper == printed("1.45372")
    assert ppk.estimate == printed("1.27327")
    page = bissell_interval(ppk.estimate, 168)
    assert page.lower == printed("1.12771")
    assert page.upper == printed("1.41882")
    # Ours takes the nearer side within each draw and t in place of z; with 168 values they hardly differ.
    assert ppk.lower == pytest.approx(1.12771, abs=0.01)
    assert ppk.upper == pytest.approx(1.41882, abs=0.01)
    points = (found.mean + z * found.sigma_overall for z in (-3, 0, 3))
    assert float(distance_index(*points, 460, None)) == printed("1.35299")
    # Percentile index: the page's 0.5 %, 50 % and 99.5 % points.
    assert float(distance_index(487, 562.5, 634, 460, 660)) == printed("1.35762")
    below, above = share_out("normal", found.mean, found.sigma_overall, 460, 660)
    # The page's 0.00247 % and 0.00915 % are off by about one unit of the last digit.
    assert 100 * float(below) == printed("0.00247", 0.2)
    assert 100 * float(above) == printed("0.00668")
    assert 100 * float(below + above) == printed("0.00915", 0.6)


def test_bursting_strength_with_one_limit():
    """Montgomery, Introduction to SQC (from memory): 20 subgroups of 5, lower limit 200 psi."""
    data = table("bottle_strength.csv", "x1", "x2", "x3", "x4", "x5")
    found = quick(data.ravel(), lower=200)
    assert found.mean == printed("264.06")
    assert found.sigma_overall == printed("32.02")
    assert found.capability is not None and found.capability.ppk is not None
    assert found.capability.pp is None
    assert found.capability.ppk.estimate == printed("0.67")
    chart = mean_range(data)
    assert chart.spreads.center == printed("77.3")
    assert chart.sigma == printed("33.23")
    assert (chart.center - 200) / (3 * chart.sigma) == printed("0.64")


def test_exact_interval_of_a_share():
    """NIST/SEMATECH e-Handbook 7.2.4.2: 4 defectives in 20, 90 %."""
    found = binomial_interval(4, 20, 0.9)
    assert found.lower == printed("0.071354")
    # The page's last digit is one unit high.
    assert found.upper == printed("0.401029", 0.6)


def test_tolerance_factors():
    """NIST/SEMATECH e-Handbook 7.2.6.3: n 43, mean 97.07, s 0.0268, 90 % with 99 % confidence."""
    two_sided = tolerance_factor(43, 0.9, 0.99)
    # The page prints 2.2173159; the chi-square it used carries seven digits.
    assert two_sided == printed("2.2173159", 1)
    assert 97.07 - two_sided * 0.0268 == printed("97.010576", 0.5)
    assert 97.07 + two_sided * 0.0268 == printed("97.12942")
    one_sided = tolerance_factor(43, 0.9, 0.99, sides=1)
    # The page's approximation is 1.8751896; exactly it is 1.8740. Its last line, 102.096, is wrong by its s.
    assert one_sided == printed("1.8740")
    assert one_sided == pytest.approx(1.8751896, abs=0.0013)


def test_check_standard_baseline():
    """NIST/SEMATECH e-Handbook 2.6.2: 25 occasions."""
    x = column("nist_check_standard.csv", "value")
    found = quick(x)
    assert found.mean == printed("97.07")
    assert found.sigma_overall == printed("0.0268")
    assert found.capability is None


def test_heat_flow_calibrations():
    """NIST/SEMATECH e-Handbook 1.3.5.2: 195 values, printed in single precision."""
    x = column("zarr13.csv", "y")
    found = quick(x)
    assert found.n == 195
    assert found.mean == printed("9.261460", 0.6)
    assert overall_sigma(x) == printed("0.022789")
    assert np.isfinite(found.sigma_within)


def test_film_thickness_by_percentiles():
    """NIST/SEMATECH e-Handbook 3.5.1.2: CNPK 1.35762 from the 0.5 %, 50 % and 99.5 % points, at (n + 1) p.

    ISO 22514-2 takes 0.135 % and 99.865 % instead, which 168 values do not hold.
    """
    x = column("nist_furnace.csv", "thickness")
    found = percentile_capability(x, 460, 660, shape="as measured", tail=0.005)
    assert (found.low, found.median, found.high) == (printed("487.00"), printed("562.50"), printed("634.00"))
    assert found.ppk is not None
    assert found.ppk.estimate == printed("1.35762")
    theirs = "634.00 615.10 595.00 582.75 562.50 546.25 532.90 514.23 487.00"
    shares = (0.995, 0.975, 0.9, 0.75, 0.5, 0.25, 0.1, 0.025, 0.005)
    points = resampled_points(x[:, None], np.ones((1, 168)), shares)[:, 0]
    for ours, text in zip(points, theirs.split(), strict=True):
        assert ours == printed(text)
