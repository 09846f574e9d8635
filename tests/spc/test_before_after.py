"""Before and after, power, and months: against the general library, by property, by simulation, at the border."""

from __future__ import annotations

import math

import numpy as np
import pytest

from spc.capability.months import Pair, compare_months
from spc.change.comparison import before_after, equal_spread, smallest_difference
from spc.errors import SpcError, TooFewReadings


def shop(seed: int, shift: float = 0.0, ratio: float = 1.0, n: int = 40):
    """Part means of two families with wear, half made after a change."""
    rng = np.random.default_rng(seed)
    after = np.arange(n) >= n // 2
    family = rng.integers(0, 2, n)
    wear = np.tile(np.arange(10.0), n // 10)
    noise = rng.normal(0, np.where(after, ratio, 1.0))
    return noise + 5.0 * family + 0.3 * wear + shift * after, after, family, wear


def test_without_families_and_wear_it_is_welch():
    from scipy.stats import f, ttest_ind

    rng = np.random.default_rng(1)
    x, after = np.r_[rng.normal(0, 1, 9), rng.normal(1, 3, 14)], np.arange(23) >= 9
    found = before_after(x, after)
    theirs = ttest_ind(x[after], x[~after], equal_var=False)
    interval = theirs.confidence_interval()
    assert (found.level.t, found.level.p_value) == pytest.approx((theirs.statistic, theirs.pvalue))
    assert found.level.dof == pytest.approx(theirs.df)
    assert (found.level.difference.lower, found.level.difference.upper) == pytest.approx(
        (interval.low, interval.high)
    )
    ratio = x[after].var(ddof=1) / x[~after].var(ddof=1)
    assert found.spread.ratio.estimate == pytest.approx(math.sqrt(ratio))
    assert found.spread.p_value == pytest.approx(2 * min(f.sf(ratio, 13, 8), f.cdf(ratio, 13, 8)))
    assert found.spread.ratio.lower == pytest.approx(math.sqrt(ratio / f.ppf(0.975, 13, 8)))


def test_with_equal_spreads_the_effect_is_that_of_least_squares():
    import pandas as pd
    from statsmodels.formula.api import wls

    x, after, family, wear = shop(2, 1.0)
    found = before_after(x, after, family=family, wear=wear)
    variance = np.where(after, found.spread.after, found.spread.before) ** 2
    frame = pd.DataFrame({"x": x, "after": after.astype(float), "family": family, "wear": wear})
    fit = wls("x ~ after + C(family) + wear", frame, weights=1 / variance).fit()
    assert found.level.difference.estimate == pytest.approx(fit.params["after"], rel=1e-3)
    assert found.level.slope == pytest.approx(fit.params["wear"], rel=1e-3)


def test_families_and_wear_do_not_pass_for_a_change():
    wrong = plain = 0
    for seed in range(300):
        rng = np.random.default_rng(seed)
        after = np.arange(40) >= 20
        # The mix of families and the wear both differ between the sides.
        family = np.r_[rng.permutation(20) < 4, rng.permutation(20) < 16].astype(int)
        wear = rng.integers(0, 10, 40) + np.where(after, 5.0, 0.0)
        x = rng.normal(0, np.where(after, 2.0, 1.0)) + 4.0 * family + 0.5 * wear
        wrong += before_after(x, after, family=family, wear=wear).level.p_value < 0.05
        plain += before_after(x, after).level.p_value < 0.05
    # 300 runs: one Monte Carlo error is 1.3 %.
    assert wrong / 300 < 0.05 + 2.5 * 0.013
    assert plain / 300 > 0.9


def test_the_smallest_effect_is_found_in_four_of_five_comparisons():
    rng = np.random.default_rng(3)
    after = np.arange(30) >= 12
    se = math.sqrt(1 / 12 + 1 / 18)
    delta = smallest_difference(se, 28)
    hits = sum(before_after(rng.normal(delta * after, 1), after).level.p_value < 0.05 for _ in range(500))
    assert hits / 500 == pytest.approx(0.8, abs=3 * math.sqrt(0.8 * 0.2 / 500))


def test_power_equals_the_general_library():
    from statsmodels.stats.power import TTestIndPower

    theirs = TTestIndPower().solve_power(nobs1=10, ratio=2, alpha=0.05, power=0.8)
    assert smallest_difference(math.sqrt(1 / 10 + 1 / 20), 28) == pytest.approx(theirs, rel=1e-4)


def test_the_smallest_ratio_of_spreads_is_found_in_four_of_five():
    rng = np.random.default_rng(4)
    after = np.arange(40) >= 20
    ratio = before_after(rng.normal(size=40), after).spread.smallest_seen
    hits = 0
    for _ in range(500):
        x = rng.normal(0, np.where(after, ratio, 1.0))
        hits += before_after(x, after).spread.p_value < 0.05
    assert hits / 500 == pytest.approx(0.8, abs=3 * math.sqrt(0.8 * 0.2 / 500))


def test_a_change_of_the_position_pattern_is_seen_and_level_does_not_enter():
    rng = np.random.default_rng(5)
    after = np.arange(24) >= 12
    y = rng.normal(size=(24, 1)) + 0.2 * rng.normal(size=(24, 4)) + 3.0 * after[:, None]
    calm = before_after(y, after)
    bent = before_after(y + np.outer(after, [0.5, 0, 0, -0.5]), after)
    assert calm.pattern is not None and bent.pattern is not None
    assert calm.pattern.p_value > 0.001
    assert bent.pattern.p_value < 1e-4
    shift = np.subtract(bent.pattern.change, calm.pattern.change)
    assert shift == pytest.approx([0.5, 0, 0, -0.5])


def test_units_scale_and_swapped_sides_mirror():
    x, after, family, wear = shop(6, 0.7, 1.4)
    first = before_after(x, after, family=family, wear=wear)
    inch = before_after(x / 25.4, after, family=family, wear=wear)
    back = before_after(x, ~after, family=family, wear=wear)
    assert inch.level.difference.lower == pytest.approx(first.level.difference.lower / 25.4)
    assert inch.spread.ratio.upper == pytest.approx(first.spread.ratio.upper)
    assert back.level.difference.upper == pytest.approx(-first.level.difference.lower, rel=1e-6)
    assert back.spread.ratio.estimate == pytest.approx(1 / first.spread.ratio.estimate, rel=1e-6)


def test_a_family_of_one_side_is_left_out_and_named():
    x, after, _, _ = shop(7)
    family = np.array(["a"] * 40)
    family[35:] = "b"
    found = before_after(x, after, family=family)
    assert found.parts_after == 15
    assert "family b was made on one side only" in found.warnings[0]


def test_missing_positions_leave_level_and_drop_the_pattern():
    y = np.random.default_rng(8).normal(size=(12, 3))
    y[:, 1] = np.nan
    found = before_after(y, np.arange(12) >= 6)
    assert found.pattern is None
    assert "position pattern is not compared" in found.warnings[0]


AFTER = np.arange(8) >= 4


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        (
            lambda: before_after([1.0, 2.0, 3.0, 4.0], [0, 0, 1, 1]),
            TooFewReadings,
            "3 parts before and 3 after",
        ),
        (lambda: before_after(np.ones(8), AFTER), SpcError, "no spread at all"),
        (lambda: before_after(np.r_[np.ones(4), 1:5], AFTER), SpcError, "no spread at all"),
        (lambda: before_after(np.arange(8.0), AFTER, wear=np.ones(8)), SpcError, "explains nothing"),
        (
            lambda: before_after(np.arange(8.0), AFTER, wear=AFTER.astype(float)),
            SpcError,
            "cannot be told apart",
        ),
        (lambda: before_after(np.arange(8.0), AFTER[:5]), SpcError, "one side for every part"),
        (lambda: before_after(np.arange(8.0), AFTER, family=[1]), SpcError, "needs its family"),
        (lambda: before_after(np.arange(8.0), AFTER, wear=[1]), SpcError, "needs its wear"),
        (lambda: before_after(np.r_[np.inf, 1:8], AFTER), SpcError, "infinite"),
        (lambda: equal_spread([1.0, 2.0]), SpcError, "2 groups"),
        (lambda: equal_spread([1.0, 1.0], [2.0, 2.0]), SpcError, "nothing to compare"),
        (lambda: smallest_difference(0.0, 5), SpcError, "above 0"),
        (lambda: compare_months([], false_share=1.0), SpcError, "within 0 and 1"),
        (lambda: compare_months([Pair("p", AFTER, AFTER, None, None)]), SpcError, "p: an index"),
        (lambda: compare_months([Pair("p", AFTER, AFTER, 2, 1)]), SpcError, "p: the lower"),
    ],
)
def test_refusals_say_what_is_wrong(call, error, words):
    with pytest.raises(error, match=words):
        call()


def months(rng, shifts, parts=12):
    return [
        Pair(f"m{i}", rng.normal(0, 1, (parts, 1)), rng.normal(shift, 1, (parts, 1)), -4, 4)
        for i, shift in enumerate(shifts)
    ]


def test_chance_alone_seldom_names_a_process_among_many():
    rng = np.random.default_rng(9)
    named = sum(any(c.changed for c in compare_months(months(rng, [0.0] * 12), seed=i)) for i in range(30))
    unadjusted = [c.p_value for c in compare_months(months(rng, [0.0] * 150))]
    assert named / 30 <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / 30)
    assert np.mean([p < 0.05 for p in unadjusted if p is not None]) == pytest.approx(0.05, abs=0.04)


def test_what_did_change_is_named_and_the_adjustment_is_the_published_one():
    from scipy.stats import false_discovery_control

    rng = np.random.default_rng(10)
    found = compare_months(months(rng, [0.0] * 15 + [3.0] * 3))
    assert all(c.changed for c in found[15:])
    assert sum(c.changed for c in found[:15]) <= 2
    p = [c.p_value for c in found]
    assert [c.p_adjusted for c in found] == pytest.approx(list(false_discovery_control(p)))
    assert found[15].difference is not None and found[15].difference.upper < 0


def test_the_interval_of_a_difference_holds_the_truth():
    rng = np.random.default_rng(11)
    truth = 3 / 3 - 4 / 3
    held = 0
    for i in range(250):
        (change,) = compare_months(months(rng, [1.0], parts=15), seed=i)
        assert change.difference is not None
        held += change.difference.lower <= truth <= change.difference.upper
    assert held / 250 >= 0.935 - 2.5 * math.sqrt(0.05 * 0.95 / 250)


def test_a_process_that_cannot_be_compared_is_named_with_the_reason():
    rng = np.random.default_rng(12)
    pairs = [
        *months(rng, [0.0]),
        Pair("few", rng.normal(size=(4, 1)), rng.normal(size=(9, 1)), -4, 4),
        Pair("flat", np.ones((9, 1)), rng.normal(size=(9, 1)), -4, 4),
    ]
    found = compare_months(pairs)
    assert found[0].reason is None
    assert found[1].reason is not None and "too few parts in a month: 4" in found[1].reason
    assert found[2].reason is not None and "read the same" in found[2].reason
    assert compare_months(pairs[1:])[0].p_adjusted is None


def test_months_do_not_depend_on_the_unit_and_mirror_with_the_limits():
    rng = np.random.default_rng(13)
    a, b = rng.normal(0, 1, (9, 2)), rng.normal(1, 1, (9, 2))
    first = compare_months([Pair("x", a, b, None, 4)])[0]
    inch = compare_months([Pair("x", a / 25.4, b / 25.4, None, 4 / 25.4)])[0]
    mirror = compare_months([Pair("x", -a, -b, -4, None)])[0]
    assert first.difference is not None and inch.difference is not None and mirror.difference is not None
    assert inch.difference.lower == pytest.approx(first.difference.lower)
    assert mirror.difference.estimate == pytest.approx(first.difference.estimate)
    assert mirror.difference.upper == pytest.approx(first.difference.upper, abs=0.02)
