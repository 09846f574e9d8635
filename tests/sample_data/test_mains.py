"""What the exports say of the line hone: bands of the scenario."""

import numpy as np
import pandas as pd
import pytest


@pytest.fixture(scope="module")
def first(shop) -> pd.DataFrame:
    """Readings of first passes with the month of the pass."""
    mains = shop.mains[shop.mains["pass"] == 1].copy()
    mains["month"] = mains["started"].dt.strftime("%Y-%m")
    return mains


@pytest.fixture(scope="module")
def contrast(shop, first) -> pd.DataFrame:
    """A row a block: ends minus inner bores, the larger of the two end steps. [µm]"""
    size = first.pivot_table(index=["block", "family", "started", "month"], columns="main", values="dev")
    rows = []
    for (block, family, started, month), values in size.iterrows():
        bores = values.dropna().to_numpy()
        complete = len(bores) == len(shop.plan["families"][family]["axes"]["main"])
        if complete:
            ends = (bores[0] + bores[-1]) / 2 - bores[1:-1].mean()
            step = max(abs(bores[1] - bores[0]), abs(bores[-1] - bores[-2]))
            rows.append((block, family, started, month, ends, step))
    return pd.DataFrame(rows, columns=["block", "family", "started", "month", "ends", "step"])


def test_ends_and_inner_bores_agree_before_the_shoes_wear(contrast):
    assert abs(contrast["ends"][contrast["month"] <= "2025-01"].mean()) <= 0.4


def test_worn_shoes_open_the_end_bores(contrast):
    assert 6.2 <= contrast["ends"][contrast["month"] == "2025-08"].mean() <= 7.4


def test_new_shoes_close_them(contrast):
    assert abs(contrast["ends"][contrast["month"] == "2025-10"].mean()) <= 0.5


def test_the_first_service_changes_nothing(contrast):
    near = contrast[abs(contrast["started"] - pd.Timestamp("2025-07-21 13:00")) < pd.Timedelta(days=21)]
    after = (near["started"] > pd.Timestamp("2025-07-21 13:00")).astype(float)
    days = (near["started"] - pd.Timestamp("2025-07-21")).dt.total_seconds() / 86400
    design = np.column_stack([np.ones(len(near)), days, after])
    fit, rest, *_ = np.linalg.lstsq(design, near["ends"].to_numpy(), rcond=None)
    variance = rest[0] / (len(near) - 3) * np.linalg.inv(design.T @ design)[2, 2]
    assert abs(fit[2]) < 3 * np.sqrt(variance)


def test_the_block_mean_is_on_target_every_month(first):
    blocks = first.groupby(["month", "block"])["dev"].mean()
    assert blocks.groupby("month").mean().abs().max() <= 0.8


@pytest.mark.parametrize(("month", "low", "high"), [("2024-10", 1.3, 1.7), ("2025-08", 0.7, 1.0)])
def test_performance_of_the_four_cylinder_mains(first, month, low, high):
    dev = first["dev"][(first["family"] == "F1") & (first["month"] == month)]
    assert low <= (10 - abs(dev.mean())) / (3 * dev.std()) <= high


def test_it_is_the_step_that_fails(shop, contrast):
    beyond = contrast["step"] > contrast["family"].map(shop.limit("main_step", "upper"))
    september = (contrast["month"] == "2025-09") & (contrast["started"] < "2025-09-29")
    assert 0.04 <= beyond[september].mean() <= 0.20
    assert beyond[contrast["month"] < "2025-06"].mean() <= 0.01


def test_limits_from_within_block_spread_would_condemn_sound_blocks(first):
    wrong, right = [], []
    sound = first[first["started"] < "2025-02-17"]
    for _, family in sound.groupby("family"):
        blocks = family.groupby("block")["dev"]
        within = np.sqrt((blocks.var() * (blocks.size() - 1)).sum() / (blocks.size() - 1).sum())
        order = family.groupby("block")["started"].first().sort_values().index
        mean = blocks.mean()[order]
        off = (mean - mean.mean()).abs()
        wrong += list(off > 3 * within / np.sqrt(blocks.size().max()))
        right += list(off > 3 * mean.diff().abs().mean() / 1.128)
    assert 0.30 <= np.mean(wrong) <= 0.55
    assert np.mean(right) < 0.015
