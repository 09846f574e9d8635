"""Every question the program asks the store. One cursor a call: a shared one would mix up threads' answers."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pyarrow as pa

from ingest.answers.processes import ReceiptFact, SignalFact
from ingest.assessing.assessment import ProcessState
from ingest.plans.calendar import Calendar
from ingest.readings.known import Decision, Known, decision, standing
from ingest.state.records import signal_from, state_from
from ingest.storage.plan_shelf import PlanShelf
from ingest.storage.store import Store

if TYPE_CHECKING:
    import pandas as pd

FOREVER = datetime(9999, 1, 1)  # noqa: DTZ001 - the store keeps UTC without a zone


def cut_of(moment: datetime | None) -> datetime:
    """A known-at cut as the store keeps times; None stands for everything."""
    return FOREVER if moment is None else moment.astimezone(UTC).replace(tzinfo=None)


def latest(store: Store) -> datetime:
    """Moment at which the newest fact became known, as the store keeps times."""
    with store.cursor() as cursor:
        row = cursor.execute(
            "select max(known_at) from (select known_at from receipt union all select known_at from decision)"
        ).fetchone()
    return row[0] if row and row[0] is not None else datetime.min  # noqa: DTZ901 - no zone in the store


def decisions(store: Store, until: datetime | None = None) -> list[Decision]:
    """Lines of the journal known by a moment, oldest first, taken-back ones included."""
    with store.cursor() as cursor:
        rows = cursor.execute(
            "select line, known_at, who, verified, kind, body from decision where known_at <= $1 order by line",
            [cut_of(until)],
        ).fetchall()
    return [decision(*row) for row in rows]


def known(store: Store, shelf: PlanShelf, until: datetime | None = None) -> Known:
    """Everything known by a moment.

    Parameters
    ----------
    store : Store
    shelf : PlanShelf
    until : datetime, optional
        Aware; by default everything there is.
    """
    cut = cut_of(until)
    lines = decisions(store, until)
    standing_lines, undone = standing(lines)
    with store.cursor() as cursor:
        readings = _frame(
            cursor.sql(
                "select r.*, f.sha256 as sha, f.layout from reading r join receipt f on f.id = r.receipt "
                "where f.known_at <= $1 order by r.id",
                params=[cut],
            ).to_arrow_table()
        )
        jobs = cursor.execute(
            "select j.*, f.sha256 as sha from job j join receipt f on f.id = j.receipt "
            "where f.known_at <= $1 order by j.id",
            [cut],
        ).df()
        first = cursor.execute(
            "select body from decision where kind = 'plan_accepted' order by line limit 1"
        ).fetchone()
    told = events(store, until)
    told = told[~told["journal_line"].isin(list(undone))].reset_index(drop=True)
    accepted = [d for d in lines if d.kind == "plan_accepted"]
    body = accepted[-1].body if accepted else decision(0, cut, "", False, "plan_accepted", first[0]).body  # type: ignore[index]
    return Known(shelf.plan(str(body["sha256"])), readings, jobs, told, standing_lines, undone)


def _frame(table: pa.Table) -> pd.DataFrame:
    """An answer as a frame, by way of columns: no text becomes an object of its own on the way.

    Whole numbers some of which are missing stay whole numbers.
    """
    import pandas as pd

    frame = table.to_pandas()
    for name in table.column_names:
        if pa.types.is_integer(table[name].type) and table[name].null_count:
            kind = pd.Int32Dtype() if pa.types.is_int32(table[name].type) else pd.Int64Dtype()
            frame[name] = kind.__from_arrow__(table[name])  # type: ignore[attr-defined]
    return frame


def events(store: Store, until: datetime | None = None, with_known_at: bool = False) -> pd.DataFrame:
    """Events known by a moment, in order of happening; those taken back are among them."""
    with store.cursor() as cursor:
        table = cursor.execute(
            "select e.*, coalesce(f.known_at, d.known_at) as known_at from event e "
            "left join receipt f on f.id = e.receipt left join decision d on d.line = e.journal_line "
            "where coalesce(f.known_at, d.known_at) <= $1 "
            "order by e.time, e.target, e.kind, e.tool, e.note, e.journal_line",
            [cut_of(until)],
        ).df()
    return table if with_known_at else table.drop(columns="known_at")


def contents(store: Store) -> list[list[tuple[Any, ...]]]:
    """Rows that make up the shop, without anything that depends on the order of arrival."""
    with store.cursor() as cursor:
        return [
            cursor.execute(
                "select f.sha256, r.line, r.col, r.role, r.time, r.serial, r.feature, r.position, r.value, r.raw "
                "from reading r join receipt f on f.id = r.receipt"
            ).fetchall(),
            cursor.execute(
                "select serial, family, operation, machine, tool, pass, started, ended, note from job"
            ).fetchall(),
            cursor.execute(
                "select time, target, kind, tool, note, cost, down_hours, who, verified from event"
            ).fetchall(),
            cursor.execute(
                "select process, serial, pass, time, family, n, mean, within_ss, expected, expected_se, score, "
                "verdict, spread, tool, wear, aside from part"
            ).fetchall(),
            cursor.execute(
                "select process, monitor, stratum, serial, pass, status, since from signal "
                "where status <> 'withdrawn'"
            ).fetchall(),
            cursor.execute("select line, known_at, who, verified, kind, body from decision").fetchall(),
        ]


def fingerprints(store: Store) -> dict[str, str]:
    """Hash of the facts that each stored assessment rests on."""
    with store.cursor() as cursor:
        return dict(cursor.execute("select process, fingerprint from process_state").fetchall())


def states(store: Store, zone: ZoneInfo) -> dict[str, ProcessState]:
    """Stored state of every process; of its signals, those that no person has closed."""
    with store.cursor() as cursor:
        rows = cursor.execute("select process, state from process_state order by process").fetchall()
    return {process: state_from(text, zone) for process, text in rows}


def state(store: Store, process: str, zone: ZoneInfo) -> ProcessState | None:
    """Stored state of one process, as `states` gives it; None when there is no such process."""
    with store.cursor() as cursor:
        row = cursor.execute("select state from process_state where process = $1", [process]).fetchone()
    return state_from(row[0], zone) if row else None


def parts(store: Store, process: str) -> dict[str, list[Any]]:
    """Stored parts of a process in order of machining, with the first verdict on each, by column."""
    with store.cursor() as cursor:
        cursor.execute(
            "select p.*, f.verdict as first_verdict from part p "
            "left join first_verdict f on f.process = p.process and f.serial = p.serial and f.pass = p.pass "
            "where p.process = $1 order by p.idx",
            [process],
        )
        names = [column[0] for column in cursor.description or ()]
        rows = cursor.fetchall()
    table = {name: [row[i] for row in rows] for i, name in enumerate(names)}
    for name in ("mean", "expected", "expected_se", "score", "wear"):
        table[name] = _with_gaps(table[name])
    for name in ("spread", "statistic", "statistic_limit"):
        table[name] = [_with_gaps(entry) for entry in table[name]]
    return table


def _with_gaps(values: Sequence[float | None]) -> list[float]:
    """The store has nulls where the assessment has NaN."""
    return [math.nan if value is None else value for value in values]


def signals(
    store: Store,
    zone: ZoneInfo,
    process: str | None = None,
    *,
    status: str | None = None,
    most: int | None = None,
) -> list[SignalFact]:
    """Stored signals, withdrawn ones too, newest first; of one process, of one status, so many at most."""
    with store.cursor() as cursor:
        rows = cursor.execute(
            "select facts from signal where ($1 is null or process = $1) and ($2 is null or status = $2) "
            "order by since desc, process, monitor, stratum limit $3",
            [process, status, most],
        ).fetchall()
    return [signal_from(row[0], zone) for row in rows]


def receipts(store: Store, calendar: Calendar) -> list[ReceiptFact]:
    """Every file received, newest first."""
    with store.cursor() as cursor:
        table = cursor.execute("select * from receipt order by id desc").df()
    return [_receipt(row, calendar) for row in table.to_dict("records")]


def _receipt(row: Mapping[Any, Any], calendar: Calendar) -> ReceiptFact:
    def text(key: str) -> str | None:
        return row[key] if isinstance(row[key], str) else None

    return ReceiptFact(
        id=int(row["id"]),
        name=row["name"],
        sha256=row["sha256"],
        known_at=calendar.local(row["known_at"].to_pydatetime()),
        bytes=int(row["bytes"]),
        layout=text("layout"),
        role=text("role"),
        status=row["status"],
        lines=int(row["lines"]),
        stored=int(row["stored"]),
        partly=int(row["partly"]),
        known=int(row["known"]),
        set_aside=int(row["set_aside"]),
        blank=int(row["blank"]),
        reason=text("message") or text("reason"),
        warnings=_warnings(row["warnings"]),
    )


def _warnings(text: str) -> tuple[str, ...]:
    found = json.loads(text) if text else {}
    return tuple(f"{kind}: {count}" for kind, count in sorted(found.items()))


def receipt_names(store: Store) -> dict[int, tuple[str, str]]:
    """Name and hash of every receipt by its number."""
    with store.cursor() as cursor:
        rows = cursor.execute("select id, name, sha256 from receipt").fetchall()
    return {int(i): (name, sha) for i, name, sha in rows}


def files_known(store: Store) -> dict[int, tuple[datetime, str]]:
    """When each receipt became known (zone-less UTC) and the name of its file."""
    with store.cursor() as cursor:
        rows = cursor.execute("select id, known_at, name from receipt order by id").fetchall()
    return {int(i): (known_at, name) for i, known_at, name in rows}
