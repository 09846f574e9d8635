"""Gauges of a small shop: audits as a series, which gauge is in doubt, planned trials, calibration, temperature."""

import math
import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ingest.answers.processes import DoubtFact, State
from ingest.assessing.assessment import ProcessState
from ingest.assessing.blame import gauges_in_doubt
from ingest.assessing.states import board_rows
from ingest.plans.calendar import calendar_of
from ingest.plans.file import parse_plan
from ingest.problems import PlanError
from ingest.readings.tables import derived_weights
from ingest.shop.shop import Shop
from tests.ingest.small_shop import AUDIT, RINGS, csv, day_files, parts, stamp
from tests.ingest.small_shop import PLAN as SMALL
from tests.ingest.test_states import NOON, SIGNAL, micro, state

# Checks are written to a hundredth of a micrometre here; intake doubts a unit that does not fit the gauge's step.
PLAN = SMALL.replace('resolution = "0.0001 in"', 'resolution = "0.01 um"')
MORE = """
[gauges.B2]
name = "bore gauge two"
resolution = "0.0001 in"
features = ["size", "ring"]
material = "steel"
calibrated = 2025-01-31
calibrate_months = 13

[gauges.B3]
name = "the measuring room's gauge"
resolution = "0.01 um"
features = ["size", "ring"]

[materials.steel]
expansion = 11.5e-6

[layouts.trial]
role = "study"
gauge = "B2"
time = "received"
columns = [
  { name = "order", is = "sequence" },
  { name = "part", is = "serial" },
  { name = "operator", is = "operator" },
  { name = "trial", is = "ignore" },
  { name = "reading", is = "value", unit = "um", measures = "difference", feature = "size", at = PLACE },
]
"""
MORE = MORE.replace("PLACE", '{ cylinder = "1", depth = "T" }')
THREE = parse_plan(PLAN + MORE, "plan.toml")


def doubted(machine: str, operation: str, feature: str, days_ago: int, direction: int = -1) -> ProcessState:
    process = f"{machine}/{operation}/{feature}"
    when = NOON - timedelta(days=days_ago)
    doubt = DoubtFact(machine, machine, when.date(), process)
    signal = replace(SIGNAL, process=process, direction=direction)
    return state(process, doubt=doubt, doubt_from=micro(when), signals=(signal,))


def blamed(*states: ProcessState) -> set[str]:
    return set(gauges_in_doubt(THREE, {s.process: s for s in states}))


def test_a_gauge_whose_own_checks_went_off_is_in_doubt() -> None:
    assert blamed(doubted("B1", "check", "ring", 9), state()) == {"B1"}


def test_two_gauges_apart_count_against_the_one_that_judges_parts() -> None:
    assert blamed(doubted("B1", "B3", "size", 9)) == {"B1"}


def test_the_reference_is_in_doubt_when_its_own_checks_went_off() -> None:
    assert blamed(doubted("B1", "B3", "size", 9), doubted("B3", "check", "ring", 12)) == {"B3"}


def test_of_three_gauges_the_one_that_left_both_others_alike_is_off() -> None:
    assert blamed(doubted("B1", "B3", "size", 9), doubted("B2", "B3", "size", 7)) == {"B3"}


def test_of_three_gauges_one_that_alone_left_the_reference_is_off() -> None:
    assert blamed(doubted("B2", "B3", "size", 7), state("B1/B3/size")) == {"B2"}


def test_two_gauges_that_left_the_reference_in_different_ways_are_both_in_doubt() -> None:
    both = (doubted("B1", "B3", "size", 9, -1), doubted("B2", "B3", "size", 7, 1))
    assert blamed(*both) == {"B1", "B2"}


def test_the_earliest_reason_dates_the_doubt() -> None:
    found = gauges_in_doubt(
        THREE, {s.process: s for s in (doubted("B1", "check", "ring", 5), doubted("B1", "B3", "size", 9))}
    )
    assert found["B1"][0].process == "B1/B3/size"


def test_a_doubt_from_audits_touches_what_the_gauge_measured_since() -> None:
    states = {s.process: s for s in (doubted("B1", "B3", "size", 9), state())}
    rows = {r.process: r for r in board_rows(THREE, calendar_of(THREE), states, NOON)}
    assert rows["H1/hone/size"].state == State.GAUGE_IN_DOUBT
    assert rows["B1/B3/size"].feature_name == "bore size against B3 the measuring room's gauge"
    assert rows["B1/B3/size"].is_gauge


@pytest.fixture(scope="module")
def audited(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """130 parts honed to B1, every second audited on B3; B1 drifts low by 8 micrometres from part 80 on."""
    folder = tmp_path_factory.mktemp("audited") / "shop"
    shop = Shop.create(folder, PLAN + MORE, known_at=datetime(2025, 3, 1, 8))  # noqa: DTZ001 - shop time
    made, rng = parts(130, seed=2), np.random.default_rng(1)
    batches = list(day_files(made))
    audits, checks = [], []
    for i, part in enumerate(made):
        off = drift(i)
        if i % 2 == 0:
            for row in part.readings():
                cells = row.split(",")
                size = float(cells[5]) * 1000 + float(cells[4]) * 25.4 - off + float(rng.normal(0, 0.5))
                audits.append(
                    f"{stamp(part.ended + timedelta(hours=3))},{part.serial},{cells[3]},{size / 1000:.4f},B3"
                )
        if i % 6 == 0:
            when = stamp(part.ended - timedelta(hours=1))
            for gauge, error in (("B1", off), ("B3", 0.0)):
                first, second = rng.normal(error, 0.5, 2)
                checks.append(f"{when},{gauge},R1,80.010,{first:.2f},{second:.2f}")
    end = datetime(2025, 12, 1, 8)  # noqa: DTZ001 - shop time
    batches.append((end, [csv("audits.csv", AUDIT, audits), csv("rings.csv", RINGS, checks)]))
    shop.take_in_batches(batches)
    yield shop
    shop.close()


def drift(part: int) -> float:
    return -8.0 * min(1.0, max(0, part - 80) / 30)


def test_an_audit_is_a_process_with_scores_like_any_other(audited: Shop) -> None:
    row = next(r for r in audited.board() if r.process == "B1/B3/size")
    assert row.scored > 40
    assert row.state == State.GAUGE_IN_DOUBT
    view = audited.process("B1/B3/size")
    assert view is not None
    assert not view.specifications  # the drawing's limits are none of a difference


def test_the_suspects_begin_near_the_drift_and_their_errors_are_near_it(audited: Shop) -> None:
    gauge = next(g for g in audited.gauges().gauges if g.key == "B1")
    episode = gauge.doubt
    assert episode is not None
    assert set(episode.sources) == {"B1/B3/size", "B1/check/ring"}
    listed = {s.serial: s for s in episode.suspects if s.feature == "size"}
    assert {f"S{n:04d}" for n in range(90, 131)} <= set(listed)
    assert not {f"S{n:04d}" for n in range(1, 60)} & set(listed)
    for serial, suspect in listed.items():
        assert suspect.error is not None
        assert suspect.error.estimate == pytest.approx(drift(int(serial[1:]) - 1), abs=1.5)


def test_a_gauge_without_checks_has_no_uncertainty_and_proves_nothing(audited: Shop) -> None:
    probe = next(g for g in audited.gauges().gauges if g.key == "P1")
    assert not probe.checks
    assert all(use.trust is None for use in probe.uses)


def test_what_the_program_tells_of_gauges_outlives_a_rebuild(audited: Shop, tmp_path: Path) -> None:
    shutil.copytree(audited.folder, tmp_path / "shop", ignore=shutil.ignore_patterns("run", "*.duckdb*"))
    with Shop.rebuild(tmp_path / "shop") as again:
        assert again.digest() == audited.digest()
        assert repr(again.gauges()) == repr(audited.gauges())


def test_a_filled_sheet_becomes_a_trial_of_the_gauge(tmp_path: Path) -> None:
    with Shop.create(tmp_path / "shop", PLAN + MORE, known_at=datetime(2025, 3, 1, 8)) as shop:  # noqa: DTZ001
        rng = np.random.default_rng(4)
        sizes, hands = rng.normal(0, 6, 8), {"A": 0.0, "B": 3.0}
        rows = [
            f"{n},{p + 1},{who},{t},{sizes[p] + hands[who] + rng.normal(0, 1):.2f}"
            for n, (t, who, p) in enumerate((t, w, p) for t in (1, 2, 3) for w in hands for p in range(8))
        ]
        (receipt,) = shop.take_in([csv("trial.csv", "order,part,operator,trial,reading", rows)])
        assert receipt.lines.stored == 48
        gauge = next(g for g in shop.gauges().gauges if g.key == "B2")
        (trial,) = gauge.studies
        assert (trial.study.parts, trial.study.operators, trial.study.readings) == (8, 2, 48)
        assert trial.tolerance == pytest.approx(20.0)
        assert trial.study.repeatability.lower < 1.0 < trial.study.repeatability.upper
        # Nothing of it is judged as a part of the shop, and nothing is set aside.
        assert not shop.board()
        assert not shop.set_aside_rows()


def test_a_trial_that_says_nothing_is_refused_with_the_reason(tmp_path: Path) -> None:
    with Shop.create(tmp_path / "shop", PLAN + MORE, known_at=datetime(2025, 3, 1, 8)) as shop:  # noqa: DTZ001
        rows = [f"{n},{p},A,1,{p}.0" for n, p in enumerate((1, 2, 3))]
        shop.take_in([csv("trial.csv", "order,part,operator,trial,reading", rows)])
        gauge = next(g for g in shop.gauges().gauges if g.key == "B2")
        assert not gauge.studies
        assert any("2 readings of a part" in why for why in gauge.refused.values())


def test_when_a_gauge_is_due_follows_its_calibration_by_the_calendar() -> None:
    assert THREE.gauges["B2"].due == date(2026, 2, 28)  # 13 months after the last of January
    assert THREE.gauges["B3"].due is None


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        (
            'material = "steel"\ncalibrated = 2025-01-31\ncalibrate_months = 13',
            "only mean something together",
        ),
        ('material = "steel"\ncalibrated', "brass"),
    ],
)
def test_a_calibration_or_material_that_cannot_be_is_named(wrong: str, named: str) -> None:
    right: dict[str, Any] = {
        "only mean something together": 'material = "steel"\ncalibrated = 2025-01-31',
        "brass": 'material = "brass"\ncalibrated',
    }
    with pytest.raises(PlanError) as told:
        parse_plan((PLAN + MORE).replace(wrong, right[named]), "plan.toml")
    assert any(named in str(problem) for problem in told.value.problems)


HOT = (
    (PLAN + MORE)
    .replace('name = "six"', 'name = "six"\nmaterial = "aluminium"')
    .replace('name = "four"', 'name = "four"\nmaterial = "iron"')
    .replace('name = "bore gauge one"', 'name = "bore gauge one"\nmaterial = "steel"')
    + """
[materials.aluminium]
expansion = 23.0e-6
uncertainty = 1.0e-6

[materials.iron]
expansion = 11.0e-6

[layouts.warm]
role = "readings"
gauge = "B1"
columns = [
  { name = "when", is = "time", form = "%Y-%m-%d %H:%M:%S" },
  { name = "block", is = "serial" },
  { name = "place", is = "place" },
  { name = "size_mm", is = "value", unit = "mm" },
  { name = "block_c", is = "part_temperature", unit = "degC" },
  { name = "gauge_c", is = "gauge_temperature", unit = "degC" },
]
places = [
  { pattern = 'C(?P<cylinder>\\d+)(?P<depth>[TB])', features = { size_mm = "size" } },
]
"""
)


@pytest.fixture(scope="module")
def hot(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """Four parts without temperatures, and two more (one of aluminium at 31 degC, one of iron at 26) with them."""
    shop = Shop.create(tmp_path_factory.mktemp("hot") / "shop", HOT, known_at=datetime(2025, 3, 1, 8))  # noqa: DTZ001
    made = parts(6, seed=2)
    for part, family in zip(made, ("F4", "F6", "F4", "F6", "F6", "F4"), strict=True):
        part.family = family
    shop.take_in_batches(day_files(made[:4]))
    rows = [
        f"{stamp(part.ended)},{part.serial},C1T,{nominal + 0.002:.4f},{degrees},24.0"
        for part, nominal, degrees in ((made[4], 90.0, 31.0), (made[5], 80.0, 26.0))
    ]
    jobs = "block,family,operation,machine,pass,started,ended,cycle_min"
    shop.take_in(
        [
            csv("jobs.csv", jobs, [part.job() for part in made[4:]]),
            csv("warm.csv", "when,block,place,size_mm,block_c,gauge_c", rows),
        ]
    )
    yield shop
    shop.close()


def test_temperatures_are_asked_for_on_aluminium_and_not_on_iron(hot: Shop) -> None:
    asked = {(m.family, m.gauge): (m.without, m.readings) for m in hot.gauges().missing}
    assert asked == {("F6", "B1"): (24, 25)}  # twelve places on each of two parts, one more read with both
    (bare,) = hot.at_reference("S0002")
    assert (bare.missing, bare.matters, bare.corrected) == ("part temperature", True, None)
    (iron,) = hot.at_reference("S0001")
    assert iron.missing == "part temperature"
    assert not iron.matters


def test_a_warm_size_is_told_raw_and_at_twenty_degrees_with_its_uncertainty(hot: Shop) -> None:
    (told,) = hot.at_reference("S0005")
    assert told.read == pytest.approx(90_002.0)
    assert told.corrected is not None
    # By hand: the block has grown by 11 K, the gauge's scale by 4 K (ISO 1).
    expected = 90_002.0 * (1 + 11.5e-6 * 4) / (1 + 23.0e-6 * 11)
    assert told.corrected.length == pytest.approx(expected)
    assert told.corrected.correction == pytest.approx(expected - 90_002.0)
    # Half a degree on the block alone makes 1.0 micrometre, the coefficient another.
    assert told.corrected.uncertainty > 1.0
    assert not told.assumed


def test_iron_and_a_steel_gauge_nearly_cancel(hot: Shop) -> None:
    (told,) = hot.at_reference("S0006")
    assert told.corrected is not None
    assert abs(told.corrected.correction) < 2.0 < abs(hot.at_reference("S0005")[0].corrected.correction)


def test_a_part_measured_by_a_gauge_without_checks_proves_nothing(hot: Shop) -> None:
    (fact,) = hot.conforms("S0005")
    assert (fact.why, fact.read, fact.trust) == ("no checks", None, None)


def test_a_part_conforms_does_not_or_cannot_be_told_by_its_distance_from_the_limit(tmp_path: Path) -> None:
    """The gauge repeats to 1 micrometre: 6 inside proves it, 6 beyond disproves it, on the limit tells nothing."""
    with Shop.create(tmp_path / "shop", HOT, known_at=datetime(2025, 3, 1, 8)) as shop:  # noqa: DTZ001 - shop time
        made = parts(4, seed=2)
        rng = np.random.default_rng(6)
        rows = [
            f"{stamp(part.ended)},{part.serial},C1T,{80.010 + far / 1000:.4f},20.0,20.0"
            for part, far in zip(made, (-6.0, 0.0, 6.0, -3.0), strict=True)
        ]
        for part in made:
            part.family = "F4"
        checks = []
        for n in range(30):
            first, second = rng.normal(0.0, 1.0, 2)
            checks.append(f"2025-02-{n % 28 + 1:02d} 07:{n:02d}:00,B1,R1,80.010,{first:.2f},{second:.2f}")
        shop.take_in(
            [
                csv(
                    "jobs.csv",
                    "block,family,operation,machine,pass,started,ended,cycle_min",
                    [p.job() for p in made],
                ),
                csv("warm.csv", "when,block,place,size_mm,block_c,gauge_c", rows),
                csv("rings.csv", RINGS, checks),
            ]
        )
        zones = {p.serial: shop.conforms(p.serial)[0].read for p in made}
        assert [zones[p.serial].zone for p in made[:3]] == ["conforms", "cannot be told", "does not conform"]
        assert zones[made[0].serial].chance > 0.99
        assert zones[made[1].serial].chance == pytest.approx(0.5, abs=0.01)
        assert zones[made[2].serial].chance < 0.01
        assert zones[made[3].serial].uncertainty == pytest.approx(1.0, abs=0.35)


def test_of_a_taper_only_what_two_readings_do_not_share_is_in_doubt(tmp_path: Path) -> None:
    """The gauge repeats to 1 micrometre and is set anew by 5 from check to check: a size is good to the setting, the
    difference of two readings to the root of 2 repeats (JCGM 100, 5.1.2), so that tapers of 6, 12 and 18 against a
    limit of 12 conform, cannot be told and do not."""
    with Shop.create(tmp_path / "shop", HOT, known_at=datetime(2025, 3, 1, 8)) as shop:  # noqa: DTZ001 - shop time
        made = parts(3, seed=2)
        rng = np.random.default_rng(6)
        rows = [
            f"{stamp(part.ended)},{part.serial},{place},{80 + size / 1000:.4f},20.0,20.0"
            for part, taper in zip(made, (6.0, 12.0, 18.0), strict=True)
            for place, size in (("C1T", taper / 2), ("C1B", -taper / 2))
        ]
        for part in made:
            part.family = "F4"
        checks = []
        for n in range(28):
            setting = rng.normal(0.0, 5.0)
            first, second = setting + rng.normal(0.0, 1.0, 2)
            checks.append(f"2025-02-{n + 1:02d} 07:{n:02d}:00,B1,R1,80.010,{first:.2f},{second:.2f}")
        shop.take_in(
            [
                csv(
                    "jobs.csv",
                    "block,family,operation,machine,pass,started,ended,cycle_min",
                    [p.job() for p in made],
                ),
                csv("warm.csv", "when,block,place,size_mm,block_c,gauge_c", rows),
                csv("rings.csv", RINGS, checks),
            ]
        )
        told = {p.serial: {f.feature: f for f in shop.conforms(p.serial)} for p in made}
        tapers = [told[p.serial]["taper"] for p in made]
        assert [t.read.zone for t in tapers] == ["conforms", "cannot be told", "does not conform"]
        assert [t.read.value for t in tapers] == pytest.approx([6.0, 12.0, 18.0])
        assert tapers[1].read.chance == pytest.approx(0.5, abs=0.01)
        repeat = tapers[0].trust.parts["repeats"]
        assert repeat == pytest.approx(1.0, abs=0.3)
        assert tapers[0].standard == pytest.approx(math.sqrt(2) * repeat)
        assert told[made[0].serial]["size"].standard > 3.0
        shares = {p.split("/")[-1]: shop.gauge_share(p, "F4") for p in shop._now_moment().processes}
        assert shares["size"] == pytest.approx(repeat)
        assert shares["taper"] == pytest.approx(math.sqrt(2) * repeat)
        assert shares["ring"] is None


def test_a_derived_value_weighs_the_readings_of_its_complete_sets(hot: Shop) -> None:
    """Derived values are the weights times the readings, whichever reading is missing."""
    moment = hot._now_moment()
    plan, table = moment.known.plan, moment.facts.tables["taper"]
    base = moment.facts.tables["size"]
    values = base.values[0].copy()
    family = moment.resolved.families[int(base.parts["fam"].iloc[0])]
    weights = derived_weights(plan, "taper", family, base.slots, values)
    row = int(np.flatnonzero((table.parts["part"] == base.parts["part"].iloc[0]).to_numpy())[0])
    known = np.isfinite(table.values[row])
    assert known.any()
    assert weights[known] @ np.nan_to_num(values) == pytest.approx(table.values[row][known])
    assert weights.sum(axis=1) == pytest.approx(0.0)
    assert (weights[~known] == 0).all()
