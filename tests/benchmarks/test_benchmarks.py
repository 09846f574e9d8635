"""The benchmarks can be run and their ratios mean what they say; no clock of a shared machine is judged here."""

import time
from collections.abc import Iterator
from unittest.mock import patch

import numpy as np
import pytest

from tests.benchmarks import SUBJECTS, pairs, subject
from tests.benchmarks.assessment import our_residuals, their_residuals
from tests.benchmarks.pairs import Ratio, compare, show, verdict


class Clock:
    """Time that only passes when work says so."""

    def __init__(self) -> None:
        self.now = 0.0

    def spend(self, seconds: float) -> None:
        self.now += seconds


@pytest.fixture
def clock() -> Iterator[Clock]:
    made = Clock()
    with (
        patch.object(time, "perf_counter", lambda: made.now),
        patch.object(pairs, "_cpu", lambda: made.now / 2),
    ):
        yield made


@pytest.mark.parametrize("name", SUBJECTS)
def test_every_subject_can_be_run(name: str) -> None:
    assert callable(subject(name).main)


@pytest.mark.parametrize("calls", [1, 4])
def test_a_ratio_is_ours_over_theirs(clock: Clock, calls: int) -> None:
    ratio = compare(lambda: clock.spend(0.6), lambda: clock.spend(0.2), pairs=3, calls=calls)
    assert ratio.wall == pytest.approx(3)
    assert ratio.cpu == pytest.approx(3)
    assert (ratio.ours_ms, ratio.theirs_ms) == pytest.approx((600, 200))


def test_one_slow_turn_does_not_move_the_ratio_but_is_shown(clock: Clock) -> None:
    turns = iter([0.1, 0.1, 5.0, 0.1])  # the first is the warm-up
    ratio = compare(lambda: clock.spend(next(turns)), lambda: clock.spend(0.1), pairs=3)
    assert ratio.wall == pytest.approx(1)
    assert ratio.high == pytest.approx(50)


@pytest.mark.parametrize("calls", [1, 4])
def test_what_is_done_before_is_not_measured(clock: Clock, calls: int) -> None:
    ratio = compare(
        lambda: clock.spend(0.2),
        lambda: clock.spend(0.1),
        pairs=2,
        calls=calls,
        before=lambda: clock.spend(9.0),
    )
    assert (ratio.wall, ratio.cpu) == pytest.approx((2, 2))


def test_the_two_take_turns() -> None:
    order: list[str] = []
    compare(lambda: order.append("ours"), lambda: order.append("theirs"), pairs=2, warm=False)
    assert order == ["ours", "theirs", "ours", "theirs"]


def test_a_missed_goal_is_said_plainly(capsys: pytest.CaptureFixture[str]) -> None:
    ratio = Ratio(1.2, 1.0, 1.4, 1.1, 12.0, 10.0)
    assert verdict(ratio, 1.1).endswith("MISSED")
    assert verdict(ratio, 1.2).endswith("kept")
    show("toy", ratio, 1.1)
    assert "1.200x" in capsys.readouterr().out


def test_the_recursive_residuals_timed_against_each_other_are_the_same() -> None:
    value = np.random.default_rng(5).normal(3.0, 2.0, 60)
    np.testing.assert_allclose(our_residuals(value)[2:], their_residuals(value)[2:], rtol=1e-6, atol=1e-8)
