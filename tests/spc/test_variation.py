"""Strata, position offsets and variance components: by hand, against statsmodels, by property, at the border."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from spc.constants import d2
from spc.errors import SpcError, TooFewReadings
from spc.reml import fit_reml
from spc.strata import position_offsets, split_strata
from spc.variation import moving_range_sigma, overall_sigma, variance_components

PAIRS = np.repeat(np.arange(3), 2)


def nested(seed: int, parts: int = 12, missing: float = 0.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    y = (
        5.0
        + 2.0 * rng.normal(size=(parts, 1))
        + 1.0 * rng.normal(size=(parts, 3))[:, PAIRS]
        + 0.5 * rng.normal(size=(parts, 6))
        + np.array([0.0, 0.3, -0.2, 0.1, 0.6, -0.8])
    )
    y[rng.random(y.shape) < missing] = np.nan
    return y


def test_sigma_from_the_moving_range_by_hand():
    # Ranges 1, 3, 2: mean 2.
    assert moving_range_sigma([1.0, 2.0, 5.0, 3.0]) == pytest.approx(2 / d2(2))


def test_a_slow_climb_enters_the_overall_sigma_only():
    x = np.arange(100.0)
    assert moving_range_sigma(x) == pytest.approx(1 / d2(2))
    assert overall_sigma(x) == pytest.approx(np.sqrt(100 * 101 / 12))


def test_strata_by_hand():
    # Two parts of 2 + 2 readings, no pattern. Within pairs: (1, 3), (5, 5) and (2, 2), (4, 8).
    y = np.array([[1.0, 3.0, 5.0, 5.0], [2.0, 2.0, 4.0, 8.0]])
    split = split_strata(y, [[0, 0, 1, 1]], pattern=False)
    part, group, single = split.levels
    assert split.mean == 3.75
    assert split.part_means.tolist() == [3.5, 4.0]
    assert part.mean_square == pytest.approx(0.125)
    # Group means 2, 5 around 3.5 and 2, 6 around 4: (4.5 + 8) / 2.
    assert group.mean_square == pytest.approx(6.25)
    # (2 + 0 + 0 + 8) / 4.
    assert single.mean_square == pytest.approx(2.5)
    assert (part.dof, group.dof, single.dof) == (1, 2, 4)
    assert split.raw_components == pytest.approx([0.125 - 6.25 / 2, 6.25 - 2.5 / 2, 2.5])
    # One reading: part mean square + half the group's + half the single's.
    assert split.noise == pytest.approx(0.125 + 6.25 / 2 + 2.5 / 2)


def test_negative_components_are_zero_and_said_so():
    y = np.array([[1.0, 3.0, 5.0, 5.0], [2.0, 2.0, 4.0, 8.0]])
    found = variance_components(y, [[0, 0, 1, 1]], pattern=False)
    assert found.variances == pytest.approx((0.0, 5.0, 2.5))
    assert found.zeroed == (True, False, False)


def test_the_position_pattern_by_hand():
    # Part levels 0 and 10, offsets -1, 0, 1, nothing else.
    y = np.array([[-1.0, 0.0, 1.0], [9.0, 10.0, 11.0]])
    split = split_strata(y)
    assert split.offsets.tolist() == pytest.approx([-1.0, 0.0, 1.0])
    assert split.pattern == pytest.approx(2 / 3)
    assert split.levels[1].mean_square == pytest.approx(0.0, abs=1e-25)
    assert split.levels[1].dof == 2


def test_offsets_with_holes_against_least_squares_of_numpy():
    y = nested(3, missing=0.3)
    rows, columns = np.nonzero(np.isfinite(y))
    design = np.zeros((rows.size, 12 + 6))
    design[np.arange(rows.size), rows] = 1
    design[np.arange(rows.size), 12 + columns] = 1
    solved = np.linalg.lstsq(design, y[rows, columns], rcond=None)[0][12:]
    assert position_offsets(y) == pytest.approx(solved - solved.mean(), abs=1e-10)


def residual_square(y: np.ndarray, *factors: list) -> float:
    """Residual sum of squares of a model with one indicator per level of each factor."""
    columns = [(np.array(f)[:, None] == np.unique(f)).astype(float) for f in factors]
    design = np.hstack(columns)
    return float(np.sum((y - design @ np.linalg.lstsq(design, y, rcond=None)[0]) ** 2))


def test_mean_squares_equal_a_sequential_analysis_of_variance():
    y = nested(1)
    part = np.repeat(np.arange(12), 6)
    position = np.tile(np.arange(6), 12)
    pair = part * 3 + PAIRS[position]
    flat = y.ravel()
    none = residual_square(flat, position)
    parts = residual_square(flat, position, part)
    pairs = residual_square(flat, position, part, pair)
    split = split_strata(y, [PAIRS])
    assert [level.dof for level in split.levels] == [11, 22, 33]
    assert 6 * 11 * split.levels[0].mean_square == pytest.approx(none - parts, rel=1e-9)
    assert 2 * 22 * split.levels[1].mean_square == pytest.approx(parts - pairs, rel=1e-9)
    assert 33 * split.levels[2].mean_square == pytest.approx(pairs, rel=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_reml_and_expected_mean_squares_agree_on_balanced_data(seed):
    y = nested(seed)
    found = variance_components(y, [PAIRS])
    fit = fit_reml(y, [PAIRS], pattern=True)
    assert not any(found.zeroed)
    assert fit.variances == pytest.approx(found.variances, rel=1e-5)
    assert fit.mean == pytest.approx(found.mean)
    assert fit.standard_error == pytest.approx(found.standard_error, rel=1e-5)


def test_reml_on_unbalanced_data_against_statsmodels():
    import pandas as pd
    from statsmodels.regression.mixed_linear_model import MixedLM

    y = nested(7, parts=20, missing=0.2)
    rows, columns = np.nonzero(np.isfinite(y))
    frame = pd.DataFrame(
        {"part": rows, "pair": PAIRS[columns], "position": columns, "value": y[rows, columns]}
    )
    found = variance_components(y, [PAIRS])
    assert found.method == "restricted maximum likelihood"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = MixedLM.from_formula(
            "value ~ C(position) - 1",
            frame,
            groups="part",
            re_formula="1",
            vc_formula={"pair": "0 + C(pair)"},
        ).fit(reml=True, method="powell", xtol=1e-10, ftol=1e-12)
    assert found.variances[0] == pytest.approx(float(fit.cov_re.iloc[0, 0]), rel=1e-5)
    assert found.variances[1] == pytest.approx(float(fit.vcomp[0]), rel=1e-5)
    assert found.variances[2] == pytest.approx(float(fit.scale), rel=1e-5)


def test_unweighted_means_recover_the_truth_on_unbalanced_data():
    truth = np.array([4.0, 1.0, 0.25])
    runs = [split_strata(nested(seed, missing=0.25), [PAIRS]) for seed in range(400)]
    raw = np.array([split.raw_components for split in runs])
    assert raw.mean(axis=0) == pytest.approx(truth, abs=4 * float((raw.std(axis=0) / 20).max()))
    noise = np.array([split.noise for split in runs])
    assert noise.mean() == pytest.approx(truth.sum(), abs=4 * noise.std() / 20)
    pattern = np.array([split.pattern for split in runs])
    real = np.var([0.0, 0.3, -0.2, 0.1, 0.6, -0.8])
    assert pattern.mean() == pytest.approx(real, abs=4 * pattern.std() / 20)


@pytest.mark.parametrize("missing", [0.0, 0.2])
def test_units_scale_and_levels_do_not_matter(missing):
    y = nested(5, missing=missing)
    plain, other = split_strata(y, [PAIRS]), split_strata(y / 25.4 + 1e3, [PAIRS])
    assert other.noise * 25.4**2 == pytest.approx(plain.noise, rel=1e-8)
    assert other.pattern * 25.4**2 == pytest.approx(plain.pattern, rel=1e-7)
    assert (other.mean - 1e3) * 25.4 == pytest.approx(plain.mean, rel=1e-9)


def test_labels_of_strata_are_only_labels():
    y = nested(6)
    named = split_strata(y, [np.array(["b", "b", "a", "a", "c", "c"])])
    assert named.noise == pytest.approx(split_strata(y, [PAIRS]).noise)


def test_a_stratum_of_single_positions_is_left_out():
    y = nested(8)
    one = split_strata(y, [np.arange(6)])
    assert len(one.levels) == 2
    assert one.noise == pytest.approx(split_strata(y).noise)
    assert one.raw_components == pytest.approx(split_strata(y).raw_components)


def test_one_reading_a_part_has_one_level():
    y = nested(9)[:, :1]
    split = split_strata(y, [[0]])
    assert len(split.levels) == 1
    assert split.noise == pytest.approx(np.var(y, ddof=1))
    assert split.pattern == 0.0


def test_empty_parts_and_positions_are_left_out():
    y = nested(10)
    padded = np.full((14, 8), np.nan)
    padded[1:13, 1:7] = y
    found = split_strata(padded, [[9, 0, 0, 1, 1, 2, 2, 9]])
    assert found.n_parts == 12 and found.balanced
    assert found.noise == pytest.approx(split_strata(y, [PAIRS]).noise)


@pytest.mark.parametrize(
    ("call", "error", "says"),
    [
        (lambda: moving_range_sigma([1.0]), TooFewReadings, "at least 2 values; got 1"),
        (lambda: overall_sigma([]), TooFewReadings, "at least 2 values; got 0"),
        (lambda: overall_sigma([1.0, np.nan, 2.0]), SpcError, "value 2 of 3 is nan"),
        (lambda: moving_range_sigma([[1.0, 2.0]]), SpcError, "one series"),
        (lambda: split_strata([[1.0, 2.0]]), TooFewReadings, "2 parts with a reading; got 1"),
        (lambda: split_strata([[np.nan], [1.0], [np.nan]]), TooFewReadings, "got 1"),
        (lambda: split_strata([[np.inf, 1.0], [1.0, 2.0]]), SpcError, "infinite"),
        (lambda: split_strata(np.zeros((2, 2, 2))), SpcError, "table of parts"),
        (lambda: split_strata(np.zeros((2, 2)), [[1, 2, 3]]), SpcError, "the readings have 2"),
    ],
)
def test_what_cannot_be_answered_is_named(call, error, says):
    with pytest.raises(error, match=says):
        call()


def test_constant_readings_have_no_spread_and_no_nan():
    split = split_strata(np.ones((5, 4)), [[0, 0, 1, 1]])
    assert split.noise == 0.0 and split.pattern == 0.0
    assert np.isfinite(split.raw_components).all()
