"""Where to aim: closed form, symmetry, what it costs to be a step off, and where a wearing tool starts."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from spc.errors import SpcError
from spc.wear.aim import best_aim, longest_start


def parts(n, p=1, part=2.0, within=0.0, mean=0.0, seed=1):
    rng = np.random.default_rng(seed)
    return mean + part * rng.normal(size=(n, 1)) + within * rng.normal(size=(n, p))


def test_one_place_a_part_agrees_with_the_closed_form():
    """Minimum of a F((L - m)/s) + b (1 - F((U - m)/s)): m = (L + U)/2 + s^2 log(a/b)/(U - L)."""
    sizes = parts(400)
    aim = best_aim(sizes, -10.0, 10.0, 165.0, 780.0, 2.54)
    s = float(sizes.std(ddof=1))
    best = s * s * math.log(165.0 / 780.0) / 20.0
    assert aim is not None
    assert aim.best == pytest.approx(best, abs=1e-3)
    cost = 165.0 * norm.cdf((-10 - best) / s) + 780.0 * norm.sf((10 - best) / s)
    assert aim.cost_best == pytest.approx(cost, rel=1e-3)
    assert aim.out_low == pytest.approx(norm.cdf((-10 - best) / s), rel=1e-3)


def test_the_dearer_side_is_kept_away_from_and_equal_costs_aim_at_the_middle():
    sizes = parts(60, p=8, part=1.7, within=2.5, mean=1.0)
    even = best_aim(sizes, -10.0, 10.0, 100.0, 100.0, 2.54)
    dear = best_aim(sizes, -10.0, 10.0, 100.0, 1000.0, 2.54)
    turned = best_aim(-sizes, -10.0, 10.0, 1000.0, 100.0, 2.54)
    assert even is not None and dear is not None and turned is not None
    assert abs(even.best) < 0.5 and dear.best < even.best
    assert turned.best == pytest.approx(-dear.best, abs=1e-3)
    assert dear.cost_below > 0 and dear.cost_above > 0
    assert dear.cost_above > dear.cost_below
    assert dear.low < dear.best < dear.high


def test_many_places_make_a_part_bad_sooner():
    """1 - (1 - q)^8 of independent places, worked out apart from the quadrature."""
    sizes = parts(3000, p=8, part=0.0, within=4.0, seed=4)
    aim = best_aim(sizes, -10.0, 10.0, 1.0, 1.0, 1.0)
    assert aim is not None
    one = norm.cdf(-10.0, scale=4.0)
    assert aim.out_low == pytest.approx(1 - (1 - one) ** 8, rel=0.1)


def test_the_unit_does_not_matter():
    sizes = parts(50, p=4, within=2.0)
    first = best_aim(sizes, -8.0, 9.0, 100.0, 500.0, 2.54)
    second = best_aim(sizes / 25.4, -8.0 / 25.4, 9.0 / 25.4, 100.0, 500.0, 0.1)
    assert first is not None and second is not None
    assert second.best * 25.4 == pytest.approx(first.best, abs=1e-3)
    assert second.cost_above == pytest.approx(first.cost_above, rel=1e-3)


def test_the_range_holds_the_true_aim():
    """80 % range from 30 parts, 120 samples; it may be wider than promised, never much narrower."""
    truth = 4.0 * math.log(100.0 / 900.0) / 16.0
    held = 0
    for seed in range(120):
        aim = best_aim(parts(30, seed=seed), -8.0, 8.0, 100.0, 900.0, 1.0)
        assert aim is not None
        held += aim.low <= truth <= aim.high
    assert held / 120 > 0.8 - 4 * math.sqrt(0.16 / 120)


def test_too_little_or_nonsense_is_not_answered():
    assert best_aim(parts(9), -8.0, 8.0, 1.0, 1.0, 1.0) is None
    assert best_aim(np.ones((20, 1)), -8.0, 8.0, 1.0, 1.0, 1.0) is None
    assert best_aim(np.full((20, 2), np.nan), -8.0, 8.0, 1.0, 1.0, 1.0) is None
    with pytest.raises(SpcError, match="below the upper"):
        best_aim(parts(20), 8.0, -8.0, 1.0, 1.0, 1.0)
    with pytest.raises(SpcError, match="positive"):
        best_aim(parts(20), -8.0, 8.0, 0.0, 1.0, 1.0)


def test_a_wearing_tool_starts_at_the_limit_it_leaves():
    up = longest_start(0.0, 10.0, 1.0, 0.05, 200.0)
    down = longest_start(0.0, 10.0, 1.0, -0.05, 200.0)
    assert up is not None and down is not None
    assert up.start == pytest.approx(2.326, abs=1e-3)
    assert down.start == pytest.approx(10.0 - up.start)
    assert up.uses == pytest.approx((10 - 2 * 2.326) / 0.05, abs=0.1)
    assert up.uses == pytest.approx(down.uses)
    assert norm.cdf(0.0, loc=up.start) == pytest.approx(0.01)
    assert (
        longest_start(0.0, 10.0, 1.0, 0.0, 200.0) is None and longest_start(0.0, 4.0, 1.0, 0.1, 200.0) is None
    )


def test_wear_is_not_carried_past_the_longest_life_seen():
    """100 uses were seen and the limits would hold some 107: the line ends where the lives did."""
    for sign in (1.0, -1.0):
        found = longest_start(0.0, 10.0, 1.0, sign * 0.05, 100.0)
        assert found is not None and found.uses is None
        assert found.end == pytest.approx(found.start + sign * 5.0)
        assert 1.0 < found.end < 9.0
    with pytest.raises(SpcError, match="positive"):
        longest_start(0.0, 10.0, 1.0, 0.05, 0.0)
