"""The shop itself: its calendar, its blocks, what belongs together."""

from datetime import date

import pytest

import sample_data
from sample_data.calendar import working_days
from sample_data.families import FAMILIES


def test_working_days():
    days = working_days()
    assert (days[0], days[-1]) == (date(2024, 9, 2), date(2025, 10, 31))
    assert len(days) == 290  # 61 weeks of five days, less ten at Christmas and five in August
    assert date(2024, 12, 24) not in days
    assert date(2025, 8, 6) not in days


def test_number_of_blocks(shop):
    first = shop.jobs.drop_duplicates("block")
    assert 1250 <= len(first) <= 1420
    count = first["family"].value_counts()
    assert 620 <= count["F1"] <= 710
    assert 370 <= count["F2"] <= 440
    assert 230 <= count["F3"] <= 290


def test_about_a_hundred_thousand_values(shop):
    values = len(shop.mains) + len(shop.bores) + len(shop.decks)
    for operation in ("deck", "finish_hone"):
        values += shop.finish(operation)[["Ra", "Rz", "Rk", "Rpk", "Rvk"]].notna().sum().sum()
    assert 85_000 <= values <= 115_000


def test_machines_take_the_families_they_are_made_for(shop):
    mix = shop.jobs[shop.jobs["pass"] == 1].groupby(["machine", "family"]).size()
    four = mix["DM1", "F1"] + mix["DM2", "F1"]
    assert 0.76 <= mix["DM1", "F1"] / four <= 0.88
    assert 0.58 <= mix["HN1", "F1"] / (mix["HN1", "F1"] + mix["HN2", "F1"]) <= 0.72
    for machine, family in (("DM1", "F3"), ("DM2", "F2"), ("HN1", "F3"), ("HN2", "F2")):
        assert (machine, family) not in mix.index


def test_blocks_that_come_back_have_two_rows_and_two_sets_of_readings(shop):
    again = shop.jobs[shop.jobs["pass"] == 2]
    counts = again["operation"].value_counts()
    assert (counts[["line_hone", "deck", "finish_hone"]] >= 4).all()
    read = {"line_hone": shop.mains, "deck": shop.decks, "finish_hone": shop.bores}
    for operation, readings in read.items():
        wanted = set(again["block"][(again["operation"] == operation) & (again["started"] < "2025-10-31")])
        found = set(readings["block"][readings["pass"] == 2])
        assert len(wanted - found) <= 1  # a whole file may be one of those that are wrong


def test_work_is_done_while_the_shop_is_open(shop):
    jobs = shop.jobs
    assert (jobs["started"].dt.hour >= 7).all()
    assert ((jobs["ended"] - jobs["ended"].dt.normalize()).dt.total_seconds() <= 16 * 3600).all()
    assert set(jobs["started"].dt.date) <= set(working_days())


def test_a_machine_works_on_one_block_at_a_time(shop):
    for _, jobs in shop.jobs.groupby("machine"):
        gap = (jobs["started"].shift(-1) - jobs["ended"]).dropna().dt.total_seconds()
        assert (gap >= -300).all()


def test_plan_and_script_agree(shop):
    for code, family in FAMILIES.items():
        entry = shop.plan["families"][code]["axes"]
        assert len(entry["main"]) == family.mains
        assert len(entry["cylinder"]) == family.cylinders
        assert tuple(entry["deck"]) == family.decks
        assert len(entry["point"]) == family.points
    pairs = {
        "main_size": ("main_mm", "main_tolerance"),
        "cyl_size": ("cylinder_mm", "cylinder_tolerance"),
        "deck_height": ("deck_mm", "deck_tolerance"),
    }
    for feature, (middle, tolerance) in pairs.items():
        for code, nominal in shop.nominal(feature).items():
            family = FAMILIES[code]
            assert nominal == pytest.approx(getattr(family, middle))
            assert shop.limit(feature, "upper")[code] == pytest.approx(
                1000 * nominal + getattr(family, tolerance)
            )
            assert shop.limit(feature, "lower")[code] == pytest.approx(
                1000 * nominal - getattr(family, tolerance)
            )


def test_the_plan_is_accepted_as_it_is():
    from ingest.plans.file import load_plan

    plan = load_plan(sample_data.plan_path())
    assert plan.demonstration is not None
    assert plan.demonstration.now.isoformat() == "2025-11-03T07:00:00"


def test_gauges_are_set_to_the_high_limit(shop):
    rows = shop.raw("BG1", "BG2", "MG1")
    size = rows["set_mm"].astype(float) * 1000
    cylinder = rows["place"].str.startswith("C")
    assert set(size[cylinder].round()) == {round(v) for v in shop.limit("cyl_size", "upper").values()}
    assert set(size[~cylinder].round()) == {round(v) for v in shop.limit("main_size", "upper").values()}


def test_everyday_trouble_is_as_frequent_as_promised(shop):
    bore = shop.raw("BG1", "BG2", "MG1")
    assert 0.001 <= (bore["dev_thou"] == "999").mean() <= 0.003
    assert 0.005 <= (bore["dev_thou"] == "").mean() <= 0.010
    read = bore.groupby(["block", "place", "dir"]).size()
    passes = shop.jobs[shop.jobs["operation"] == "finish_hone"].groupby("block")["pass"].max()
    once = read[read.index.get_level_values("block").isin(passes.index[passes == 1])]
    cylinders = once[once.index.get_level_values("place").str.startswith("C")]
    assert 0.002 <= (cylinders > 1).mean() <= 0.006
