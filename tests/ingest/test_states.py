"""The one word for a process, and the order of the board."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from ingest.answers.processes import DoubtFact, OutFact, SignalFact, State
from ingest.assessing.assessment import ProcessState
from ingest.assessing.states import board_rows
from ingest.plans.calendar import calendar_of, microseconds
from tests.ingest.small_shop import small_plan

PLAN = small_plan()
CALENDAR = calendar_of(PLAN)
LAST = date(2025, 3, 28)
NOON = datetime(2025, 3, 28, 12, tzinfo=PLAN.zone)
SIGNAL = SignalFact(
    process="H1/hone/size", monitor="level", status="open", direction=1, size=3.0, log=False, part_sd=1.0,
    since=date(2025, 3, 20), since_time=NOON - timedelta(days=8), change_from=date(2025, 3, 17),
    change_to=date(2025, 3, 19), changed=date(2025, 3, 18), change_parts=4, serial="S0001", pass_no=1,
    run_length=1e6, chance_days=400.0,
)  # fmt: skip
OUT = OutFact("S0002", 1, "F4", "size", "cylinder=1;depth=T", 80_011.0, 80_010.0, "above", NOON)


def state(process: str = "H1/hone/size", **given: Any) -> ProcessState:
    machine, operation, feature = process.split("/")
    base = ProcessState(
        process=process, machine=machine, operation=operation, feature=feature, signals=(), out=None,
        last_time=NOON.isoformat(), last_serial="S0002", last_day=LAST, scored=40, recent=(0.0,), band=(-3.0, 3.0),
        usual_gap=1.0, chance_days=5.0, gauges={"B1": micro(NOON)}, doubt=None, doubt_from=0, monitors=(),
        positions=(), position_offsets=(), families=("F4",), part_sd=1.0, notes=(), plan_sha="x",
    )  # fmt: skip
    return replace(base, **given)


def micro(when: datetime) -> int:
    import pandas as pd

    return microseconds(pd.Timestamp(when).tz_convert("UTC").tz_localize(None))


def words(*states: ProcessState, clock: datetime = NOON) -> dict[str, State]:
    return {r.process: r.state for r in board_rows(PLAN, CALENDAR, {s.process: s for s in states}, clock)}


def only(given: ProcessState, clock: datetime = NOON) -> State:
    return words(given, clock=clock)[given.process]


def test_the_first_word_that_applies_is_used() -> None:
    later = NOON + timedelta(days=30)
    everything = state(signals=(SIGNAL,), out=OUT, scored=5, chance_days=50.0)
    assert only(everything, later) == State.OUT_OF_TOLERANCE
    assert only(replace(everything, out=None), later) == State.GOING_OFF
    assert only(replace(everything, out=None, signals=()), later) == State.LEARNING
    assert only(replace(everything, out=None, signals=(), scored=10), later) == State.SILENT
    assert only(replace(everything, out=None, signals=(), scored=10), NOON) == State.WATCH
    assert only(state()) == State.HOLDING


@pytest.mark.parametrize(
    ("days", "word"), [(30.0, State.HOLDING), (31.0, State.WATCH), (91.0, State.WATCH), (92.0, State.HOLDING)]
)
def test_watch_is_a_chance_interval_of_one_to_three_months(days: float, word: State) -> None:
    assert only(state(chance_days=days)) == word


def test_silence_is_counted_in_working_days_and_in_usual_gaps() -> None:
    weekend = NOON + timedelta(days=5)  # Wednesday: three working days
    assert only(state(), weekend) == State.HOLDING
    assert only(state(), weekend + timedelta(days=1)) == State.SILENT
    assert only(state(usual_gap=5.0), weekend + timedelta(days=1)) == State.HOLDING
    assert only(state(usual_gap=None), NOON + timedelta(days=300)) == State.HOLDING


def test_a_gauge_in_doubt_touches_sizes_it_measured_since_but_no_differences() -> None:
    moved = NOON - timedelta(days=3)
    check = state(
        "B1/check/ring",
        gauges={"B1": micro(NOON)},
        doubt=DoubtFact("B1", "bore gauge one", LAST, "B1/check/ring"),
        doubt_from=micro(moved),
    )
    size, taper = state("H1/hone/size"), state("H1/hone/taper")
    before = state("H2/hone/size", gauges={"B1": micro(moved - timedelta(hours=1))})
    found = words(check, size, taper, before)
    assert found == {
        "B1/check/ring": State.GAUGE_IN_DOUBT,
        "H1/hone/size": State.GAUGE_IN_DOUBT,
        "H1/hone/taper": State.HOLDING,
        "H2/hone/size": State.HOLDING,
    }


def test_the_board_is_worst_first_and_cured_ones_drop_below_the_live() -> None:
    cleared = replace(SIGNAL, status="cleared")
    states = [
        state("H1/hone/size", signals=(replace(SIGNAL, chance_days=100.0),)),
        state("H2/hone/size", signals=(SIGNAL,)),
        state("H1/hone/taper", signals=(cleared,)),
        state("H2/hone/taper"),
        state("M1/deck/height", out=OUT),
        state("H1/hone/cycle", scored=3),
        state("H2/hone/cycle", chance_days=40.0),
    ]
    rows = board_rows(PLAN, CALENDAR, {s.process: s for s in states}, NOON)
    assert [r.process for r in rows] == [
        "M1/deck/height", "H2/hone/size", "H1/hone/size", "H2/hone/cycle", "H1/hone/cycle", "H1/hone/taper",
        "H2/hone/taper",
    ]  # fmt: skip


def test_since_and_start_of_the_change_come_from_the_earliest_open_signal() -> None:
    newer = replace(SIGNAL, monitor="scatter", since=LAST, since_time=NOON, changed=LAST, chance_days=900.0)
    row = board_rows(PLAN, CALENDAR, {"x": state(signals=(newer, SIGNAL))}, NOON)[0]
    assert (row.since, row.change_from) == (SIGNAL.since, SIGNAL.changed)
    assert row.chance_interval_days == 900.0
    quiet = board_rows(PLAN, CALENDAR, {"x": state()}, NOON)[0]
    assert (quiet.since, quiet.change_from) == (None, None)
