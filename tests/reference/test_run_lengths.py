"""Published run lengths of charts and run rules."""

from __future__ import annotations

import pytest

from spc.charts.cusum_lengths import cusum_limit, cusum_run_length
from spc.charts.rule_lengths import run_length, run_lengths
from spc.charts.run_rules import BEYOND, EIGHT_IN_A_ROW, FOUR_OF_FIVE, TWO_OF_THREE
from spc.score.ewma import ewma_run_length
from tests.reference.tables import printed

TENTHS = [0.0, 0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.4, 1.6, 1.8, 2.0]
QUARTERS = [0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4]

# Champ, C. W. & Woodall, W. H. (1987), Technometrics 29, 393-399, table 1 (from memory).
CHAMP_WOODALL = {
    (BEYOND,): "370.40 308.43 200.08 119.67 71.55 43.89 27.82 18.25 12.38 8.69 6.30",
    (BEYOND, TWO_OF_THREE): "225.44 177.56 104.46 57.92 33.12 20.01 12.81 8.69 6.21 4.66 3.65",
}
# The same table, no shift (recalled before computing).
IN_CONTROL = {
    (BEYOND, FOUR_OF_FIVE): "166.05",
    (BEYOND, EIGHT_IN_A_ROW): "152.73",
    (BEYOND, TWO_OF_THREE, FOUR_OF_FIVE): "132.89",
    (BEYOND, TWO_OF_THREE, EIGHT_IN_A_ROW): "122.05",
    (BEYOND, FOUR_OF_FIVE, EIGHT_IN_A_ROW): "105.78",
    (BEYOND, TWO_OF_THREE, FOUR_OF_FIVE, EIGHT_IN_A_ROW): "91.75",
}


@pytest.mark.parametrize("rules", CHAMP_WOODALL, ids=len)
def test_run_rules_at_every_shift(rules):
    for ours, theirs in zip(run_lengths(rules, TENTHS), CHAMP_WOODALL[rules].split(), strict=True):
        assert ours == printed(theirs)


@pytest.mark.parametrize("rules", IN_CONTROL, ids=lambda rules: "-".join(str(rule.of) for rule in rules))
def test_run_rules_together(rules):
    found = run_length(rules)
    assert found.average == printed(IN_CONTROL[rules])
    assert found.standard_error == 0


def test_three_sigma_limits_alone():
    """Montgomery, Introduction to SQC, table 9.3 (from memory); it rounds 370.4 to 371 and 43.9 to 44.0."""
    theirs = ("371", "281.14", "155.22", "81.22", "44.0", "14.97", "6.30", "3.24", "2.00", "1.19")
    slack = {"371": 0.2, "281.14": 1, "44.0": 0.6}
    for ours, text in zip(run_lengths([BEYOND], QUARTERS), theirs, strict=True):
        assert ours == printed(text, slack.get(text, 0.0))


@pytest.mark.parametrize(
    ("limit", "theirs"),
    [
        (4.0, ("168", "74.2", "26.6", "13.3", "8.38", "4.75", "3.34", "2.62", "2.19", "1.71")),
        (5.0, ("465", "139", "38.0", "17.0", "10.4", "5.75", "4.01", "3.11", "2.57", "2.01")),
    ],
)
def test_two_sided_cumulative_sum(limit, theirs):
    """Lucas (1976), J. Quality Technology 8, 1-12, as in Montgomery, table 9.3 (from memory); k 0.5.

    The NIST handbook misprints 38.0 as 30.0. 139.49 is printed as 139, 17.05 as 17.0.
    """
    for shift, text in zip(QUARTERS, theirs, strict=True):
        assert cusum_run_length(0.5, limit, shift) == printed(text, 0.1)


def test_one_sided_cumulative_sum():
    """NIST/SEMATECH e-Handbook 6.3.2.3 (from memory) prints 336 and 930; exactly 335.4 and 930.9."""
    assert cusum_run_length(0.5, 4, two_sided=False) == printed("336", 0.2)
    assert cusum_run_length(0.5, 5, two_sided=False) == printed("930", 0.4)


def test_limits_for_a_run_length_of_370():
    """Hawkins (1993), J. Quality Technology 25, 248-261 (from memory); exactly 1.987 and 1.604 at the end."""
    pairs = ((0.25, "8.01"), (0.5, "4.77"), (0.75, "3.34"), (1.0, "2.52"), (1.25, "1.99"), (1.5, "1.61"))
    for allowance, text in pairs:
        assert cusum_limit(allowance, 370) == printed(text, 0.1)


def test_siegmund_is_close():
    """Siegmund (1985) as in Montgomery, section 9.1 (from memory): an approximation, good to about 1 %."""
    assert cusum_run_length(0.5, 5) == pytest.approx(469.1, rel=0.01)
    assert cusum_run_length(0.5, 5, 1.0, two_sided=False) == pytest.approx(10.34, rel=0.01)


@pytest.mark.parametrize(
    ("weight", "width", "theirs"),
    [
        (0.40, 3.054, ("500", "224", "71.2", "28.4", "14.3", "5.9", "3.5", "2.5", "2.0", "1.4")),
        (0.20, 2.962, ("500", "150", "41.8", "18.2", "10.5", "5.5", "3.7", "2.9", "2.4", "1.9")),
    ],
)
def test_weighted_average(weight, width, theirs):
    """Lucas & Saccucci (1990), Technometrics 32, 1-12, as in Montgomery, table 9.11 (from memory)."""
    for shift, text in zip(QUARTERS, theirs, strict=True):
        # 18.15 is printed as 18.2.
        assert ewma_run_length(weight, width, shift=shift) == printed(text, 0.1)
