"""The stored limits of the step test agree with a fresh simulation."""

import numpy as np
import pytest

from spc.score.step_limits import CLIP, LIMITS, RUN_LENGTHS, SCORES, WINDOW
from tests.simulation import step_limits

# Sampled rows. Below a run length of 200 a limit may stand on the clip itself, where many scores tie.
SAMPLED = (200, 1_000, 5_000)


def _alarms(maxima: np.ndarray, run_length: int) -> tuple[np.ndarray, np.ndarray]:
    """Alarms in each stretch with the stored limits, and those that the run length grants the survivors."""
    alive = np.ones(len(maxima), bool)
    alarms, granted = [], []
    for column, (start, stop) in enumerate(step_limits.STRETCHES):
        beyond = alive & (maxima[:, column] > LIMITS[RUN_LENGTHS.index(run_length)][column])
        alarms.append(beyond.sum())
        granted.append(alive.sum() * -np.expm1(-(stop - start + 1) / run_length))
        alive &= ~beyond
    return np.array(alarms), np.array(granted)


def test_the_stored_table_is_the_one_that_the_generator_lays_out():
    assert (WINDOW, CLIP, RUN_LENGTHS) == (step_limits.WINDOW, step_limits.CLIP, step_limits.RUN_LENGTHS)
    middles = [np.sqrt(start * stop) for start, stop in step_limits.STRETCHES]
    np.testing.assert_allclose(SCORES, middles, atol=0.005)
    assert np.shape(LIMITS) == (len(RUN_LENGTHS), len(SCORES))


def test_over_400_scores_the_stored_limits_alarm_as_often_as_they_grant():
    # 1,000 paths: some 860 alarms at a run length of 200, a Monte Carlo error of 3.4 %, which is what a limit
    # wrong by 0.011 would make.
    maxima = step_limits.stretch_maxima(1_000, np.random.default_rng(4_711))
    for run_length in SAMPLED:
        alarms, granted = _alarms(maxima, run_length)
        error = np.sqrt(granted.sum())
        assert abs(alarms.sum() - granted.sum()) < 3.0 * error, run_length
    wrong = _alarms(maxima * 1.03, SAMPLED[0])
    assert wrong[0].sum() - wrong[1].sum() > 3.0 * np.sqrt(wrong[1].sum()), "3 % off would be seen"


@pytest.mark.slow
def test_in_every_stretch_the_stored_limits_alarm_as_often_as_they_grant():
    rng = np.random.default_rng(815)
    maxima = np.concatenate([step_limits.stretch_maxima(1_000, rng) for _ in range(20)])
    for run_length in SAMPLED:
        alarms, granted = _alarms(maxima, run_length)
        # 48 comparisons: the largest of so many standard errors stays below 4.
        np.testing.assert_array_less(np.abs(alarms - granted) / np.sqrt(granted), 4.0, str(run_length))
        assert ((alarms - granted) ** 2 / granted).sum() < 16 + 4 * np.sqrt(32), run_length
