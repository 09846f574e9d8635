"""Files read once more under a new plan: those that waited for a layout, and those with rows it may know now."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from ingest.intake.batches import Item, drafts_of, take_items, told_by, zone_less
from ingest.intake.fixes import fixes_of
from ingest.intake.receipt import Receipt
from ingest.intake.tally import faulty_cells
from ingest.layouts.context import Registers
from ingest.layouts.header import HeaderReader
from ingest.layouts.sheet import NoSheet, read_sheet
from ingest.plans.model import Plan
from ingest.storage.archive import Archive
from ingest.storage.journal import Journal
from ingest.storage.store import Store

OF_THE_PLAN = (
    "unknown_gauge", "unknown_machine", "unknown_family", "unknown_operation", "unknown_master",
    "unknown_feature", "unknown_position", "unknown_stage", "unknown_event", "serial_format",
    "unit_missing", "unit_unknown", "unit_conflict", "bad_timestamp", "scale_suspect",
)  # fmt: skip
"""Reasons that another plan can do away with."""
TOGETHER = 200
"""Files looked at together."""


def retry(store: Store, archive: Archive, journal: Journal, plan: Plan, known_at: datetime) -> list[Receipt]:
    """Read again, under a plan just accepted, whatever that plan may have an answer for.

    Parameters
    ----------
    known_at : datetime
        When the plan was accepted: only then the shop knew what the files say.

    Returns
    -------
    list of Receipt
        New receipts of the files that could be read, or of which more rows could be stored than before; the
        earlier receipts name them in ``released_by``.
    """
    headers = HeaderReader(plan)
    moment = zone_less(known_at)
    items = _waiting(store, archive, headers, moment)
    items += _with_news(store, archive, journal, plan, headers, moment)
    return take_items(store, plan, items, headers, journal)


def _waiting(store: Store, archive: Archive, headers: HeaderReader, known_at: datetime) -> list[Item]:
    with store.cursor() as cursor:
        waiting = cursor.execute(
            "select id, sha256, name from receipt where status = 'waiting' and released_by is null order by id"
        ).fetchall()
    items = []
    for number, sha, name in waiting:
        data = archive.read(sha)
        if not isinstance(read_sheet(0, name, data, 0, headers), NoSheet):
            items.append(Item(sha, name, data, known_at, number))
    return items


def _with_news(
    store: Store,
    archive: Archive,
    journal: Journal,
    plan: Plan,
    headers: HeaderReader,
    known_at: datetime,
) -> Iterator[Item]:
    """Files of which a row that was set aside would be stored now."""
    with store.cursor() as cursor:
        rows = cursor.execute(
            "select r.id, r.sha256, r.name, r.known_at, s.line, s.col from receipt r "
            "join set_aside s on s.receipt = r.id "
            "where r.released_by is null and list_contains($1, s.kind) order by r.id, s.line",
            [list(OF_THE_PLAN)],
        ).fetchall()
    held: dict[int, set[tuple[int, str | None]]] = {}
    files: dict[int, tuple[str, str, datetime]] = {}
    for number, sha, name, first, line, col in rows:
        held.setdefault(number, set()).add((line, col))
        files[number] = (sha, name, first)
    registers = Registers(plan)
    fixes = fixes_of(journal)
    numbers = list(held)
    for start in range(0, len(numbers), TOGETHER):
        chunk = numbers[start : start + TOGETHER]
        items = [
            told_by(Item(sha, name, archive.read(sha), known_at, number, first), fixes, archive)
            for number, (sha, name, first) in ((number, files[number]) for number in chunk)
        ]
        _, drafts = drafts_of(items, plan, headers, registers)
        still: dict[int, set[tuple[int, str | None]]] = {}
        for one in drafts:
            for file, line, col in faulty_cells(one):
                still.setdefault(file, set()).add((line, col))
        read = {sheet.index for one in drafts for sheet in one.table.sheets}
        yield from (
            item for n, item in enumerate(items) if n in read and held[chunk[n]] - still.get(n, set())
        )
