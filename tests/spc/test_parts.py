"""Part means, offsets and spread within the part."""

import numpy as np
import pytest

from spc.score.parts import part_means


def test_complete_parts_have_plain_means():
    value = np.random.default_rng(1).normal(5.0, 1.0, (30, 4)) + np.array([0.0, 9.0, -3.0, 1.0])
    parts = part_means(value, np.zeros(30, int))
    np.testing.assert_allclose(parts.mean, value.mean(axis=1), rtol=1e-12)
    assert parts.count.tolist() == [4] * 30


def test_a_missing_position_takes_its_offset_out_of_the_mean():
    offset = np.array([-6.0, 0.0, 2.0, 4.0])
    value = np.arange(20.0)[:, None] + offset
    value[12, 3] = value[15, 0] = np.nan
    parts = part_means(value, np.zeros(20, int))
    np.testing.assert_allclose(parts.mean, np.arange(20.0), atol=1e-9)
    assert parts.count[12] == 3
    np.testing.assert_allclose(parts.offsets, offset, atol=1e-9)


def test_each_family_has_its_own_offsets():
    family = np.arange(40) % 2
    offset = np.array([[0.0, 4.0, -4.0], [3.0, 0.0, -3.0]])
    value = 10.0 * family[:, None] + offset[family]
    value[30, 1] = value[31, 0] = np.nan
    np.testing.assert_allclose(part_means(value, family).mean, 10.0 * family, atol=1e-9)


def test_spread_of_strata_by_hand():
    # two groups of two, no lasting offsets: the first two parts cancel each other's offsets
    group = np.array([0, 0, 1, 1])
    pattern = np.array([1.0, -1.0, 2.0, -2.0])
    value = np.vstack([pattern, -pattern, [1.0, 3.0, 5.0, 7.0]])
    parts = part_means(value, np.zeros(3, int), (group,))
    # means of groups 2 and 6 around 4: 2 * (4 + 4) = 16 on 1 df; readings 4 * 1 on 2 df; offsets from
    # two parts widen squares by 1 + 1/2
    np.testing.assert_allclose(parts.spread[2] ** 2, [16.0 / 1.5, 2.0 / 1.5], rtol=1e-9)
    assert parts.spread_df[2].tolist() == [1.0, 2.0]


def test_mean_squares_have_their_expectations():
    rng = np.random.default_rng(2)
    group = np.repeat(np.arange(5), 4)
    value = (
        rng.normal(0, 2, (4_000, 1))
        + rng.normal(0, 1.5, (4_000, 5))[:, group]
        + rng.normal(0, 1, (4_000, 20))
    )
    parts = part_means(value, np.zeros(4_000, int), (group,))
    square = parts.spread[100:] ** 2
    # 1 + 4 * 2.25 = 10 on 4 df and 1 on 15 df
    for got, mean, freedom in ((square[:, 0], 10.0, 4), (square[:, 1], 1.0, 15)):
        error = mean * np.sqrt(2 / freedom / len(got))
        assert got.mean() == pytest.approx(mean, abs=4 * error)


def test_parts_without_readings_and_without_positions():
    parts = part_means(np.full((3, 2), np.nan), np.zeros(3, int))
    assert np.isnan(parts.mean).all() and parts.count.sum() == 0
    parts = part_means(np.zeros((3, 0)), np.zeros(3, int))
    assert np.isnan(parts.mean).all()


def test_far_from_zero_nothing_is_lost():
    value = np.random.default_rng(3).normal(0.0, 1e-3, (30, 5))
    near = part_means(value, np.zeros(30, int))
    far = part_means(value + 65_536.0, np.zeros(30, int))
    np.testing.assert_allclose(far.mean - 65_536.0, near.mean, atol=1e-10)
    np.testing.assert_allclose(far.spread[2:], near.spread[2:], rtol=1e-6)
