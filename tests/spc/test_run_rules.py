"""Run rules by hand, by property and at the border; their run lengths against simulation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.charts.classical import individuals
from spc.charts.cusum_lengths import cusum_limit, cusum_run_length
from spc.charts.rule_lengths import run_length, run_lengths
from spc.charts.run_rules import (
    BEYOND,
    EIGHT_IN_A_ROW,
    EIGHT_OUTSIDE,
    FIFTEEN_WITHIN,
    FOUR_OF_FIVE,
    FOURTEEN_ALTERNATE,
    NINE_IN_A_ROW,
    RULES,
    SIX_TREND,
    TWO_OF_THREE,
    Rule,
    broken,
    check_panel,
    check_rules,
    rule_named,
    standard_score,
)
from spc.charts.smoothed import cusum_chart, ewma_chart
from spc.errors import SpcError


@pytest.mark.parametrize(
    ("rule", "scores", "at"),
    [
        (BEYOND, [0, 3.1, 3.0, -3.1], [1, 3]),
        (TWO_OF_THREE, [2.1, 0, 2.1, 0, 0, 2.1, -2.1], [2]),
        (TWO_OF_THREE, [2.1, 2.1, 0, 0], [1]),
        (FOUR_OF_FIVE, [1.1, 1.1, 0, 1.1, 1.1, 1.1], [4, 5]),
        (FOUR_OF_FIVE, [1.1, 1.1, -1.1, -1.1, 1.1, 1.1], []),
        (EIGHT_IN_A_ROW, [0.1] * 8 + [-0.1], [7]),
        (EIGHT_IN_A_ROW, [0.1] * 4 + [0.0] + [0.1] * 7, []),
        (NINE_IN_A_ROW, [-0.1] * 10, [8, 9]),
        (SIX_TREND, [0, 1, 2, 3, 4, 5, 5], [5]),
        (SIX_TREND, [5, 4, 3, 2, 1, 0, -1], [5, 6]),
        (FOURTEEN_ALTERNATE, [0, 1] * 7 + [1], [13]),
        (FIFTEEN_WITHIN, [0.5, -0.5] * 8, [14, 15]),
        (EIGHT_OUTSIDE, [1.1, -1.1] * 4 + [0.5], [7]),
    ],
)
def test_patterns_by_hand(rule: Rule, scores, at):
    assert np.flatnonzero(broken(scores, rule)).tolist() == at


def plainly(z: np.ndarray, rule: Rule) -> list[int]:
    """The rule as a person would check it, point by point."""
    found = []
    for i in range(len(z)):
        window = z[max(0, i - rule.of + 1) : i + 1]
        if rule.kind == "trend":
            steps = np.diff(window)
            hit = len(window) == rule.of and ((steps > 0).all() or (steps < 0).all())
        elif rule.kind == "alternation":
            steps = np.diff(window)
            hit = len(window) == rule.of and (steps[1:] * steps[:-1] < 0).all()
        elif rule.kind == "within":
            hit = len(window) == rule.of and (abs(window) < rule.zone).all()
        elif rule.kind == "either side":
            hit = abs(z[i]) > rule.zone and (abs(window) > rule.zone).sum() >= rule.count
        else:
            hit = any(s * z[i] > rule.zone and (s * window > rule.zone).sum() >= rule.count for s in (1, -1))
        if hit:
            found.append(i)
    return found


@given(st.integers(0, 10_000), st.sampled_from(RULES))
@settings(max_examples=60, deadline=None)
def test_fast_rules_find_what_a_person_would(seed, rule):
    rng = np.random.default_rng(seed)
    z = np.round(rng.normal(size=40) * rng.choice([0.4, 1.0, 2.0]), 1)
    assert np.flatnonzero(broken(z, rule)).tolist() == plainly(z, rule)


@given(st.integers(0, 1_000), st.sampled_from(RULES))
@settings(max_examples=30, deadline=None)
def test_mirrored_points_break_the_same_rules_and_many_series_go_at_once(seed, rule):
    z = np.random.default_rng(seed).normal(size=(3, 60))
    assert (broken(z, rule) == broken(-z, rule)).all()
    assert (broken(z, rule)[1] == broken(z[1], rule)).all()


def test_signals_are_listed_in_order_with_the_rule_in_words():
    found = check_rules([0.5] * 9 + [3.5], [BEYOND, NINE_IN_A_ROW])
    assert [(s.index, s.rule) for s in found] == [
        (8, "nine in a row on one side"),
        (9, "one beyond three sigma"),
        (9, "nine in a row on one side"),
    ]


def test_a_chart_is_checked_in_its_own_sigma():
    x = np.r_[np.random.default_rng(1).normal(10, 2, 30), 25.0]
    chart = individuals(x[:30])
    again = individuals(x, center=chart.center, sigma=chart.sigma)
    assert [s.index for s in check_panel(again.values, [BEYOND])] == again.values.beyond.tolist()


def test_smoothed_series_are_refused():
    x = np.random.default_rng(1).normal(size=20)
    with pytest.raises(SpcError, match="do not apply to the weighted average"):
        check_panel(ewma_chart(x, target=0, sigma=1), RULES)
    with pytest.raises(SpcError, match="do not apply to the moving range"):
        check_panel(individuals(x).moving_range, RULES)


def test_a_missing_point_ends_a_row():
    z = [0.1] * 5 + [np.nan] + [0.1] * 5
    assert not broken(z, EIGHT_IN_A_ROW).any()


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: rule_named("seven"), "there is no run rule 'seven'; there are: one beyond"),
        (lambda: run_length([]), "at least one rule"),
        (lambda: run_length([BEYOND], float("nan")), "a number of sigma"),
        (lambda: run_lengths([SIX_TREND], [0.0]), "neighbours"),
        (lambda: standard_score([1.0], 0.0, 0.0), "above 0"),
        (lambda: check_panel(individuals([1.0, 1.0, 1.0]).values, RULES), "no width"),
        (lambda: check_rules([[1.0]], RULES), "one series"),
        (lambda: cusum_run_length(-1, 4), "0 or above"),
        (lambda: cusum_run_length(0.5, 4, start=2.0), "one side only"),
        (lambda: cusum_limit(0.5, 2), "above 3"),
    ],
)
def test_refusals_say_what_is_wrong(call, words):
    with pytest.raises(SpcError, match=words):
        call()


def test_rules_are_found_by_name():
    assert rule_named(" Nine in a row on one side ") is NINE_IN_A_ROW


@pytest.mark.parametrize(
    "rules",
    [(FIFTEEN_WITHIN,), (EIGHT_OUTSIDE, BEYOND), (NINE_IN_A_ROW, TWO_OF_THREE), (FOUR_OF_FIVE,)],
    ids=str,
)
def test_the_chain_agrees_with_simulation(rules):
    """Runs until the first alarm, with the same rules applied to points; 3 standard errors."""
    from spc.charts.rule_lengths import _simulated

    exact = run_length(rules).average
    found = _simulated(rules, 0.0, 2_000, np.random.default_rng(3))
    assert abs(found.average - exact) < 3 * found.standard_error


def test_a_row_of_six_rising_or_falling_in_closed_form():
    """Rising or falling rows of a stream of exchangeable values: first row of 6, computed by its own chain.

    With r the length of the present monotone row, the chance that it goes on depends on ranks only; the
    expected first time comes from counting permutations: P(no row of 6 in n) by recursion over all n.
    """
    # Count permutations of n without a monotone row of 6, by value rank of the last and length of its row.
    alive = {(0, 1, 0): 1.0}  # (rank of the last among those so far, row length, direction)
    total = 1.0
    for n in range(1, 120):
        new: dict[tuple[int, int, int], float] = {}
        for (rank, length, way), share in alive.items():
            for place in range(n + 1):
                up = 1 if place > rank else -1
                row = length + 1 if up == way or way == 0 else 2
                if row < 6:
                    key = (place, row, up)
                    new[key] = new.get(key, 0.0) + share / (n + 1)
        alive = new
        total += sum(alive.values())
    tail = sum(alive.values())
    # Beyond 120 points the survival falls off geometrically.
    before = run_length([SIX_TREND], runs=4_000)
    rate = 1 - 1 / before.average
    expected = total + tail * rate / (1 - rate)
    assert abs(before.average - expected) < 3 * before.standard_error + 2


def test_head_start_shortens_the_run_and_zero_allowance_is_answered():
    plain, ahead = (
        cusum_run_length(0.5, 5, 1, two_sided=False),
        cusum_run_length(0.5, 5, 1, two_sided=False, start=2.5),
    )
    assert ahead < plain
    # Lucas & Crosier (1982), Technometrics 24, 199-205 (from memory): 6.35 with half the limit as head start.
    assert ahead == pytest.approx(6.35, abs=0.05)
    assert cusum_run_length(0.0, 30.0) > cusum_run_length(0.0, 10.0)


def test_a_cumulative_sum_alarms_as_often_as_computed():
    rng = np.random.default_rng(6)
    lengths = []
    for _ in range(1_500):
        chart = cusum_chart(rng.normal(0.5, 1, 400), target=0, allowance=0.5, limit=4)
        lengths.append(chart.beyond[0] + 1)
    error = np.std(lengths) / np.sqrt(len(lengths))
    assert abs(np.mean(lengths) - cusum_run_length(0.5, 4, 0.5)) < 3 * error


@pytest.mark.parametrize("n", range(6))
@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_series_shorter_than_a_pattern_break_nothing_but_what_fits(rule, n):
    found = check_rules(np.full(n, 1.5), [rule])
    fits = rule.zone < 1.5 and rule.kind in ("beyond", "either side") and rule.count <= n
    assert bool(found) == fits
