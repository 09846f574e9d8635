"""Published worked examples of weighted averages and cumulative sums."""

from __future__ import annotations

from spc.charts.smoothed import cusum_chart, ewma_chart
from tests.reference.tables import column, printed

EWMA = [
    "50.60",
    "49.52",
    "50.56",
    "50.18",
    "50.16",
    "49.21",
    "49.75",
    "49.85",
    "50.26",
    "50.33",
    "50.11",
    "49.36",
    "49.52",
    "50.05",
    "49.38",
    "49.92",
    "50.73",
    "51.23",
    "51.94",
    "51.99",
]


def test_weighted_average():
    """NIST/SEMATECH e-Handbook 6.3.2.4 (from memory): weight 0.3, target 50, sigma 2.0539, steady limits."""
    chart = ewma_chart(
        column("ewma_nist.csv", "x"), target=50, sigma=2.0539, weight=0.3, width=3, asymptotic=True
    )
    for ours, theirs in zip(chart.values, EWMA, strict=True):
        assert ours == printed(theirs)
    # The page rounds sqrt(0.3 / 1.7) to 0.4201.
    assert chart.upper[0] == printed("52.5884", 1)
    assert chart.lower[0] == printed("47.4115", 1)
    assert chart.beyond.size == 0


def test_cumulative_sum():
    """NIST/SEMATECH e-Handbook 6.3.2.3 (from memory): target 325, k 0.3175, h 4.1959."""
    chart = cusum_chart(column("cusum_nist.csv", "mean"), target=325, allowance=0.3175, limit=4.1959)
    printed_high = ["3.01", "4.94", "7.45", "10.63", "11.99", "14.44", "16.00", "19.04"]
    for ours, theirs in zip(chart.high[12:], printed_high, strict=True):
        # 19.0325 is printed as 19.04.
        assert ours == printed(theirs, 0.3)
    for ours, theirs in zip(chart.plain, ("-0.07", "-0.40", "-0.67", "-1.32"), strict=False):
        # The page cuts -0.075, -0.675 and -1.325 off instead of rounding.
        assert ours == printed(theirs, 0.02)
    assert chart.plain[19] == printed("19.08")
    assert (chart.beyond + 1).tolist() == [14, 15, 16, 17, 18, 19, 20]
