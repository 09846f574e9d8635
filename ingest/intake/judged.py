"""Which readings, jobs and events of a batch are new, which are known, and which contradict known ones.

A reading is known when the same part, feature, position, time, sequence number, gauge, person and value are
stored. The same without the value is a contradiction, unless both stand in one file: then somebody measured
twice. What is stored is never replaced; a person decides.

Where a file says no times, the same part, feature, position, gauge, person and value make a reading known, and
another value in a later file is another measurement.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence

import duckdb
import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

STORED, KNOWN, DUPLICATE, CONFLICT, REPEAT = range(5)
"""New; stored by an earlier file; stood twice in its file; contradicts; stored and measured twice in its file."""

MANY = 20_000
"""Readings from which on it pays to look first whether all of them are surely new."""
_ODD = np.uint64(0x9E3779B97F4A7C15)

Outcome = NDArray[np.int64]

_KEY = ("role", "serial", "feature", "position", "time", "seq", "gauge", "operator")
_SAME_VALUE = (
    1e6  # values are equal when they agree to a millionth of a base unit, whatever unit they came in
)


def _codes(column: pa.ChunkedArray) -> NDArray[np.int64]:
    """Distinct values of a column as numbers; nulls are a value of their own."""
    array = column.combine_chunks()
    if pa.types.is_dictionary(column.type):
        array = array.cast(pa.string())
    encoded = array.dictionary_encode("encode")
    return encoded.indices.to_numpy(zero_copy_only=False).astype(np.int64)


def _group(codes: Sequence[NDArray[np.int64]]) -> NDArray[np.int64]:
    """Number rows by the combination of their codes."""
    joint = codes[0]
    for more in codes[1:]:
        size = int(more.max()) + 1 if len(more) else 1
        if len(joint) and int(joint.max()) * size >= 2**62:
            joint = np.unique(joint, return_inverse=True)[1]
        joint = joint * size + more
    return np.unique(joint, return_inverse=True)[1]


def judge_readings(
    cursor: duckdb.DuckDBPyConnection,
    readings: pa.Table,
    trusted: Collection[int] = (),
    withdrawn: Sequence[str] = (),
) -> Outcome:
    """Outcome of each reading, in the order of files and lines given.

    Parameters
    ----------
    readings : pyarrow.Table
        Ordered by file, line and cell; with the columns ``file``, ``timed`` (the file says the time) and
        ``numbered`` (the sequence number, if any, is the file's own).
    trusted : collection of int
        Files of which a person has said that they are right where they contradict.
    withdrawn : sequence of str
        Hashes of files whose stored readings are as if they were not there.
    """
    n = len(readings)
    outcome = np.full(n, STORED, dtype=np.int64)
    if n == 0:
        return outcome
    timed, numbered = (readings[name].to_numpy() for name in ("timed", "numbered"))
    if n >= MANY and surely_new(cursor, readings, timed, numbered):
        return outcome
    values = np.round(readings["value"].to_numpy() * _SAME_VALUE).astype(np.int64)
    codes = {name: _codes(readings[name]) for name in _KEY}
    codes["time"] = np.where(timed, codes["time"] + 1, 0)
    codes["seq"] = np.where(numbered, codes["seq"] + 1, 0)
    group = _group(list(codes.values()))
    files = readings["file"].to_numpy()
    history = _history(cursor, readings, withdrawn)
    crowded = np.bincount(group)[group] > 1
    crowded[list(history.keys())] = True
    stored: dict[int, set[int]] = {}
    first_file: dict[int, int] = {}
    for row in np.flatnonzero(crowded).tolist():
        key, value, file = int(group[row]), int(values[row]), int(files[row])
        if key not in stored:
            stored[key] = set(history.get(row, ()))
            if not stored[key]:
                first_file[key] = file
                stored[key].add(value)
                continue
        mine = first_file.get(key) == file
        if value in stored[key]:
            outcome[row] = DUPLICATE if mine else KNOWN
        elif mine or not timed[row] or file in trusted:
            stored[key].add(value)
            first_file[key] = file
            outcome[row] = REPEAT if mine else STORED
        else:
            outcome[row] = CONFLICT
    return outcome


def surely_new(
    cursor: duckdb.DuckDBPyConnection,
    readings: pa.Table,
    timed: NDArray[np.bool_],
    numbered: NDArray[np.bool_],
) -> bool:
    """Whether surely no reading has the key of another, here or stored.

    Surely new are readings of which no two have equal keys, of a stretch of time in which nothing is stored.
    Equal keys give equal numbers below, so keys whose numbers all differ all differ.
    """
    if not timed.all():
        return False
    times = readings["time"].cast(pa.int64()).to_numpy()
    span = cursor.execute(
        "select 1 from reading where time between make_timestamp($1) and make_timestamp($2) limit 1",
        [int(times.min()), int(times.max())],
    ).fetchall()
    if span:
        return False
    if (np.diff(times) > 0).all():
        return True
    mixed = times.astype(np.uint64)
    for name in _KEY:
        if name != "time":
            mixed = (mixed ^ (mixed >> np.uint64(29))) * _ODD + _numbers(readings[name], numbered)
    mixed.sort()
    return not (mixed[1:] == mixed[:-1]).any()


def _numbers(column: pa.ChunkedArray, numbered: NDArray[np.bool_]) -> NDArray[np.uint64]:
    """Numbers that are equal where the values are; sequence numbers count where they are the file's own."""
    if pa.types.is_integer(column.type):
        return np.where(numbered, column.fill_null(-1).to_numpy(), -2).astype(np.uint64)
    if pa.types.is_dictionary(column.type) and column.num_chunks == 1:
        indices = column.chunk(0).indices
        return indices.fill_null(len(column.chunk(0).dictionary)).to_numpy().astype(np.uint64)
    return _codes(column).astype(np.uint64)


def _history(
    cursor: duckdb.DuckDBPyConnection, readings: pa.Table, withdrawn: Sequence[str]
) -> dict[int, set[int]]:
    """Stored values under the key of each reading of the batch that has any."""
    columns = [*_KEY, "timed", "numbered"]
    batch = readings.select(columns).append_column("ord", pa.array(np.arange(len(readings))))
    history: dict[int, set[int]] = defaultdict(set)
    has_time, has_number = (batch[name].to_numpy() for name in ("timed", "numbered"))
    for timed, numbered in ((True, True), (False, True), (False, False)):
        rows = batch.filter(pa.array((has_time == timed) & (has_number == numbered)))
        if len(rows):
            left_out = {name for name, use in (("time", timed), ("seq", numbered)) if not use}
            _look_up(cursor, rows, [name for name in _KEY if name not in left_out], withdrawn, history)
    return history


def _look_up(
    cursor: duckdb.DuckDBPyConnection,
    rows: pa.Table,
    key: Sequence[str],
    withdrawn: Sequence[str],
    history: dict[int, set[int]],
) -> None:
    """Add the stored values under the key of each row."""
    cursor.register("batch", rows)
    try:
        asked: dict[str, object] = {}
        bounds = []
        if "time" in key:  # lets the database pass over whole stretches of history
            low, high = cursor.execute("select min(time), max(time) from batch").fetchall()[0]
            asked |= {"low": low, "high": high}
            bounds.append("old.time between $low and $high")
        if withdrawn:
            asked["withdrawn"] = list(withdrawn)
            bounds.append(f"not {_WITHDRAWN}")
        where = f" where {' and '.join(bounds)}" if bounds else ""
        found = cursor.execute(
            f"select batch.ord, old.value from batch join reading old on {_same(key)}{where}", asked
        ).fetchnumpy()
    finally:
        cursor.unregister("batch")
    rounded = np.round(np.asarray(found["value"], dtype=float) * _SAME_VALUE).astype(np.int64)
    at = np.asarray(found["ord"], dtype=np.int64)
    for row, value in zip(at.tolist(), rounded.tolist(), strict=True):
        history[row].add(value)


_WITHDRAWN = "old.receipt in (select id from receipt where list_contains($withdrawn, sha256))"


def _same(key: Sequence[str]) -> str:
    return " and ".join(f"old.{name} is not distinct from batch.{name}" for name in key)


def contradicted(
    cursor: duckdb.DuckDBPyConnection, readings: pa.Table, withdrawn: Sequence[str]
) -> list[tuple[str, int, str]]:
    """Stored readings (file hash, line, column) that have another value than one of the same key given."""
    cursor.register("batch", readings.select([*_KEY, "value"]))
    try:
        found = cursor.execute(
            "select distinct f.sha256, old.line, old.col from batch "
            f"join reading old on {_same(_KEY)} join receipt f on f.id = old.receipt "
            f"where round(old.value * $exact) <> round(batch.value * $exact) and not {_WITHDRAWN} "
            "order by all",
            {"exact": _SAME_VALUE, "withdrawn": list(withdrawn)},
        ).fetchall()
    finally:
        cursor.unregister("batch")
    return [(sha, int(line), col) for sha, line, col in found]


_JOB_KEY = ("serial", "operation", "machine", "pass", "started")
_JOB_REST = ("family", "tool", "ended", "note")


def judge_jobs(cursor: duckdb.DuckDBPyConnection, jobs: pa.Table) -> Outcome:
    """Outcome of each job. A job is told by part, operation, machine, pass and start.

    A later row of the same job may fill in what was empty (a job that had not ended): that is new.
    One that changes what was said is a contradiction.
    """
    columns = ", ".join((*_JOB_KEY, *_JOB_REST))
    cursor.register("batch", jobs.select(["serial"]))
    try:
        old = cursor.execute(
            f"select {columns} from job where serial in (select serial from batch) order by id"
        ).fetchall()
    finally:
        cursor.unregister("batch")
    known: dict[tuple, list] = {}
    split = len(_JOB_KEY)
    for row in old:
        known[row[:split]] = _filled(known.get(row[:split]), row[split:])
    outcome = []
    for row in _rows(jobs, (*_JOB_KEY, *_JOB_REST)):
        key, rest = row[:split], row[split:]
        before = known.get(key)
        if before is None:
            outcome.append(STORED)
        elif any(a is not None and b is not None and a != b for a, b in zip(before, rest, strict=True)):
            outcome.append(CONFLICT)
            continue
        else:
            outcome.append(KNOWN if _filled(before, rest) == before else STORED)
        known[key] = _filled(before, rest)
    return np.array(outcome, dtype=np.int64)


def _filled(before: Sequence | None, rest: Sequence) -> list:
    if before is None:
        return list(rest)
    return [b if a is None else a for a, b in zip(before, rest, strict=True)]


_EVENT = ("time", "target", "kind", "tool", "note", "cost", "down_hours", "who")


def judge_events(cursor: duckdb.DuckDBPyConnection, events: pa.Table) -> Outcome:
    """Outcome of each event: known when one equal in everything came in a file before."""
    columns = ", ".join(_EVENT)
    known = set(cursor.execute(f"select {columns} from event where receipt is not null").fetchall())
    outcome = []
    for row in _rows(events, _EVENT):
        outcome.append(KNOWN if row in known else STORED)
        known.add(row)
    return np.array(outcome, dtype=np.int64)


def _rows(table: pa.Table, names: Sequence[str]) -> list[tuple]:
    return list(zip(*(table[name].to_pylist() for name in names), strict=True))
