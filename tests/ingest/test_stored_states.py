"""What the list reads of a process does not grow with its past, and says the same as what was computed."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.answers.processes import ClosingFact, EventFact, SignalFact
from ingest.assessing import assessed
from ingest.assessing.assessment import ProcessState
from ingest.assessing.states import board_rows
from ingest.shop.shop import Shop
from ingest.state import queries
from ingest.state.records import signal_from, signal_json, state_from, state_json
from ingest.state.saving import standing
from tests.ingest.small_shop import BORES, JOBS, PLAN, csv, day_files, parts
from tests.ingest.test_states import CALENDAR, NOON, OUT, SIGNAL
from tests.ingest.test_states import PLAN as SMALL
from tests.ingest.test_states import state as state_of

START = datetime(2025, 3, 1, 8)  # noqa: DTZ001 - shop time
STATUSES = ("open", "cleared", "back", "closed")
times = st.integers(0, 200_000).map(lambda minutes: NOON - timedelta(minutes=minutes))
events = st.builds(lambda time: EventFact(time, "H1", "service", "service"), times)
signals = st.builds(
    lambda status, when, cure, around, told, size: replace(
        SIGNAL, status=status, since_time=when, since=when.date(),
        cure=cure, events=tuple(around), closing=told, size=size,
    ),
    st.sampled_from(STATUSES),
    times,
    st.none() | events,
    st.lists(events, max_size=3),
    st.none() | st.builds(lambda when: ClosingFact("fixed", "stones", "AB", when, 3), times),
    st.floats(allow_nan=False),
)  # fmt: skip
states = st.builds(
    lambda found, out: state_of(signals=tuple(found), out=out),
    st.lists(signals, max_size=5),
    st.sampled_from((None, OUT)),
)  # fmt: skip


@settings(max_examples=40)
@given(states)
def test_the_list_says_the_same_without_what_people_closed(state: ProcessState) -> None:
    whole, kept = [board_rows(SMALL, CALENDAR, {s.process: s}, NOON) for s in (state, standing(state))]
    assert whole == kept
    assert all(s.status != "closed" for s in standing(state).signals)


@settings(max_examples=40)
@given(states)
def test_a_state_and_its_signals_come_back_as_they_were_stored(state: ProcessState) -> None:
    back = state_from(state_json(state), SMALL.zone)
    assert back == state
    assert state_json(back) == state_json(state)
    for signal in state.signals:
        same = signal_from(signal_json(signal), SMALL.zone)
        assert same == signal
        assert same.since_time.tzinfo is SMALL.zone
        assert all(event.time.tzinfo is SMALL.zone for event in same.events)


def _closed(shop: Shop) -> SignalFact:
    signal = next(s for s in shop.board()[0].open_signals if s.monitor == "level")
    shop.close_signal(
        signal.process,
        signal.monitor,
        signal.serial,
        signal.pass_no,
        "new level accepted",
        "new stones",
        "AB",
    )
    return signal


@pytest.fixture
def gone_off(tmp_path: Path) -> Path:
    """Folder of a shop with a signal that a person closed."""
    made = [
        replace(p, deviation=p.deviation + (8.0 if i >= 60 else 0.0)) for i, p in enumerate(parts(90, sd=2.5))
    ]
    with Shop.create(tmp_path / "shop", PLAN, START) as shop:
        shop.take_in_batches(day_files(made))
        _closed(shop)
    return tmp_path / "shop"


def test_a_closed_signal_is_read_on_the_page_of_its_process_only(gone_off: Path) -> None:
    with Shop.open(gone_off) as shop:
        stored = queries.states(shop._store, shop.plan.zone)
        assert not [s for state in stored.values() for s in state.signals if s.status == "closed"]
        closed = 0
        for process in stored:
            now, then = shop.process(process), shop.process(process, date(2025, 12, 31))
            assert now is not None and then is not None
            assert [s for s in now.signals if s.status != "withdrawn"] == list(then.signals)
            closed += sum(s.status == "closed" for s in now.signals)
        assert closed


def test_the_page_of_a_process_from_the_store_equals_the_one_from_the_facts(gone_off: Path) -> None:
    with Shop.open(gone_off) as shop:
        for process in queries.fingerprints(shop._store):
            now, then = shop.process(process), shop.process(process, datetime(2025, 12, 31, 16))  # noqa: DTZ001
            assert now is not None and then is not None
            first = [replace(point, first_verdict=None) for point in now.parts]
            assert repr(first) == repr(list(then.parts))  # as text, where NaN equals NaN
            assert repr(now.monitors) == repr(then.monitors)
            assert now.monitors and all(len(m.limit) == len(m.statistic) == len(first) for m in now.monitors)
            assert now.events == then.events
            for at, event in now.events:
                assert at == sum(point.time <= event.time for point in now.parts)


def test_another_way_of_judging_judges_every_process_again(
    gone_off: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Shop.open(gone_off) as shop:
        before, digest = queries.fingerprints(shop._store), shop.digest()
    monkeypatch.setattr(assessed, "METHOD", assessed.METHOD + 1)
    with Shop.open(gone_off) as shop:
        after = queries.fingerprints(shop._store)
        assert after.keys() == before.keys()
        assert not set(after.values()) & set(before.values())
        assert shop.digest() == digest


def test_the_newest_withdrawn_signals_are_those_of_the_log(tmp_path: Path) -> None:
    early = [replace(p, machine="H1", family="F4") for p in parts(26, seed=3, sd=0.8)]
    jump = [replace(p, deviation=p.deviation + 7.0) for p in early[14:]]
    missing = [
        replace(p, serial=f"S1{i:03d}", machine="H1", family="F4", deviation=(-1) ** i * 9.0)
        for i, p in enumerate(parts(24, seed=4, start=datetime(2025, 2, 3, 8)))  # noqa: DTZ001
    ]
    with Shop.create(tmp_path / "s", PLAN, datetime(2025, 2, 1, 8)) as shop:  # noqa: DTZ001
        shop.take_in_batches(day_files([*early[:14], *jump]))
        assert shop.withdrawn(10) == []
        rows = [row for p in missing for row in p.readings()]
        late = [csv("late_jobs.csv", JOBS, [p.job() for p in missing]), csv("late.csv", BORES, rows)]
        shop.take_in(late, datetime(2025, 4, 30, 17))  # noqa: DTZ001
        told = [entry for entry in shop.log() if entry.kind == "withdrawn"]
        assert told
        assert shop.withdrawn(10) == told[:10]
        assert shop.withdrawn(1) == told[:1]
