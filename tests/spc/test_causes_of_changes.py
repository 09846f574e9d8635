"""Evidence for a cause, and how causes are ranked by it."""

import math

import numpy as np
import pytest

from spc.faults.evidence import alternates, crossed_person, first_of_day, gradual, only_one, spread_scores
from spc.faults.likelihood import Fault, rank_causes

RNG = np.random.default_rng
RUNS = 200


def share(judge, make) -> float:
    """Part of the runs in which a piece of evidence is held more likely there than not."""
    found = [judge(*make(RNG(seed))) for seed in range(RUNS)]
    return float(np.mean([f > 0.5 for f in found]))


def test_a_ramp_and_a_step_are_told_apart():
    ramp = share(gradual, lambda r: (np.linspace(0, 4, 40) + r.normal(size=40),))
    step = share(gradual, lambda r: (np.full(40, 2.0) + r.normal(size=40),))
    assert ramp > 0.95 and step < 0.05
    assert gradual(np.ones(7)) is None


def test_one_group_that_moves_alone_is_found_and_all_alike_are_not_blamed_on_one():
    group = np.tile([0, 1, 2], 12)

    def alone(r):
        return r.normal(size=36) + np.where(group == 1, 2.0, 0.0), group

    def alike(r):
        return r.normal(size=36) + 1.5, group

    assert share(lambda s, g: only_one(s, g)[0], alone) > 0.95
    assert share(lambda s, g: only_one(s, g)[0], alike) < 0.05
    assert only_one(*alone(RNG(1)))[1] == 1
    assert only_one(np.ones(9), np.array([0] * 5 + [1] * 4)) is None
    assert only_one(np.ones(9), np.full(9, -1)) is None


def test_nobody_is_blamed_without_a_crossed_comparison():
    r = RNG(3)
    score = r.normal(size=20) + np.where(np.arange(20) % 2, 2.0, 0.0)
    person = np.arange(20) % 2
    # Only one of them ever works elsewhere: the machine may suit one of them worse.
    assert crossed_person(score, person, r.normal(size=20) + 2.0, np.ones(20, dtype=int)) is None
    elsewhere = r.normal(size=20) + np.where(np.arange(20) % 2, 2.0, 0.0)
    both = crossed_person(score, person, elsewhere, person)
    fine = crossed_person(score, person, r.normal(size=20), person)
    assert both is not None and fine is not None
    assert both > 0.8 > 0.5 > fine


def test_a_cold_first_part_of_the_day_stands_apart():
    day = np.repeat(np.arange(15), 4)
    first = np.tile([1.0, 0.0, 0.0, 0.0], 15)
    cold = share(first_of_day, lambda r: (r.normal(size=60) + 1.5 * first, day))
    even = share(first_of_day, lambda r: (r.normal(size=60) + 1.0, day))
    assert cold > 0.95 and even < 0.1
    assert first_of_day(np.ones(10), np.arange(10)) is None


def test_parts_that_go_up_and_down_in_turn_are_seen():
    turn = share(alternates, lambda r: (np.tile([1.2, -1.2], 15) + r.normal(size=30),))
    free = share(alternates, lambda r: (r.normal(size=30),))
    drift = share(alternates, lambda r: (np.linspace(-2, 2, 30) + 0.5 * r.normal(size=30),))
    assert turn > 0.95 and free < 0.1 and drift == 0.0
    assert alternates(np.ones(11)) is None and alternates(np.ones(20)) is None


def test_shares_are_those_of_bayes_rule_worked_by_hand():
    """Two faults and something else; one certain piece of evidence: 1 x 0.9, 2 x 0.2 and 0.5 x 0.3."""
    faults = [Fault("a", 1.0, {"seen": 0.9}), Fault("b", 2.0, {"seen": 0.2})]
    first, second = rank_causes(faults, {"seen": 1.0}, {"seen": 0.3})
    total = 0.9 + 0.4 + 0.15
    assert (first.key, second.key) == ("a", "b")
    assert (first.share, second.share) == pytest.approx((0.9 / total, 0.4 / total))
    assert first.speaks_for == ("seen",) and second.speaks_against == ("seen",)


def test_evidence_that_may_be_there_or_not_changes_nothing():
    faults = [Fault("a", 1.0, {"seen": 0.9}), Fault("b", 1.0, {"seen": 0.1})]
    even = rank_causes(faults, {"seen": 0.5}, {"seen": 0.3})
    nothing = rank_causes(faults, {}, {})
    assert [f.share for f in even] == pytest.approx([f.share for f in nothing])
    assert even[0].speaks_for == ()


def test_what_fits_worse_than_something_else_is_not_named():
    assert rank_causes([Fault("a", 0.5, {"seen": 0.01})], {"seen": 0.99}, {"seen": 0.5}) == ()
    many = [Fault(f"f{i}", 1.0 + i, {}) for i in range(9)]
    assert [f.key for f in rank_causes(many, {}, {})] == ["f8", "f7", "f6"]
    assert math.isclose(sum(f.share for f in rank_causes(many, {}, {}, most=9)) + 0.5 / 45.5, 1.0)


def test_spreads_are_scored_by_what_their_own_family_showed():
    rng = RNG(5)
    family = np.arange(4000) % 2
    spread = np.sqrt(rng.chisquare(6, 4000) / 6) * np.where(family == 0, 1.0, 10.0)
    before = np.arange(4000) < 3000
    score = spread_scores(spread, family, before)
    for code in (0, 1):
        late = score[(family == code) & ~before]
        # 500 scores: four standard errors of their mean and of their standard deviation.
        assert abs(late.mean()) < 4 / math.sqrt(500)
        assert abs(late.std(ddof=1) - 1.0) < 4 / math.sqrt(1000)
    assert spread_scores(3.0 * spread, family, before) == pytest.approx(score)
    assert np.isnan(spread_scores(spread[:18], family[:18], before[:18])).all()
    assert np.isnan(spread_scores(np.ones(40), np.zeros(40, int), np.ones(40, bool))).all()
