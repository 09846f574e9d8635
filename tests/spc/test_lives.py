"""Tool lives against a mixed model fitted elsewhere, and the bound on a life."""

import numpy as np
import pytest
from scipy import stats

from spc.score.lives import (
    BELIEFS,
    life_lengths,
    life_posterior,
    life_run_length,
    longest_life,
    moments,
    spread_of_lives,
)


def lives(count: int, seed: int, level: float = 1.0, slope: float = 2.0):
    rng = np.random.default_rng(seed)
    group = np.repeat(np.arange(count), 20)
    share = np.tile(np.arange(20) / 20.0, count)
    own = np.column_stack([np.ones_like(share), share])
    random = np.column_stack([rng.normal(0, level, count), rng.normal(0, slope, count)])
    value = 4.0 - 3.0 * share + (own * random[group]).sum(axis=1) + rng.standard_normal(group.size)
    return group, own, value


def test_expectation_of_a_life_is_that_of_generalised_least_squares():
    group, own, value = lives(6, 1)
    spread = np.array([[1.0, 0.3], [0.3, 4.0]])
    common = np.column_stack([np.ones_like(value), own[:, 1]])
    keep = group < 5
    keep |= np.arange(value.size) < 5 * 20 + 7  # seven parts of the current life
    x, z, y, g = common[keep], own[keep], value[keep], group[keep]
    _, _, products = moments(np.column_stack([z, x, y]), np.ones(y.size), g)
    mean, covariance = life_posterior(products[:5], products[5], 2, 2, spread)
    # straight from the definition
    v = np.eye(y.size)
    for number in range(6):
        rows = g == number
        v[np.ix_(rows, rows)] += z[rows] @ spread @ z[rows].T
    inverse = np.linalg.inv(v)
    beta_cov = np.linalg.inv(x.T @ inverse @ x)
    beta = beta_cov @ x.T @ inverse @ y
    now = g == 5
    cross = np.zeros((2, y.size))
    cross[:, now] = spread @ z[now].T
    blup = cross @ inverse @ (y - x @ beta)
    np.testing.assert_allclose(mean, np.concatenate([beta, blup]), rtol=1e-5)
    new = np.array([1.0, 0.4])
    gap = new - cross_expectation(new, cross, inverse, x)
    variance = new @ spread @ new - new @ cross @ inverse @ cross.T @ new + gap @ beta_cov @ gap
    design = np.concatenate([new, new])
    assert design @ covariance @ design == pytest.approx(variance, rel=1e-5)


def cross_expectation(new, cross, inverse, x):
    return x.T @ inverse @ cross.T @ new


def test_the_largest_believable_spread_between_lives_is_an_upper_limit():
    held = []
    for seed in range(200):
        group, own, value = lives(6, seed)
        columns = np.column_stack([own, np.ones_like(value), own[:, 1], value])
        _, sizes, products = moments(columns, np.ones(value.size), group)
        spread = spread_of_lives(products, sizes, 2)
        assert spread is not None
        assert (np.diff(np.trace(spread, axis1=1, axis2=2)) <= 0).all(), "largest first"
        held.append([spread[0, 0, 0] >= 1.0, spread[0, 1, 1] >= 4.0])
    # at least 98 %; 200 runs: standard error 1 %
    assert (np.mean(held, axis=0) >= 0.95).all()


def test_the_levels_of_new_lives_are_foretold_by_the_average_over_believable_spreads():
    # With the fits of 8 lives, and the true variance of a part, the rank of the next life's first parts is even.
    ranks = []
    for seed in range(400):
        group, own, value = lives(9, 1_000 + seed)
        past = group < 8
        columns = np.column_stack([own, np.ones_like(value), own[:, 1], value])
        _, sizes, products = moments(columns[past], np.ones(past.sum()), group[past])
        spreads = spread_of_lives(products, sizes, 2)
        assert spreads is not None
        mean, covariance = life_posterior(products, None, 2, 2, spreads)
        first = np.array([1.0, 0.0, 1.0, 0.0])
        sd = np.sqrt(covariance @ first @ first + 1.0)
        ranks.append(BELIEFS @ stats.norm.cdf((value[~past][0] - mean @ first) / sd))
    # Even to within Monte Carlo error: 400 ranks, the middle half and both outer tenths.
    middle = np.mean((np.array(ranks) > 0.25) & (np.array(ranks) < 0.75))
    outer = np.mean((np.array(ranks) < 0.1) | (np.array(ranks) > 0.9))
    assert abs(middle - 0.5) < 0.1 and abs(outer - 0.2) < 0.08


def test_several_spreads_are_answered_as_one_by_one():
    group, own, value = lives(6, 3)
    columns = np.column_stack([own, np.ones_like(value), own[:, 1], value])
    _, sizes, products = moments(columns, np.ones(value.size), group)
    spreads = spread_of_lives(products, sizes, 2)
    assert spreads is not None and len(spreads) == len(BELIEFS)
    means, covariances = life_posterior(products[:5], products[5], 2, 2, spreads)
    for number, spread in enumerate(spreads):
        mean, covariance = life_posterior(products[:5], products[5], 2, 2, spread)
        np.testing.assert_allclose(means[number], mean, rtol=1e-9)
        np.testing.assert_allclose(covariances[number], covariance, rtol=1e-9)


def test_too_few_lives_teach_nothing():
    group, own, value = lives(3, 1)
    columns = np.column_stack([own, np.ones_like(value), own[:, 1], value])
    _, sizes, products = moments(columns, np.ones(value.size), group)
    assert spread_of_lives(products, sizes, 2) is None


def test_longest_life_by_hand():
    lengths = np.array([90.0, 100.0, 110.0, 105.0])
    logs = np.log(lengths)
    t = stats.t.isf(1 / 200, 3)
    bound = np.exp(logs.mean() + t * logs.std(ddof=1) * np.sqrt(1.25))
    assert longest_life(lengths, 200.0, 1.0) == pytest.approx(bound)
    assert life_run_length(lengths, bound, 1.0) == pytest.approx(200.0)
    # a life ended early for another reason does not count
    assert longest_life(np.append(lengths, 20.0), 200.0, 1.0) == pytest.approx(bound)


def test_equal_lives_are_known_to_within_a_part():
    bound = longest_life(np.full(6, 60.0), 5_000.0, 2.0)
    assert 60.0 < bound < 75.0
    assert longest_life(np.array([60.0, 61.0]), 5_000.0, 2.0) == np.inf


def test_lives_in_the_reach_of_a_signal_do_not_count():
    life = np.repeat([0, 1, 2, 3], 5)
    wear = np.tile(np.arange(5.0), 4) + np.repeat([0.0, 1.0, 2.0, 3.0], 5)
    clean = np.ones(20, bool)
    clean[7] = False
    lengths, current = life_lengths(life, wear, 16, clean)
    assert (lengths.tolist(), current) == ([4.0, 6.0], 3)
