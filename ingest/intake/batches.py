"""Taking files in: archive first, then one transaction of whole files, then the receipt.

The order is that of a promise: a receipt is given only when bytes and rows are on the disk. Whatever happens
before that, the same files can be sent again and the outcome is the same.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import groupby

import duckdb
import numpy as np
import pyarrow as pa

from ingest.intake.fixes import Fix, fixes_of
from ingest.intake.judged import REPEAT, STORED, Outcome, judge_events, judge_jobs, judge_readings
from ingest.intake.receipt import IncomingFile, Receipt, Tally
from ingest.intake.receipts import insert_table, receipts_of, store_receipts
from ingest.intake.tally import Count, SetAside, count_draft
from ingest.layouts.context import Registers
from ingest.layouts.draft import Draft, draft
from ingest.layouts.header import HeaderReader
from ingest.layouts.joined import Given, read_joined
from ingest.layouts.sheet import NoSheet, read_sheet
from ingest.layouts.table import Sheet
from ingest.layouts.times import microseconds
from ingest.plans.model import Plan
from ingest.storage.archive import Archive, Archived
from ingest.storage.journal import Journal
from ingest.storage.store import Store

__all__ = ["IncomingFile", "Receipt", "take_in"]

BATCH_BYTES = 64_000_000
"""Files of about so many bytes together make one transaction; a larger file makes one by itself."""
LATE_US = 3 * 86_400_000_000
"""Readings older than the newest by more than this are late. Three days, so that a weekend is not."""

_READING = (
    "line", "col", "role", "seq", "time", "serial", "feature", "position", "value", "raw", "raw_unit",
    "set_size", "gauge", "operator", "tool", "family", "machine", "operation", "stage", "pass", "part_temp",
    "gauge_temp", "master", "note",
)  # fmt: skip
_JOB = ("line", "serial", "family", "operation", "machine", "tool", "pass", "started", "ended", "note")
_EVENT = ("line", "time", "target", "kind", "tool", "note", "cost", "down_hours", "who")


@dataclass(frozen=True)
class Item:
    """A file to be read.

    Attributes
    ----------
    waiting : int or None
        The earlier receipt that this reading replaces.
    came_at : datetime or None
        When the file came, if it is read later than that; its rows are judged by that moment.
    believed : bool
        A person has said that its rows are right as they stand.
    """

    sha256: str
    name: str
    data: bytes
    known_at: datetime
    waiting: int | None = None
    came_at: datetime | None = None
    believed: bool = False


def take_in(
    store: Store,
    archive: Archive,
    journal: Journal,
    plan: Plan,
    files: Sequence[IncomingFile],
    known_at: datetime,
) -> list[Receipt]:
    """Take files in.

    Parameters
    ----------
    files : sequence of IncomingFile
        In the order in which they count as received.
    known_at : datetime
        When the shop came to know them; zone-less UTC or with an offset. A file that was archived before
        but never stored keeps the moment the archive noted.

    Returns
    -------
    list of Receipt
        One for each file, in the same order. Bytes taken in before give their first receipt again, with
        ``already``; a file that waits for a layout is tried once more.
    """
    known_at = zone_less(known_at)
    hashes = [hashlib.sha256(file.data).hexdigest() for file in files]
    before = receipts_of(store, set(hashes))
    items: dict[str, Item] = {}
    headers = HeaderReader(plan)
    fixes = fixes_of(journal)
    for sha, file in zip(hashes, files, strict=True):
        old = before.get(sha)
        if sha in items or (old is not None and not _can_be_read_now(old, file, headers)):
            continue
        entry = archive.entry(sha) if old is None else None
        moment = entry.known_at if entry is not None else known_at
        item = Item(sha, file.name, file.data, moment, old.id if old is not None else None)
        items[sha] = told_by(item, fixes, archive)
    first = store.high_water() + 1
    at = len(journal)
    archive.put(
        [
            (Archived(i.sha256, i.name, i.known_at, len(i.data), first + n, at), i.data)
            for n, i in enumerate(items.values())
        ]
    )
    fresh = {r.sha256: r for r in take_items(store, plan, list(items.values()), headers, journal)}
    receipts, given = [], set()
    for sha in hashes:
        if sha in fresh and sha not in given:
            receipts.append(fresh[sha])
            given.add(sha)
        else:
            receipts.append(replace(fresh.get(sha) or before[sha], already=True))
    return receipts


def told_by(item: Item, fixes: Mapping[str, Fix], archive: Archive) -> Item:
    """The same item, with what the journal says of it when a person wrote it."""
    fix = fixes.get(item.sha256)
    if fix is None:
        return item
    first = archive.entry(fix.original)
    return replace(item, believed=fix.believed, came_at=first.known_at if first else item.came_at)


def zone_less(moment: datetime) -> datetime:
    """A moment in UTC without a zone, as the store keeps it."""
    return moment if moment.tzinfo is None else moment.astimezone(UTC).replace(tzinfo=None)


def _can_be_read_now(old: Receipt, file: IncomingFile, headers: HeaderReader) -> bool:
    return old.status == "waiting" and not isinstance(
        read_sheet(0, file.name, file.data, 0, headers), NoSheet
    )


def take_items(
    store: Store, plan: Plan, items: list[Item], headers: HeaderReader, journal: Journal
) -> list[Receipt]:
    """Read files that the archive holds and store what is new, whole files to a transaction."""
    registers = Registers(plan)
    fixes = fixes_of(journal)
    receipts = []
    for batch in _batches(items):
        receipts += _take_batch(store, plan, batch, headers, registers, fixes)
    return receipts


def _batches(items: list[Item]) -> Iterator[list[Item]]:
    batch: list[Item] = []
    size = 0
    for item in items:
        if batch and size + len(item.data) > BATCH_BYTES:
            yield batch
            batch, size = [], 0
        batch.append(item)
        size += len(item.data)
    if batch:
        yield batch


def drafts_of(
    items: Sequence[Item], plan: Plan, headers: HeaderReader, registers: Registers
) -> tuple[list[Sheet | NoSheet], list[Draft]]:
    """What was read of each file, and the rows of all files of one layout together."""
    given = [Given(n, i.name, i.data, microseconds(i.came_at or i.known_at)) for n, i in enumerate(items)]
    together = read_joined(given, headers)
    read = [together.get(file.index) or read_sheet(*file, headers) for file in given]
    sheets = sorted((s for s in read if isinstance(s, Sheet)), key=_kind)
    for sheet in sheets:
        sheet.believed = items[sheet.index].believed
    drafts = [
        draft(plan.layouts[key], sorted(group, key=lambda s: s.index), plan, registers)
        for (key, _), group in groupby(sheets, key=_kind)
    ]
    return read, drafts


def _take_batch(
    store: Store,
    plan: Plan,
    items: list[Item],
    headers: HeaderReader,
    registers: Registers,
    fixes: Mapping[str, Fix],
) -> list[Receipt]:
    """Read files and store them in one transaction."""
    read, drafts = drafts_of(items, plan, headers, registers)
    trusted = {n for n, item in enumerate(items) if item.believed}
    withdrawn = sorted(sha for sha, fix in fixes.items() if fix.withdrawn)
    with store.transaction() as cursor:
        first = _next_id(cursor, "receipt")
        count = _store_rows(cursor, drafts, first, trusted, withdrawn)
        receipts = [_receipt(n, item, read[n], count, plan, first + n) for n, item in enumerate(items)]
        store_receipts(cursor, receipts)
        _store_aside(cursor, count.aside, first)
        for item, receipt in zip(items, receipts, strict=True):
            if item.waiting is not None:
                cursor.execute(
                    "update receipt set released_by = $1 where id = $2", [receipt.id, item.waiting]
                )
    store.acknowledge()
    return receipts


def _kind(sheet: Sheet) -> tuple[str, str]:
    return sheet.header.layout.key, sheet.header.separator


def _next_id(cursor: duckdb.DuckDBPyConnection, table: str) -> int:
    return int(cursor.execute(f"select coalesce(max(id), 0) + 1 from {table}").fetchall()[0][0])


def _store_rows(
    cursor: duckdb.DuckDBPyConnection,
    drafts: list[Draft],
    first: int,
    trusted: set[int],
    withdrawn: list[str],
) -> Count:
    """Store what is new of every draft; returns what became of every row."""
    total = Count()
    outcomes, late = _store_readings(cursor, drafts, first, trusted, withdrawn)
    for number, one in enumerate(drafts):
        entries = None
        if one.entries is not None:
            jobs = one.table.layout.role == "jobs"
            entries = (judge_jobs if jobs else judge_events)(cursor, one.entries)
            new = one.entries.filter(pa.array(entries == STORED))
            _insert(cursor, "job" if jobs else "event", new, _JOB if jobs else _EVENT, first)
        rows, cells, outcome = outcomes[number]
        counted = count_draft(one, rows, cells, outcome, entries)
        total.files |= counted.files
        total.aside += counted.aside
    for file, rows in late.items():
        total.files[file].warnings["late_rows"] = rows
    total.aside.sort(key=lambda a: (a.file, a.line, a.col or ""))
    return total


def _store_readings(
    cursor: duckdb.DuckDBPyConnection,
    drafts: list[Draft],
    first: int,
    trusted: set[int],
    withdrawn: list[str],
) -> tuple[dict[int, tuple[np.ndarray, np.ndarray, Outcome]], dict[int, int]]:
    """Store new readings in the order of file, line and cell.

    Returns
    -------
    outcomes : dict
        Rows, cells and outcomes by draft.
    late : dict
        Readings by file that are much older than the newest known before.
    """
    if not drafts:
        return {}, {}
    every = pa.concat_tables([d.readings if len(drafts) == 1 else _uncoded(d.readings) for d in drafts])
    owner = np.repeat(np.arange(len(drafts)), [len(d.readings) for d in drafts])
    place = [every[name].to_numpy() for name in ("cell", "line", "file")]
    if len(drafts) > 1 or not _in_order(place):
        order = np.lexsort(place)
        every, owner = _uncoded(every).take(pa.array(order)), owner[order]
    late = _late_files(cursor, every)
    outcome = judge_readings(cursor, every, trusted, withdrawn)
    wanted = (outcome == STORED) | (outcome == REPEAT)
    new = every if wanted.all() else every.filter(pa.array(wanted))
    _insert(cursor, "reading", new, _READING, first)
    rows, cells = every["row"].to_numpy(), every["cell"].to_numpy()
    outcomes = {n: (rows[owner == n], cells[owner == n], outcome[owner == n]) for n in range(len(drafts))}
    return outcomes, late


def _uncoded(readings: pa.Table) -> pa.Table:
    """The same table with every text written out: codes of several tables do not go together."""
    plain = [pa.field(f.name, pa.string()) if pa.types.is_dictionary(f.type) else f for f in readings.schema]
    return readings.cast(pa.schema(plain))


def _in_order(place: Sequence[np.ndarray]) -> bool:
    """Whether rows stand in the order of the last of some columns, within it of the one before, and so on."""
    fine = np.zeros(max(len(place[0]) - 1, 0), dtype=bool)
    equal = ~fine
    for column in reversed(place):
        step = np.diff(column)
        fine |= equal & (step > 0)
        equal &= step == 0
    return bool((fine | equal).all())


def _late_files(cursor: duckdb.DuckDBPyConnection, readings: pa.Table) -> dict[int, int]:
    """Files with readings days older than the newest that came before: charts over them change backwards."""
    newest = cursor.execute("select epoch_us(max(time)) from reading").fetchall()[0][0]
    if not len(readings):
        return {}
    files = readings["file"].to_numpy()
    times = readings["time"].cast(pa.int64()).to_numpy()
    starts = np.flatnonzero(np.r_[True, np.diff(files) != 0])
    tops = np.maximum.accumulate(np.maximum.reduceat(times, starts))
    before = np.r_[times[0] if newest is None else newest, tops[:-1]]
    before = before if newest is None else np.maximum(before, newest)
    late = times < np.repeat(before, np.diff(np.r_[starts, len(files)])) - LATE_US
    return {int(file): int(n) for file, n in zip(*np.unique(files[late], return_counts=True), strict=True)}


def _insert(
    cursor: duckdb.DuckDBPyConnection, table: str, rows: pa.Table, columns: Sequence[str], first: int
) -> None:
    """Insert rows of a batch; ids go on from the table's last, receipts from the batch's first."""
    if not len(rows):
        return
    start = _next_id(cursor, table)
    ids = pa.array(np.arange(start, start + len(rows)))
    receipts = pa.array(rows["file"].to_numpy() + first)
    ready = pa.table({"id": ids, "receipt": receipts} | {name: rows[name] for name in columns})
    insert_table(cursor, table, ready)


def _store_aside(cursor: duckdb.DuckDBPyConnection, aside: list[SetAside], first: int) -> None:
    if not aside:
        return
    start = _next_id(cursor, "set_aside")
    text = pa.string()
    rows = pa.table(
        {
            "id": pa.array(range(start, start + len(aside)), pa.int64()),
            "receipt": pa.array([first + a.file for a in aside], pa.int64()),
            "line": pa.array([a.line for a in aside], pa.int64()),
            "col": pa.array([a.col for a in aside], text),
            "text": pa.array([a.text for a in aside], text),
            "kind": pa.array([a.complaint.kind for a in aside], text),
            "reason": pa.array([a.complaint.reason for a in aside], text),
            "remedy": pa.array([a.complaint.remedy for a in aside], text),
        }
    )
    insert_table(cursor, "set_aside", rows)


def _receipt(n: int, item: Item, read: Sheet | NoSheet, count: Count, plan: Plan, number: int) -> Receipt:
    base = Receipt(
        id=number,
        sha256=item.sha256,
        name=item.name,
        bytes=len(item.data),
        known_at=item.known_at,
        layout=None,
        role=None,
        status="taken",
        lines=Tally(),
        cells=Tally(),
        reason=None,
        message=None,
        plan_sha=plan.sha256,
    )
    if isinstance(read, NoSheet):
        complaint = read.complaint
        message = f"{complaint.reason[:1].upper()}{complaint.reason[1:]} {complaint.remedy}"
        lines = Tally(total=read.lines, set_aside=read.lines)
        return replace(base, status=read.status, lines=lines, reason=complaint.kind, message=message)
    layout = read.header.layout
    done = count.files[n]
    return replace(
        base,
        layout=layout.key,
        role=layout.role,
        lines=done.lines,
        cells=done.cells,
        warnings=dict(sorted(done.warnings.items())),
    )
