"""What the exports say of the two hones and of the bore gauges: bands of the scenario."""

import pandas as pd
import pytest


@pytest.fixture(scope="module")
def tapers(shop) -> pd.DataFrame:
    """A row a cylinder of a first pass on HN2: top minus bottom. [µm]"""
    bores = shop.bores[(shop.bores["pass"] == 1) & (shop.bores["machine"] == "HN2")]
    keys = ["block", "started", "cylinder"]
    depth = bores.pivot_table(index=keys, columns="depth", values="dev").reset_index()
    depth["taper"] = depth["T"] - depth["B"]
    return depth


@pytest.fixture(scope="module")
def traces(shop) -> pd.DataFrame:
    """A row a cylinder on HN1, with the bores its stone set had honed."""
    frame = shop.finish("finish_hone").merge(
        shop.bores_before("HN1")[["block", "pass", "used", "cycle_min"]], on=["block", "pass"]
    )
    frame["bore"] = frame["used"] + frame["site"].str[1].astype(int)
    return frame


def _rpk(traces: pd.DataFrame, low: int, high: int) -> float:
    return traces["Rpk"][(traces["bore"] >= low) & (traces["bore"] <= high)].mean()


@pytest.mark.parametrize(
    ("month", "low", "high"), [("2024-09", 2.3, 3.6), ("2025-04", 7.6, 9.6), ("2025-06", 2.5, 3.7)]
)
def test_taper_of_the_old_hone_by_month(tapers, month, low, high):
    assert low <= tapers["taper"][tapers["started"].dt.strftime("%Y-%m") == month].mean() <= high


def test_blocks_out_for_taper_before_and_after_the_service(shop, tapers):
    limit = shop.limit("cyl_taper", "upper")["F3"]
    bad = tapers["taper"].abs() > limit
    share = bad.groupby([tapers["started"], tapers["block"]]).any().reset_index()
    before = share["taper"][share["started"].between("2025-03-24", "2025-05-10")]
    after = share["taper"][share["started"].between("2025-05-15", "2025-07-10")]
    assert 0.22 <= before.mean() <= 0.50
    assert after.mean() <= 0.07


def test_the_old_hone_stands_still_for_its_service(shop):
    jobs = shop.jobs[shop.jobs["machine"] == "HN2"]
    assert not jobs["started"].between("2025-05-12", "2025-05-15").any()


def test_the_glazing_set(traces):
    glazed = traces[(traces["tool"] == "K-27") & (traces["started"] < "2025-08-01")]
    assert 0.21 <= _rpk(glazed, 20, 70) <= 0.25
    assert 0.13 <= _rpk(glazed, 100, 130) <= 0.18
    assert 0.08 <= _rpk(glazed, 130, 165) <= 0.13


def test_sets_that_wear_as_usual(traces):
    usual = traces[traces["tool"].str.startswith("K-") & ~traces["tool"].isin(["K-27", "K-33"])]
    assert 0.21 <= _rpk(usual, 20, 70) <= 0.25
    assert 0.19 <= _rpk(usual, 100, 130) <= 0.23
    assert 0.19 <= _rpk(usual, 130, 165) <= 0.23


def test_honing_time_tells_the_glazing_set(shop):
    jobs = shop.bores_before("HN1")
    late = jobs[jobs["used"].between(130, 165)]
    assert 6.7 <= late["cycle_min"][late["tool"] == "K-27"].mean() <= 7.8
    assert 4.4 <= late["cycle_min"][~late["tool"].isin(["K-27", "K-33"])].mean() <= 4.7


def test_the_set_on_the_hone_today_glazes(traces):
    today = traces[traces["tool"] == "K-33"]
    assert today["started"].min().date() == pd.Timestamp("2025-10-20").date()
    assert 0.21 <= _rpk(today, 20, 60) <= 0.25
    assert 0.12 <= _rpk(today, 120, 150) <= 0.17


def test_set_lives(shop):
    jobs = shop.bores_before("HN1")
    lives = jobs.groupby("tool", sort=False)["bores"].sum()
    early = {"K-26", "K-27", "K-32", "K-33"}
    assert lives[~lives.index.isin(early)].between(195, 200).all()
    assert 240 <= lives["K-27"] <= 252
    assert lives["K-33"] < 195


def test_the_diamond_head_opens_up_and_stays_inside(shop):
    finish = shop.finish("finish_hone")
    diesel = finish[(finish["machine"] == "HN2") & (finish["family"] == "F3")]
    month = diesel["started"].dt.strftime("%Y-%m")
    start, end = diesel["Rpk"][month == "2024-09"].mean(), diesel["Rpk"][month == "2025-10"].mean()
    assert 0.29 <= start <= 0.34
    assert 0.37 <= end <= 0.46


def test_a_drifting_gauge_shows_on_the_ring_and_not_in_the_readings(shop):
    days = shop.rings["when"].dt.strftime("%Y-%m-%d").isin(["2025-03-24", "2025-03-31"])
    mean = shop.rings[days].groupby("gauge")["mean"].mean()
    assert -7.5 <= mean["BG2"] <= -5
    assert abs(mean["BG1"]) <= 1
    drifting = (shop.bores["gauge"] == "BG2") & shop.bores["started"].between("2025-03-24", "2025-04-05")
    assert abs(shop.bores["dev"][drifting].mean()) < 1.5


def test_audits_find_the_drifting_gauge_and_clear_the_hone(shop):
    audits = shop.audits
    late = audits[(audits["machine"] == "HN1") & audits["started"].between("2025-03-24", "2025-04-05")]
    difference = late.groupby("gauge")["difference"].mean()
    assert 5 <= difference["BG2"] <= 8
    assert abs(difference["BG1"]) <= 1.5


def test_v6_blocks_measured_warm_are_small(shop):
    bores = shop.audits.assign(block_c=shop.audits["block_c"].astype(float))
    warm = bores[(bores["block_c"] == 31.0) & (bores["family"] == "F2")]
    summer = bores["started"].between("2025-06-23", "2025-08-30") & (bores["block_c"] < 31.0)
    assert warm["block"].nunique() >= 2
    assert warm["started"].between("2025-06-23 12:00", "2025-08-30").all()
    assert -8 <= warm["difference"].mean() <= -4.5
    assert abs(bores["difference"][summer].mean()) < 1.5


@pytest.mark.parametrize("seed", [2, 4, 5, 10])
def test_the_last_set_has_honed_about_as_much_in_slack_and_in_busy_shops(seed: int) -> None:
    """Seeds that bring few or many blocks in the last fortnight, and the committed one, which is left as it came."""
    from sample_data.families import FAMILIES
    from sample_data.make import work

    passes = [p for p in work(seed).passes if p.tool == "K-33"]
    assert 125 <= sum(FAMILIES[p.block.family].cylinders for p in passes) <= 175
    assert min(p.started for p in passes).date().isoformat() == "2025-10-20"
