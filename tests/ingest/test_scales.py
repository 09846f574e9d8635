"""Steps of a gauge against tolerances, charts and the month: said where its readings are used."""

from collections.abc import Iterator
from datetime import date, datetime

import numpy as np
import pytest

from ingest.gauges.coarse import coarse_charts
from ingest.plans.file import parse_plan
from ingest.plans.scales import coarse_shares
from ingest.shop.shop import Shop
from tests.ingest.small_shop import PLAN, day_files, parts

ON = date(2025, 3, 3)


def plan_with(step: str) -> str:
    return PLAN.replace('resolution = "0.0001 in"', f'resolution = "{step}"')


@pytest.mark.parametrize(("step", "share"), [("2 um", None), ("2.1 um", 0.105), ("0.0001 in", 0.127)])
def test_a_step_of_more_than_a_tenth_of_the_tolerance_is_too_coarse(step, share):
    """The tolerance is 20 micrometres; the rule of ten to one is common practice."""
    plan = parse_plan(plan_with(step), "plan.toml")
    found = coarse_shares(plan, "B1", "size", ["F4"], ON)
    assert found == ({} if share is None else {"F4": pytest.approx(share)})


def test_without_two_limits_a_step_or_a_gauge_nothing_is_said():
    plan = parse_plan(plan_with("50 um"), "plan.toml")
    assert coarse_shares(plan, "B1", "taper", ["F4"], ON) == {}  # one limit
    assert coarse_shares(plan, "nobody", "size", ["F4"], ON) == {}
    assert coarse_shares(plan, "B1", "size", ["F4"], date(2020, 1, 1)) == {}  # before the first limits
    bare = parse_plan(PLAN.replace('resolution = "0.0001 in"\n', ""), "plan.toml")
    assert coarse_shares(bare, "B1", "size", ["F4"], ON) == {}


@pytest.fixture(scope="module", params=["0.01 um", "50 um"])
def measured(request, tmp_path_factory) -> Iterator[tuple[str, Shop]]:
    folder = tmp_path_factory.mktemp("scales") / "shop"
    with Shop.create(folder, plan_with(request.param), known_at=datetime(2025, 3, 1, 8)) as shop:  # noqa: DTZ001 - shop time
        shop.take_in_batches(day_files(parts(12, seed=4)))
        yield request.param, shop


def test_a_chart_whose_readings_differ_by_less_than_the_steps_is_named(measured):
    step, shop = measured
    moment = shop._now_moment()
    process = next(p for p in moment.processes if p.endswith("/size") and p.startswith("H1"))
    data = moment.facts.processes[process].data
    # Ten steps within six standard deviations of the readings of the family that spreads most.
    spread = max(float(np.nanstd(data.readings[data.family == f], ddof=1)) for f in np.unique(data.family))
    coarse = (50.0 if step == "50 um" else 0.01) > 0.6 * spread
    assert coarse is (step == "50 um")
    assert coarse_charts(moment, process) == (("B1",) if coarse else ())


def test_the_month_names_the_features_that_a_scale_is_too_coarse_for(measured):
    step, shop = measured
    month = shop.month(2025, 3)
    (gauge,) = [g for g in month.gauges if g.gauge == "B1"]
    assert gauge.readings > 0
    assert gauge.coarse == (("bore size",) if step == "50 um" else ())


def test_what_a_part_proves_names_a_scale_too_coarse_for_what_it_read_itself(measured):
    step, shop = measured
    told = {f.feature: f for f in shop.conforms("S0001")}
    # The tolerance of a bore is 20 micrometres; a taper is no reading of its own.
    assert told["size"].coarse == (pytest.approx(2.5) if step == "50 um" else None)
    assert told["taper"].coarse is None
