"""Signals of the spread within a part: a changed position pattern, its cure, and readings in coarse steps."""

from __future__ import annotations

import numpy as np
import pytest

from spc.process import SPREAD
from spc.score.assess import Assessment, Closing, Cure, ProcessOptions, Signal, assess
from spc.score.parts import part_means
from spc.score.signals import has_cleared
from tests.simulation.shops import process

PLAIN = ProcessOptions(daily=False)
WORN = np.array([-4.0, 0.5, -0.5, 4.0])


def spread_signals(answer: Assessment) -> list[Signal]:
    return [signal for signal in answer.signals if signal.monitor == SPREAD]


def worn(seed: int, begins: int, ends: int, n: int, slow: bool = False) -> np.ndarray:
    """Four positions whose pattern is worn from one part to another, at once or little by little."""
    reading = np.random.default_rng(seed).standard_normal((n, 4))
    share = np.clip((np.arange(n) - begins) / (ends - begins), 0.0, 1.0) if slow else np.arange(n) >= begins
    share = np.where(np.arange(n) < ends, share, 0.0)
    return reading + share[:, None] * WORN


@pytest.mark.parametrize("slow", [False, True], ids=["at once", "little by little"])
@pytest.mark.parametrize("seed", range(4))
def test_a_worn_pattern_is_open_until_its_cure_however_long_it_lasts(seed: int, slow: bool) -> None:
    """Three times the memory of the offsets; a service half way through cures nothing."""
    readings = worn(seed, 80, 380, 460, slow)
    answer = assess(process(readings), PLAIN, [Cure(230, 1), Cure(380, 2)])
    last = spread_signals(answer)[-1]
    assert (last.status, last.cure) == ("cleared", 2)
    assert last.cleared_at is not None and 387 <= last.cleared_at <= 410
    assert all(signal.cure != 1 for signal in answer.signals)


def test_after_the_cure_the_spread_is_the_old_one() -> None:
    answer = assess(process(worn(1, 80, 380, 460)), PLAIN, [Cure(380, 2)])
    before, after = answer.spread[20:80, 0], answer.spread[380:, 0]
    # Mean squares on 3 x 60 and 3 x 80 degrees of freedom: sd of their ratio about 0.15.
    assert np.mean(after**2) / np.mean(before**2) == pytest.approx(1.0, abs=0.45)


def test_an_uncured_pattern_stays_open() -> None:
    (signal,) = spread_signals(assess(process(worn(2, 80, 999, 400)), PLAIN, [Cure(200, 5)]))
    assert (signal.status, signal.cure) == ("open", None)


def test_an_accepted_pattern_is_the_new_one_at_once() -> None:
    """The offsets forget the old pattern: kept in a memory of 100 parts it would show as spread for long."""
    readings = worn(3, 80, 999, 400)
    first = spread_signals(assess(process(readings), PLAIN))[0].first
    closing = Closing(SPREAD, first, first + 20, "new level accepted")
    answer = assess(process(readings), PLAIN, closings=[closing])
    assert [signal.status for signal in spread_signals(answer)] == ["closed"]
    soon, before = answer.spread[first + 20 : first + 60, 0], answer.spread[20:80, 0]
    # 3 x 40 and 3 x 60 degrees of freedom: sd of the ratio 0.17; the mixed patterns would make it above 4.
    assert np.mean(soon**2) / np.mean(before**2) == pytest.approx(1.0, abs=0.6)


def test_fixed_goes_back_to_the_old_pattern() -> None:
    readings = worn(3, 80, 140, 400)
    first = spread_signals(assess(process(readings), PLAIN))[0].first
    answer = assess(process(readings), PLAIN, closings=[Closing(SPREAD, first, 140, "fixed")])
    assert [signal.status for signal in spread_signals(answer)] == ["closed"]
    soon, before = answer.spread[140:200, 0], answer.spread[20:80, 0]
    assert np.mean(soon**2) / np.mean(before**2) == pytest.approx(1.0, abs=0.6)


def test_positions_that_are_new_while_a_signal_is_open_are_judged() -> None:
    """A second reading at each place, shortly after the change and before it is told of."""
    rng = np.random.default_rng(3)
    readings = rng.standard_normal((150, 6))
    readings[:92, 3:] = np.nan
    readings[90:] += np.tile([-5.0, 0.0, 5.0], 2)
    answer = assess(process(readings, strata=(np.tile(np.arange(3), 2),)), PLAIN)
    assert [signal.status for signal in spread_signals(answer)] == ["open"]
    assert np.isfinite(answer.spread[95:]).all()


def test_a_family_that_comes_while_a_signal_is_open_is_judged() -> None:
    readings = worn(4, 60, 999, 150)
    family = np.where((np.arange(150) >= 100) & (np.arange(150) % 2 == 0), 1, 0)
    answer = assess(process(readings, family=family), PLAIN)
    assert [signal.status for signal in spread_signals(answer)] == ["open"]
    assert (
        np.isfinite(answer.spread[family == 1, 0]).sum() == (family == 1).sum() - 1
    )  # its first has no pattern
    # Its own pattern, not a change: the readings scatter by 1.
    assert 0.6 < np.sqrt(np.nanmean(answer.spread[family == 1, 0] ** 2)) < 1.4


def test_offsets_keep_what_they_were_through_parts_that_teach_nothing() -> None:
    learn = np.arange(300) < 50
    readings = worn(5, 50, 999, 300)
    kept = part_means(readings, np.zeros(300, np.int64), (), learn)
    at_change = part_means(readings[:50], np.zeros(50, np.int64))
    np.testing.assert_allclose(kept.offsets, at_change.offsets, atol=1e-12)


def test_less_spread_than_before_is_cleared_where_only_more_is_a_fault() -> None:
    # Eight scores of -1: sqrt(8) = 2.83 standard errors below the old spread.
    assert has_cleared(1.5, -8.0, 8.0, upper_only=True)
    assert not has_cleared(1.5, -8.0, 8.0)
    assert not has_cleared(1.5, 8.0, 8.0, upper_only=True)


def test_a_cure_that_leaves_less_spread_than_before_clears() -> None:
    reading = np.random.default_rng(6).standard_normal((200, 4))
    reading[80:120] *= 3.0
    reading[120:] *= 0.4
    (signal,) = spread_signals(assess(process(reading), PLAIN, [Cure(120, 9)]))
    assert (signal.status, signal.cure) == ("cleared", 9)


def steps(rng: np.random.Generator, positions: int, sd: float, moves: float, n: int = 300) -> np.ndarray:
    """Readings in whole steps of a part whose true value moves over the steps."""
    true = rng.uniform() + np.cumsum(rng.normal(0.0, moves, n))
    return np.round(true[:, None] + rng.normal(0.0, sd, (n, positions)))


@pytest.mark.parametrize("positions", [2, 4])
@pytest.mark.parametrize("sd", [0.05, 0.3])
@pytest.mark.parametrize("moves", [0.0, 0.1], ids=["at rest", "moving"])
def test_readings_that_are_mostly_equal_raise_nothing_more_than_granted(
    positions: int, sd: float, moves: float
) -> None:
    """30 histories, 1,000 scores to an alarm: 9 are granted; 16 is beyond their 98.9 % point."""
    rng = np.random.default_rng(11)
    options = ProcessOptions(daily=False, resolution=1.0)
    told = 0
    for _ in range(30):
        data = process(steps(rng, positions, sd, moves), run_length=1000.0)
        told += len(spread_signals(assess(data, options)))
    assert told <= 16


@pytest.mark.parametrize("positions", [2, 12])
def test_readings_that_spread_over_several_steps_are_still_told(positions: int) -> None:
    rng = np.random.default_rng(12)
    found = 0
    for _ in range(10):
        readings = np.round(rng.uniform() + rng.normal(0.0, 0.3, (200, positions)))
        readings[120:] = np.round(rng.normal(0.0, 1.5, (80, positions)))
        answer = assess(process(readings), ProcessOptions(daily=False, resolution=1.0))
        found += any(120 <= signal.first < 180 for signal in spread_signals(answer))
    assert found >= 9
