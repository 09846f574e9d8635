"""Days and set-ups as groups: predictions by definition, scores by simulation, averages by hand."""

import numpy as np
import pytest
from scipy import stats

from spc.score.averaging import averaged_scores, log_density
from spc.score.grouped import GroupedTrack
from spc.score.recursion import model_residuals, normal_scores


def by_definition(value, design, noise, learn, mean, covariance):
    """Conditional normal distribution of each part given the earlier ones that are learned from."""
    whole, prior = design @ covariance @ design.T, design @ mean
    expected, variance = np.empty((2, value.size))
    for part in range(value.size):
        past = np.flatnonzero(learn[:part] & np.isfinite(value[:part]))
        inside = whole[np.ix_(past, past)] + np.diag(noise[past])
        weight = np.linalg.solve(inside, whole[past, part])
        expected[part] = prior[part] + weight @ (value[past] - prior[past])
        variance[part] = whole[part, part] + noise[part] - weight @ whole[past, part]
    return expected, variance


def test_parts_are_foretold_by_the_conditional_normal_distribution():
    rng = np.random.default_rng(1)
    n, day = 30, np.repeat(np.arange(10), 3)
    value = rng.standard_normal(n) + rng.standard_normal(10)[day]
    value[7] = np.nan
    noise, learn = rng.uniform(0.5, 2.0, n), rng.random(n) > 0.2
    ratios = np.array([0.2, 1.5])
    level, variance_of_level = np.array([0.3, -0.1]), np.array([2.0, 50.0])
    state = np.column_stack([level, np.zeros(2)])
    spread = np.zeros((2, 2, 2))
    spread[:, 0, 0] = variance_of_level
    opens = np.concatenate([[True], day[1:] != day[:-1]])
    found = model_residuals(value, np.ones((n, 2)), noise, learn, state, spread, (opens, ratios[:, None]))
    for model in range(2):
        design = np.column_stack([np.ones(n), day[:, None] == np.arange(10)])
        covariance = np.diag(np.concatenate([variance_of_level[[model]], np.full(10, ratios[model])]))
        mean = np.concatenate([level[[model]], np.zeros(10)])
        expected, variance = by_definition(value, design, noise, learn, mean, covariance)
        np.testing.assert_allclose(found[0][:, model], expected, rtol=1e-8)
        np.testing.assert_allclose(found[1][:, model], variance, rtol=1e-8)


def test_averaged_over_one_model_it_is_the_score_of_that_model():
    rng = np.random.default_rng(2)
    residual, freedom = 4.0 * rng.standard_normal(50), rng.integers(0, 30, 50).astype(float)
    residual[3] = np.nan
    single = normal_scores(residual, np.full(50, 1.5), freedom)
    averaged = averaged_scores(residual[:, None], np.full((50, 1), 1.5), freedom, np.zeros((50, 1)))
    np.testing.assert_allclose(averaged, single, rtol=1e-9)


def test_average_of_two_models_by_hand():
    weight = np.log(np.array([[0.25, 0.75]]))
    (score,) = averaged_scores(np.array([[1.0, -0.5]]), np.ones((1, 2)), np.array([9.0]), weight)
    below = 0.25 * stats.t.cdf(1.0, 9) + 0.75 * stats.t.cdf(-0.5, 9)
    assert score == pytest.approx(stats.norm.ppf(below), rel=1e-9)


def test_density_is_that_of_student():
    at = np.linspace(-5, 5, 11)
    np.testing.assert_allclose(log_density(at, np.full(11, 4.0)), stats.t.logpdf(at, 4), rtol=1e-9)


def _scores(daily: bool | None, runs: int, days: float, seed: int) -> np.ndarray:
    """(runs, 40 days, 3) scores of a level that holds, three parts a day, two families."""
    rng = np.random.default_rng(seed)
    day = np.repeat(np.arange(40), 3)
    found = []
    for _ in range(runs):
        family = rng.choice(2, 120)
        value = 9.0 * family + (days * rng.standard_normal(40))[day] + rng.standard_normal(120)
        track = GroupedTrack(value, family, np.ones(120, bool), np.zeros(120), np.ones(120), day, daily)
        for start in range(0, 120, 20):
            track.run(start, start + 20)
        found.append(track.score.reshape(40, 3))
    return np.array(found)


@pytest.mark.parametrize("days", [0.3, 1.0, 2.5])
def test_scores_under_a_daily_setting_are_standard_normal_and_independent_within_the_day(days):
    # The variance between days is the track's to find out, from the tenth day on here.
    z = _scores(True, 60, days, 5)[:, 10:]
    number = z[:, :, 0].size
    assert abs(z.var() - 1.0) < 4.0 * np.sqrt(2.0 / (3 * number)) + 0.02
    assert np.abs(z.mean(axis=(0, 1))).max() < 4.0 / np.sqrt(number)
    products = [(z[:, :, a] * z[:, :, b]).mean() for a, b in ((0, 1), (0, 2), (1, 2))]
    assert np.abs(products).max() < 4.0 / np.sqrt(number) + 0.02


def test_a_day_setting_nobody_declared_is_found_by_the_scores():
    z = _scores(None, 40, 1.5, 6)[:, 20:]
    assert abs((z[:, :, 0] * z[:, :, 1]).mean()) < 4.0 / np.sqrt(z[:, :, 0].size) + 0.03


def test_without_several_parts_a_day_it_is_the_plain_recursion():
    value = np.random.default_rng(7).standard_normal(40)
    zero = np.zeros(40, int)
    tracks = [
        GroupedTrack(value, zero, np.ones(40, bool), np.zeros(40), np.ones(40), np.arange(40), daily)
        for daily in (None, False)
    ]
    for track in tracks:
        track.run(0, 40)
    np.testing.assert_array_equal(tracks[0].score, tracks[1].score)
    assert np.isnan(tracks[0].score[:2]).all() and np.isfinite(tracks[0].score[2:]).all()


def test_frequent_set_ups_become_groups_once_there_are_enough():
    rng = np.random.default_rng(8)
    era = np.repeat(np.arange(10), 10)
    value = rng.normal(0.0, 0.5, 10)[era] + rng.standard_normal(100)
    zero = np.zeros(100, int)
    track = GroupedTrack(value, zero, np.ones(100, bool), np.zeros(100), np.ones(100), np.arange(100), False)
    track.era[:] = era
    for start in range(0, 100, 10):
        track.regroup(start)
        track.run(start, start + 10)
    # Learned afresh a set-up begins without a score; as a group of a known kind it has one from its first part on.
    assert np.isnan(track.score[[10, 20, 30]]).all()
    assert np.isfinite(track.score[[50, 60, 70, 80, 90]]).all()
