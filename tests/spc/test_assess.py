"""The assessment of a process: what it promises whatever the data."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from spc.errors import SpcError
from spc.score.assess import Assessment, Closing, Cure, ProcessData, ProcessOptions, assess
from tests.simulation.shops import process
from tests.simulation.situations import HOLDING

PLAIN = ProcessOptions(daily=False)


def shifted(seed: int = 1, n: int = 140, at: int = 60, shift: float = 2.5) -> np.ndarray:
    value = np.random.default_rng(seed).standard_normal(n)
    value[at:] += shift
    return value


def head(data: ProcessData, n: int) -> ProcessData:
    fields = {
        name: getattr(data, name)[:n]
        for name in ("readings", "family", "day", "run_length", "level", "life", "wear", "learn")
    }
    return dataclasses.replace(data, **fields)


def same_signals(a: Assessment, b: Assessment) -> bool:
    return [
        (s.monitor, s.first, s.change_from, s.change_range, s.direction, s.status) for s in a.signals
    ] == [(s.monitor, s.first, s.change_from, s.change_range, s.direction, s.status) for s in b.signals]


def assert_clean(answer: Assessment) -> None:
    for name in ("mean", "expected", "expected_se", "score"):
        assert not np.isinf(getattr(answer, name)).any(), name
    for monitor in answer.monitors:
        assert not np.isinf(monitor.statistic).any()
        assert 1.0 <= monitor.run_length_now <= 1e15
    for signal in answer.signals:
        low, high = signal.change_range
        assert 0 <= low <= signal.change_from <= high <= signal.first
        assert np.isfinite(signal.size) and np.isfinite(signal.part_sd) and np.isfinite(signal.run_length)


def test_a_shift_is_found_dated_and_measured() -> None:
    answer = assess(process(shifted()), PLAIN)
    (signal,) = answer.signals
    assert (signal.monitor, signal.direction, signal.status) == ("level", 1, "open")
    assert 60 <= signal.first <= 75
    assert signal.change_range[0] <= 60 <= signal.change_range[1]
    # 15 parts: standard error about 0.26 and that of the baseline
    assert signal.size == pytest.approx(2.5, abs=0.9)
    assert signal.part_sd == pytest.approx(1.0, abs=0.3)


def test_learning_stops_at_the_signal() -> None:
    answer = assess(process(shifted()), PLAIN)
    first = answer.signals[0].first
    assert np.ptp(answer.expected[first + 1 :]) == 0.0
    assert answer.expected[-1] == pytest.approx(answer.mean[: answer.signals[0].change_from].mean(), abs=1e-9)


@pytest.mark.parametrize("name", sorted(HOLDING))
def test_later_parts_change_nothing_said_before(name: str) -> None:
    data, options = HOLDING[name].shop(np.random.default_rng(5), 170)
    readings = data.readings.copy()
    readings[120:] += 3.0 * np.nanstd(readings)
    data = dataclasses.replace(data, readings=readings)
    whole = assess(data, options)
    for n in (40, 101, 135):
        part = assess(head(data, n), options)
        np.testing.assert_allclose(part.mean, whole.mean[:n], rtol=1e-9)
        np.testing.assert_allclose(part.score, whole.score[:n], rtol=1e-6, atol=1e-6)
        told = [(s.monitor, s.first, s.change_from) for s in whole.signals if s.first < n]
        assert told == [(s.monitor, s.first, s.change_from) for s in part.signals]


@settings(max_examples=15, deadline=None)
@given(
    st.integers(0, 10**6),
    st.floats(-1e4, 1e4),
    st.sampled_from([1e-3, 25.4, 1e3]),
    st.sampled_from(sorted(HOLDING)),
)
@example(1, 5213.0, 1e-3, "tool lives, families pooled")
def test_scores_and_signals_know_neither_origin_nor_unit(
    seed: int, move: float, unit: float, name: str
) -> None:
    data, options = HOLDING[name].shop(np.random.default_rng(seed), 120)
    plain = assess(data, options)
    other = dataclasses.replace(data, readings=(data.readings + move) * unit)
    again = assess(other, dataclasses.replace(options, resolution=options.resolution * unit))
    np.testing.assert_allclose(again.score, plain.score, rtol=1e-4, atol=1e-4)
    assert same_signals(plain, again)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(sorted(HOLDING)))
def test_mirrored_readings_give_mirrored_scores(seed: int, name: str) -> None:
    data, options = HOLDING[name].shop(np.random.default_rng(seed), 120)
    readings = data.readings.copy()
    readings[80:] += 2.0 * np.nanstd(readings)
    plain = assess(dataclasses.replace(data, readings=readings), options)
    mirror = assess(dataclasses.replace(data, readings=-readings), options)
    np.testing.assert_allclose(mirror.score, -plain.score, rtol=1e-6, atol=1e-6)
    assert [(s.monitor, s.first) for s in mirror.signals] == [(s.monitor, s.first) for s in plain.signals]
    for a, b in zip(plain.signals, mirror.signals, strict=True):
        if a.monitor == "level":
            assert (a.direction, a.size) == (-b.direction, pytest.approx(-b.size, rel=1e-6))


def test_families_merged_in_time_keep_their_own_scores() -> None:
    rng = np.random.default_rng(4)
    family = rng.choice(3, 120)
    value = np.array([0.0, 50.0, -9.0])[family] + np.array([1.0, 2.0, 6.0])[family] * rng.standard_normal(120)
    merged = assess(process(value, family=family), PLAIN)
    for code in range(3):
        alone = assess(process(value[family == code]), PLAIN)
        np.testing.assert_allclose(merged.score[family == code], alone.score, rtol=1e-9, atol=1e-9)


def test_a_part_out_of_line_is_flagged_and_not_learned() -> None:
    value = np.random.default_rng(2).standard_normal(60)
    value[40] += 9.0
    answer = assess(process(value), PLAIN)
    assert np.flatnonzero(answer.single_flag).tolist() == [40]
    assert answer.expected[41] == pytest.approx(value[:40].mean(), abs=1e-12)
    assert not answer.signals


def test_a_part_set_aside_leaves_the_model() -> None:
    value = np.random.default_rng(2).standard_normal(60)
    learn = np.ones(60, bool)
    learn[30] = False
    value[30] = 50.0
    answer = assess(process(value, learn=learn), PLAIN)
    without = assess(process(np.delete(value, 30)), PLAIN)
    assert np.isnan(answer.score[30]) and answer.mean[30] == 50.0
    np.testing.assert_allclose(np.delete(answer.score, 30), without.score, rtol=1e-9)


def test_an_event_that_cures_clears_the_signal_once_and_learning_goes_on() -> None:
    value = shifted(n=180)
    value[100:] -= 2.5
    answer = assess(process(value), PLAIN, cures=[Cure(100, 77)])
    (signal,) = answer.signals
    assert (signal.status, signal.cure) == ("cleared", 77)
    assert signal.cleared_at == 107  # 8 parts after the event
    assert answer.expected[-1] != answer.expected[120]


def test_an_event_that_does_not_cure_leaves_the_signal_open() -> None:
    answer = assess(process(shifted(n=180)), PLAIN, cures=[Cure(100, 77)])
    assert [(s.status, s.cure) for s in answer.signals] == [("open", None)]


def test_without_an_event_it_is_back_by_itself() -> None:
    value = shifted(n=180)
    first = assess(process(value), PLAIN).signals[0].first
    value[first + 3 :] -= 2.5
    (signal,) = assess(process(value), PLAIN).signals
    assert (signal.status, signal.cleared_at, signal.cure) == ("back", first + 20, None)


def test_new_level_accepted_restarts_and_fixed_resumes() -> None:
    value = shifted(n=180)
    first = assess(process(value), PLAIN).signals[0].first
    accepted = assess(process(value), PLAIN, closings=[Closing("level", first, 90, "new level accepted")])
    assert [s.status for s in accepted.signals] == ["closed"]
    assert accepted.expected[-1] == pytest.approx(value[90:-1].mean(), abs=1e-9)
    fixed = assess(process(value), PLAIN, closings=[Closing("level", first, 90, "fixed")])
    assert [s.status for s in fixed.signals][:2] == ["closed", "open"], (
        "not fixed at all: it must speak again"
    )


def test_closing_after_the_last_part_closes() -> None:
    value = shifted()
    first = assess(process(value), PLAIN).signals[0].first
    (signal,) = assess(process(value), PLAIN, closings=[Closing("level", first, 140, "fixed")]).signals
    assert (signal.status, signal.cleared_at) == ("closed", 140)


def test_a_closing_that_meets_no_signal_is_noted() -> None:
    answer = assess(process(shifted(shift=0.0)), PLAIN, closings=[Closing("level", 3, 90, "fixed")])
    assert len(answer.notes) == 1 and "no such signal" in answer.notes[0]


def test_confirming_a_cleared_signal_keeps_its_cure() -> None:
    value = shifted(n=180)
    value[100:] -= 2.5
    first = assess(process(value), PLAIN).signals[0].first
    closing = Closing("level", first, 150, "fixed")
    (signal,) = assess(process(value), PLAIN, cures=[Cure(100, 7)], closings=[closing]).signals
    assert (signal.status, signal.cure, signal.cleared_at) == ("closed", 7, 107)


def test_a_level_restart_forgets_the_level_but_not_the_spread() -> None:
    value = shifted(shift=30.0)
    level = (np.arange(140) >= 60).astype(np.int64)
    answer = assess(process(value, level=level), PLAIN)
    assert not answer.signals
    assert np.isnan(answer.score[60]) and np.isfinite(answer.score[61])


def test_a_level_restart_while_a_signal_was_open_counts_once_it_has_ended() -> None:
    value = np.random.default_rng(4).standard_normal(220)
    value[80:100] += 3.0
    (signal,) = assess(process(value), PLAIN).signals
    assert signal.status == "back" and signal.cleared_at is not None
    # A service two parts before the signal is said to have gone moves the level far.
    service = signal.cleared_at - 2
    value[service:] += 30.0
    level = (np.arange(220) >= service).astype(np.int64)
    answer = assess(process(value, level=level), PLAIN)
    assert [s.first for s in answer.signals] == [signal.first]
    if answer.signals[0].status == "back":
        assert not answer.single_flag[answer.signals[0].cleared_at + 1 :].any()  # type: ignore[operator]


def test_scatter_that_trebles_is_mostly_called_scatter_not_level() -> None:
    names = []
    for seed in range(20):
        value = np.random.default_rng(seed).standard_normal(200)
        value[100:] *= 3.0
        names += [s.monitor for s in assess(process(value), PLAIN).signals if s.first >= 100][:1]
    assert len(names) == 20 and names.count("scatter") >= 14


def test_wider_readings_on_a_part_raise_the_spread_monitor_of_their_stratum() -> None:
    rng = np.random.default_rng(3)
    group = np.repeat(np.arange(4), 3)
    between = rng.standard_normal((160, 4))
    between[80:] *= 3.0
    value = rng.standard_normal((160, 1)) + between[:, group] + rng.standard_normal((160, 12))
    answer = assess(process(value, strata=(group,)), PLAIN)
    found = [(s.monitor, s.stratum) for s in answer.signals if s.monitor == "spread within part"]
    assert found == [("spread within part", 0)]


def test_a_missed_change_of_tool_is_told_by_the_tool_life() -> None:
    rng = np.random.default_rng(6)
    life = np.minimum(np.arange(300) // 30, 8)
    wear = (np.arange(300) - 30 * life) * 2.0
    value = 0.03 * wear + rng.standard_normal(300)
    answer = assess(process(value, life=life, wear=wear), ProcessOptions(wears=True, daily=False))
    overdue = [s for s in answer.signals if s.monitor == "tool life"]
    assert len(overdue) == 1
    assert 60 < wear[overdue[0].first] < 80
    assert (overdue[0].size, overdue[0].part_sd) == (wear[-1], 58.0)


def test_a_linear_drift_over_one_endless_life_is_learned() -> None:
    value = 0.05 * np.arange(300) + np.random.default_rng(8).standard_normal(300)
    data = process(value, life=np.zeros(300, np.int64), wear=4.0 * np.arange(300))
    assert not assess(data, ProcessOptions(wears=True, daily=False)).signals
    assert assess(data, PLAIN).signals


@pytest.mark.parametrize(
    "readings",
    [
        np.zeros((0, 3)),
        np.full((5, 2), np.nan),
        np.ones((1, 1)),
        np.ones((200, 4)),
        np.full((50, 0), 0.0),
        np.where(np.arange(90)[:, None] == 60, 2.0, np.ones((90, 3))),
        np.where(np.arange(90)[:, None] < 60, np.nan, np.arange(90.0)[:, None]),
    ],
)
@pytest.mark.parametrize("log", [False, True])
@pytest.mark.parametrize("wears", [False, True])
@pytest.mark.parametrize("daily", [None, True])
def test_hardly_any_data_gives_an_answer_without_infinities(
    readings: np.ndarray, log: bool, wears: bool, daily: bool | None
) -> None:
    n = len(readings)
    data = process(readings, day=np.arange(n) // 3, life=np.arange(n) // 20, wear=np.arange(n) % 20 * 1.0)
    for resolution in (0.0, 1.0):
        options = ProcessOptions(
            log=log, wears=wears, daily=daily, resolution=resolution, pool_families=wears
        )
        answer = assess(data, options)
        assert_clean(answer)
        assert len(answer.score) == n
        # The last case is a line and does go off; one odd part among equal ones is nothing at resolution 1.
        if resolution and not (n and np.nanmax(readings, initial=0.0) > 2.0):
            assert not answer.signals


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_any_mixture_is_answered(data: st.DataObject) -> None:
    seed = data.draw(st.integers(0, 10**6))
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 160))
    p = int(rng.integers(1, 7))
    readings = np.exp(rng.normal(0, rng.choice([0.01, 1.0]), (n, p))) * 10.0 ** rng.integers(-3, 4)
    readings = np.round(readings / readings.max(), int(rng.integers(0, 6)))
    readings[rng.random((n, p)) < rng.choice([0.0, 0.3, 0.95])] = np.nan
    readings[rng.random(n) < 0.1] *= 3.0
    life = np.sort(rng.integers(-1, 6, n)) if rng.random() < 0.5 else rng.integers(-1, 6, n)
    built = process(
        readings,
        family=rng.integers(0, 4, n),
        day=np.sort(rng.integers(0, n, n)),
        level=np.cumsum(rng.random(n) < rng.choice([0.0, 0.02, 0.2])),
        life=life,
        wear=np.where(rng.random(n) < 0.05, np.nan, rng.integers(0, 50, n) * 1.0),
        learn=rng.random(n) > 0.05,
        strata=(np.arange(p) // 2,) if rng.random() < 0.5 else (),
        run_length=float(rng.choice([20.0, 500.0, 1e6])),
    )
    options = ProcessOptions(
        log=bool(rng.random() < 0.4),
        wears=bool(rng.random() < 0.5),
        daily=[True, False, None][int(rng.integers(0, 3))],
        resolution=float(rng.choice([0.0, 0.1])),
        pool_families=bool(rng.random() < 0.5),
    )
    cures = [Cure(int(i), number) for number, i in enumerate(rng.integers(0, n + 1, 5))]
    first = assess(built, options, cures)
    assert_clean(first)
    closings = [
        Closing(
            s.monitor,
            s.first,
            min(n, s.first + int(rng.integers(1, 30))),
            str(rng.choice(["fixed", "new level accepted"])),
        )
        for s in first.signals
    ]
    answer = assess(built, options, cures, closings)
    assert_clean(answer)
    assert dataclasses.asdict(answer).keys() == dataclasses.asdict(first).keys()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"run_length": np.ones(10)}, "run_length must be finite and above 1"),
        ({"family": np.zeros(9, np.int64)}, "family must have one entry for each of the 10 parts"),
        ({"readings": np.zeros(10)}, "one row per part"),
        ({"strata": (np.zeros(3, np.int64),)}, "label each of the 1 positions"),
    ],
)
def test_arrays_that_do_not_fit_are_named(change: dict, words: str) -> None:
    with pytest.raises(SpcError, match=words):
        assess(dataclasses.replace(process(np.zeros(10)), **change), PLAIN)


def test_an_unknown_outcome_is_named_with_the_legal_ones() -> None:
    with pytest.raises(SpcError, match="legal are: fixed, new level accepted, no cause found"):
        assess(process(np.zeros(10)), PLAIN, closings=[Closing("level", 1, 2, "whatever")])


def test_what_has_no_logarithm_is_left_out_and_said() -> None:
    value = np.exp(np.random.default_rng(1).standard_normal((30, 2)))
    value[4, 1] = 0.0
    answer = assess(process(value), ProcessOptions(log=True, daily=False))
    assert answer.count[4] == 1 and answer.notes == (
        "1 readings not above zero have no logarithm and were left out",
    )
