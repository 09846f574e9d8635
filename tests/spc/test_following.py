"""What an open signal may be credited to."""

from __future__ import annotations

import numpy as np

from spc.score.assess import Cure, ProcessOptions, Signal, assess
from spc.score.signals import FEWEST_TO_CLEAR
from spc.score.step_limits import WINDOW
from tests.simulation.shops import process

PLAIN = ProcessOptions(daily=False)
DAILY = ProcessOptions(daily=True)
BEFORE, EVENT = 60, 66


def level_signals(value: np.ndarray, *events: int) -> list[Signal]:
    cures = [Cure(index, number) for number, index in enumerate(events)]
    answer = assess(process(value), PLAIN, cures)
    return [s for s in answer.signals if s.monitor == "level" and s.first >= BEFORE]


def test_an_event_cannot_have_cured_what_was_noticed_long_after_it() -> None:
    """Six parts after a shift something is done that leaves it as it is: the signal comes later and stays open."""
    late = 0
    for seed in range(40):
        value = np.random.default_rng(seed).standard_normal(160)
        value[BEFORE:] += 1.2
        for signal in level_signals(value, EVENT)[:1]:
            if signal.first >= EVENT + FEWEST_TO_CLEAR:
                late += 1
                assert signal.cure is None, seed
    assert late >= 10


def test_chance_is_not_credited_to_an_old_event() -> None:
    """Where nothing ever changed, no signal names an event from before its last eight parts."""
    named = 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        data = process(rng.standard_normal(300), run_length=150.0)
        events = [Cure(int(i), number) for number, i in enumerate(range(20, 300, 25))]
        for signal in assess(data, PLAIN, events).signals:
            if signal.cure is not None:
                named += 1
                assert events[signal.cure].index > signal.first - FEWEST_TO_CLEAR
    assert named >= 5


def test_an_event_just_before_the_raising_part_still_counts() -> None:
    """A signal that comes one to eight parts late, when the cause was removed already, names what removed it."""
    found = []
    for seed in range(400):
        value = np.random.default_rng(seed).standard_normal(160)
        value[BEFORE:EVENT] += 2.2
        found += [
            (s.status, s.cure)
            for s in level_signals(value, EVENT)
            if EVENT <= s.first < EVENT + FEWEST_TO_CLEAR
        ]
    # Few, and those in which the parts after the event happened to look like the fault.
    assert ("cleared", 0) in found


def test_a_change_is_not_dated_most_of_a_year_back_because_it_is_watched_by_day() -> None:
    """Four parts a day for 200 days, the first fifteen days low: what has run so long is how it runs."""
    dated = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        day = np.repeat(np.arange(200), 4)
        value = rng.standard_normal(800) + 0.5 * rng.standard_normal(200)[day]
        value[:60] -= 0.8
        for signal in assess(process(value, day=day), DAILY).signals:
            if signal.monitor == "level":
                dated += 1
                assert signal.first - signal.change_from <= WINDOW + 2 * 4
    assert dated >= 3


def test_a_small_shift_that_stays_is_seldom_said_to_have_gone() -> None:
    """0.6 sd that stay, no event: held against the size at the alarm, one in seven would be said to be back."""
    from tests.simulation.changes import NoEventLoop, share

    back = share(NoEventLoop(0.6, None)(150, np.random.default_rng(11)))
    assert back.runs > 80
    assert back.value < 0.16
    gone = share(NoEventLoop(1.0, 5)(100, np.random.default_rng(12)))
    assert gone.value > 0.75
