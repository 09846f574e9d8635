"""When a signal has cleared."""

import numpy as np
import pytest

from spc.score.signals import discounted, has_cleared, latest_shift, parts_to_clear


@pytest.mark.parametrize(("shift", "parts"), [(1.0, 13), (-1.0, 13), (2.0, 8), (0.5, 52), (0.0, 208)])
def test_parts_before_it_is_asked(shift, parts):
    assert parts_to_clear(shift) == parts


def test_old_level_must_be_likelier_and_near():
    # 13 parts at 1 sd: favour 6.5 - total, wanted ln 20 = 3.0; 2.58 standard errors are a total of 9.3
    assert has_cleared(1.0, 3.4, 13.0) and not has_cleared(1.0, 3.6, 13.0)
    assert has_cleared(1.0, -9.2, 13.0) and not has_cleared(1.0, -9.4, 13.0)
    assert has_cleared(-1.0, -3.4, 13.0) and not has_cleared(-1.0, -3.6, 13.0)
    assert not has_cleared(1.0, 0.0, 0.0)


def test_a_huge_shift_that_stays_is_never_cleared_by_its_own_size():
    # scores are held within 2.5, so a shift of 40 sd leaves sums of 2.5 a part
    assert not has_cleared(40.0, 2.5 * 8, 8.0)


def test_rates_of_one_question_by_simulation():
    rng = np.random.default_rng(1)
    noise = rng.standard_normal((4_000, 13)).sum(axis=1)
    cured = np.mean([has_cleared(1.0, total, 13.0) for total in noise])
    uncured = np.mean([has_cleared(1.0, total + 13.0, 13.0) for total in noise])
    assert cured == pytest.approx(0.83, abs=0.025)
    assert uncured == pytest.approx(0.004, abs=0.004)


def test_latest_shift_passes_over_missing_scores():
    assert latest_shift(np.array([9.0, 1.0, np.nan, 3.0]), 2) == 2.0
    assert latest_shift(np.array([np.nan])) == 0.0


@pytest.mark.parametrize(("shift", "parts"), [(1.2, 4), (-1.2, 4), (0.4, 1), (2.5, 100), (0.0, 0)])
def test_a_discounted_shift_keeps_its_side_and_never_grows(shift, parts):
    believed = discounted(shift, parts)
    assert np.copysign(1.0, believed) == np.copysign(1.0, shift)
    assert 0.25 <= abs(believed) <= max(abs(shift), 0.25)


def test_the_discount_is_one_standard_error_of_the_parts_averaged():
    assert discounted(1.2, 4) == pytest.approx(0.7)
    assert discounted(-1.2, 4) == pytest.approx(-0.7)
    assert discounted(2.0, 1000) == discounted(2.0, 15)
