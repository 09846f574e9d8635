"""Storing assessments: parts, signals and states of the processes whose facts have changed."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import duckdb
import numpy as np
import pandas as pd

from ingest.answers.processes import SignalFact
from ingest.assessing import assessed
from ingest.assessing.assessment import AssessedProcess, ProcessState
from ingest.state import queries
from ingest.state.moment import Moment
from ingest.state.records import signal_from, signal_json, state_json
from ingest.storage.store import Store

PART_COLUMNS = (
    "process", "idx", "serial", "pass", "time", "day", "family", "n", "mean", "within_ss", "expected",
    "expected_se", "score", "verdict", "spread", "statistic", "statistic_limit", "tool", "wear", "aside",
)  # fmt: skip


def part_rows(done: AssessedProcess, families: tuple[str, ...]) -> pd.DataFrame:
    """Parts of a process as they are stored and charted."""
    facts, result = done.facts, done.assessment
    readings = np.log(facts.data.readings) if facts.options.log else facts.data.readings
    count = np.isfinite(readings).sum(axis=1)
    centred = np.where(np.isfinite(readings), readings - _row_means(readings)[:, None], 0.0)
    statistic = np.column_stack([m.statistic for m in result.monitors]) if result.monitors else None
    limit = np.column_stack([m.limit for m in result.monitors]) if result.monitors else None
    nothing: list[list[float]] = [[] for _ in range(len(facts.parts))]
    return pd.DataFrame(
        {
            "process": facts.process,
            "idx": np.arange(len(facts.parts)),
            "serial": facts.parts["part"].astype(object),
            "pass": facts.parts["pass_no"],
            "time": facts.parts["time"],
            "day": facts.data.day,
            "family": [families[int(f)] for f in facts.data.family],
            "n": count,
            "mean": result.mean,
            "within_ss": (centred**2).sum(axis=1),
            "expected": result.expected,
            "expected_se": result.expected_se,
            "score": result.score,
            "verdict": list(done.verdicts),
            "spread": result.spread.tolist() if result.spread.size else nothing,
            "statistic": statistic.tolist() if statistic is not None else nothing,
            "statistic_limit": limit.tolist() if limit is not None else nothing,
            "tool": facts.parts["tool"].astype(object).where(facts.parts["tool"].notna(), None),
            "wear": facts.parts["wear"],
            "aside": facts.parts["aside"],
        },
        columns=list(PART_COLUMNS),
    )


def _row_means(readings: np.ndarray) -> np.ndarray:
    count = np.isfinite(readings).sum(axis=1)
    return np.where(np.isfinite(readings), readings, 0.0).sum(axis=1) / np.maximum(count, 1)


def standing(state: ProcessState) -> ProcessState:
    """The state with the signals that no person has closed: all that the board shows of them.

    Closed ones stay in the table of signals. The board reads every state each time, and what has been closed grows
    with the years.
    """
    return replace(state, signals=tuple(s for s in state.signals if s.status != "closed"))


def save(store: Store, moment: Moment, known_at: datetime, cause: str, complete: bool = True) -> list[str]:
    """Assess every process whose facts differ from those of its stored assessment, and store the result.

    Parameters
    ----------
    store : Store
    moment : Moment
        Of everything known.
    known_at : datetime
        Zone-less UTC; dates first verdicts.
    cause : str
        Files or decision that brought the change; named by a signal they remove.
    complete : bool
        The moment is that of everything stored, not one of the past on the way there.

    Returns
    -------
    list of str
        Processes assessed. All are stored in one transaction.
    """
    before = queries.fingerprints(store)
    after = {
        process: f"{assessed.METHOD} {facts.fingerprint()}"
        for process, facts in moment.facts.processes.items()
    }
    touched = [process for process, mark in after.items() if before.get(process) != mark]
    gone = [process for process in before if process not in after]
    if not touched and not gone:
        with store.transaction() as cursor:
            assessed.mark(cursor, moment.known.plan.sha256, complete)
        return []
    families = moment.resolved.families
    done = [moment.assessed(process) for process in touched]
    with store.transaction() as cursor:
        old = _stored_signals(cursor, [*touched, *gone], moment.known.plan.zone)
        stale = [[*touched, *gone]]
        cursor.execute("delete from part where list_contains($1, process)", stale)
        cursor.execute("delete from signal where list_contains($1, process)", stale)
        cursor.execute("delete from process_state where list_contains($1, process)", stale)
        if done:
            rows = pd.concat([part_rows(entry, families) for entry in done], ignore_index=True)
            cursor.register("fresh_parts", rows)
            cursor.execute("insert into part select * from fresh_parts")
            cursor.execute(
                "insert into first_verdict select f.process, f.serial, f.pass, f.verdict, $1 from fresh_parts f "
                "anti join first_verdict v on v.process = f.process and v.serial = f.serial and v.pass = f.pass",
                [known_at],
            )
            marks = pd.DataFrame(
                {
                    "process": touched,
                    "fingerprint": [after[p] for p in touched],
                    "plan_sha": moment.known.plan.sha256,
                    "state": [state_json(standing(entry.state)) for entry in done],
                }
            )
            cursor.register("fresh_states", marks)
            cursor.execute("insert into process_state select * from fresh_states")
        now = [signal for entry in done for signal in entry.state.signals]
        _store_signals(cursor, now + _withdrawn(old, now, cause))
        assessed.mark(cursor, moment.known.plan.sha256, complete)
    return touched


def _stored_signals(
    cursor: duckdb.DuckDBPyConnection, processes: list[str], zone: ZoneInfo
) -> list[SignalFact]:
    rows = cursor.execute("select facts from signal where list_contains($1, process)", [processes]).fetchall()
    return [signal_from(row[0], zone) for row in rows]


def _withdrawn(old: list[SignalFact], now: list[SignalFact], cause: str) -> list[SignalFact]:
    """Signals once shown that the facts no longer support; those withdrawn earlier stay as they are.

    A signal whose raising part moved is the same signal: the change it tells of overlaps.
    """
    found = []
    for signal in old:
        if signal.status == "withdrawn":
            found.append(signal)
            continue
        stands = any(
            (s.process, s.monitor, s.stratum) == (signal.process, signal.monitor, signal.stratum)
            and s.change_from <= signal.since
            and signal.change_from <= s.since
            for s in now
        )
        if not stands:
            found.append(replace(signal, status="withdrawn", withdrawn_by=cause))
    return found


def _store_signals(cursor: duckdb.DuckDBPyConnection, signals: list[SignalFact]) -> None:
    if not signals:
        return
    rows = pd.DataFrame(
        {
            "process": [s.process for s in signals],
            "monitor": [s.monitor for s in signals],
            "stratum": [s.stratum for s in signals],
            "serial": [s.serial for s in signals],
            "pass": [s.pass_no for s in signals],
            "status": [s.status for s in signals],
            "since": pd.to_datetime([s.since_time for s in signals], utc=True).tz_localize(None),
            "facts": [signal_json(s) for s in signals],
            "withdrawn_by": pd.Series([s.withdrawn_by for s in signals], dtype=object),
        }
    )
    cursor.register("fresh_signals", rows)
    cursor.execute("insert into signal select * from fresh_signals")
