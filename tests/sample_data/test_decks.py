"""What the exports say of the two deck mills: bands of the scenario."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

WARM_UP_RULE = "2025-06-16"


@pytest.fixture(scope="module")
def decks(shop) -> pd.DataFrame:
    """A row a deck on DM1, with its place among the decks of the day (3: fourth or later)."""
    heights = shop.decks[shop.decks["machine"] == "DM1"]
    keys = ["block", "family", "pass", "deck"]
    frame = heights.groupby(keys).agg(dev=("dev", "mean"), when=("when", "min")).reset_index()
    frame = frame.sort_values("when")
    frame["place"] = frame.groupby(frame["when"].dt.date).cumcount().clip(upper=3)
    return frame


@pytest.fixture(scope="module")
def blocks(shop, decks) -> pd.DataFrame:
    """A row a first pass on DM1, with its place among the blocks of the day and who cut it."""
    frame = decks.groupby(["block", "family", "pass"]).agg(dev=("dev", "mean"), when=("when", "min"))
    frame = frame.reset_index().sort_values("when")
    frame["place"] = frame.groupby(frame["when"].dt.date).cumcount()
    finish = shop.finish("deck")
    who = finish.groupby(["block", "pass"])["who"].first().reset_index()
    shares = pd.get_dummies(decks["place"], dtype=float).groupby([decks["block"], decks["pass"]]).mean()
    shares.columns = [f"place{k}" for k in shares.columns]
    frame = frame.merge(who, on=["block", "pass"]).merge(shares.reset_index(), on=["block", "pass"])
    return frame[frame["pass"] == 1]


def _first_of_day(blocks: pd.DataFrame) -> float:
    return blocks["dev"][blocks["place"] == 0].mean() - blocks["dev"][blocks["place"] >= 3].mean()


def test_the_first_block_of_a_day_stands_high(blocks):
    before = blocks["when"] < WARM_UP_RULE
    assert 13 <= _first_of_day(blocks[before]) <= 19
    assert 1 <= _first_of_day(blocks[~before]) <= 7


def test_the_machinist_who_opens_the_shop_only_looks_to_cut_high(blocks):
    opens = (blocks["who"] == "M.R.").to_numpy(dtype=float)
    raw = blocks["dev"][opens == 1].mean() - blocks["dev"][opens == 0].mean()
    assert 4 <= raw <= 9

    before = (blocks["when"] < WARM_UP_RULE).to_numpy(dtype=float)
    places = [blocks[f"place{k}"].to_numpy() * part for k in range(3) for part in (before, 1 - before)]
    design = np.column_stack([np.ones(len(blocks)), opens, *places])
    fit, rest, *_ = np.linalg.lstsq(design, blocks["dev"].to_numpy(), rcond=None)
    free = len(blocks) - design.shape[1]
    half = stats.t.ppf(0.975, free) * np.sqrt(rest[0] / free * np.linalg.inv(design.T @ design)[1, 1])
    assert abs(fit[1]) < half


def test_the_old_mill_looks_worse_only_when_families_are_mixed(shop):
    heights = shop.decks[shop.decks["pass"] == 1]
    means = heights.groupby(["machine", "family", "block"])["dev"].mean()
    assert 9.5 <= means["DM1", "F1"].std() <= 12
    assert 6.5 <= means["DM2", "F1"].std() <= 8.5
    assert 13 <= means["DM2"].std() <= 17


def test_a_month_of_diesels_says_little(shop):
    heights = shop.decks[(shop.decks["family"] == "F3") & (shop.decks["pass"] == 1)]
    mean = heights.groupby("block").agg(dev=("dev", "mean"), when=("started", "first"))
    widths = []
    for _, month in mean.groupby(mean["when"].dt.strftime("%Y-%m")):
        n, spread = len(month), month["dev"].std()
        if 17 <= n <= 23:
            index = (75 - abs(month["dev"].mean())) / (3 * spread)
            # Bissell 1990, normal approximation
            widths.append(2 * 1.96 * np.sqrt(1 / (9 * n) + index**2 / (2 * (n - 1))))
    assert len(widths) >= 5
    assert 0.8 <= np.median(widths) <= 1.2


def test_the_clamping_comes_loose_in_autumn_and_the_mean_stays(decks):
    v6 = decks[(decks["family"] == "F2") & (decks["pass"] == 1)]
    banks = v6.pivot_table(index="block", columns="deck", values="dev")
    when = v6.groupby("block")["when"].min()
    difference = banks["L"] - banks["R"]
    sound = difference[(when >= WARM_UP_RULE) & (when < "2025-08-18")]
    loose = difference[when >= "2025-10-01"]
    ratio = (loose.var() / sound.var()) / stats.f.ppf(0.001, len(loose) - 1, len(sound) - 1)
    assert loose.std() > 2 * sound.std()
    assert ratio > 1
    assert abs(banks.mean(axis=1)[when >= "2025-10-01"].mean()) < 6


def test_a_missed_insert_change_shows_in_the_finish(shop):
    finish = shop.finish("deck")
    mill = finish[(finish["machine"] == "DM1") & (finish["pass"] == 1)]
    late = mill[(mill["started"] >= "2025-08-26") & (mill["started"] < "2025-09-03")]
    limit = shop.limit("deck_ra", "upper")
    assert (late["Ra"] > late["family"].map(limit)).mean() > 0.3
    others = mill[(mill["started"] < "2025-08-20") | (mill["started"] >= "2025-09-03")]
    assert (others["Ra"] > others["family"].map(limit)).mean() < 0.02


def test_an_insert_set_is_changed_after_sixty_decks_but_once(shop):
    jobs = shop.jobs[shop.jobs["machine"] == "DM1"].copy()
    jobs["decks"] = jobs["family"].map({k: len(f["axes"]["deck"]) for k, f in shop.plan["families"].items()})
    lives = jobs.groupby("tool", sort=False).agg(decks=("decks", "sum"), last=("started", "max"))
    overdue = lives[lives["decks"] > 61]
    assert len(overdue) == 1
    assert overdue["decks"].between(85, 130).all()
    assert overdue["last"].iloc[0].date() == pd.Timestamp("2025-09-02").date()
