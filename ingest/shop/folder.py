"""What lies in a shop folder, and bringing the database level with archive and journal."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import groupby
from pathlib import Path

import duckdb

from ingest.intake import again as intake_again
from ingest.intake import batches as intake
from ingest.intake.fixes import fix_bytes, fix_name
from ingest.intake.receipt import IncomingFile, Receipt
from ingest.plans.model import Plan
from ingest.storage.archive import Archive, Archived
from ingest.storage.durable import replace_durably
from ingest.storage.journal import Journal, JournalLine
from ingest.storage.plan_shelf import PlanShelf
from ingest.storage.store import Store

TOGETHER = 250
"""Files of several moments that make one transaction."""
DATABASE = "tenthwise.duckdb"
PLAN = "plan.toml"


@dataclass
class Folder:
    """Places of a shop folder.

    Parameters
    ----------
    path : Path
        The folder itself.
    """

    path: Path
    archive: Archive = field(init=False)
    shelf: PlanShelf = field(init=False)
    journal: Journal = field(init=False)

    def __post_init__(self) -> None:
        self.inbox.mkdir(parents=True, exist_ok=True)
        self.archive = Archive(self.path / "archive")
        self.shelf = PlanShelf(self.path / "archive" / "plans")
        self.journal = Journal(self.path / "journal.jsonl")

    @property
    def inbox(self) -> Path:
        """Where people and gauges drop files."""
        return self.path / "inbox"

    @property
    def run(self) -> Path:
        """Lock, heartbeat and marks: not part of the shop's records."""
        return self.path / "run"

    @property
    def plan_file(self) -> Path:
        """The plan that people edit."""
        return self.path / PLAN

    @property
    def database(self) -> Path:
        """The derived store."""
        return self.path / DATABASE

    def accepted(self, lines: int | None = None) -> Plan | None:
        """Plan accepted last among the first `lines` lines of the journal (all by default); None if none was."""
        for line in reversed(self.journal.lines()[:lines]):
            if line.kind == "plan_accepted":
                return self.shelf.plan(str(line.body["sha256"]))
        return None

    def keep_plan(self, plan: Plan) -> None:
        """Shelve a plan and make it the one in the folder."""
        self.shelf.keep(plan)
        if not self.plan_file.exists() or self.plan_file.read_bytes() != plan.text.encode():
            replace_durably(self.plan_file, plan.text.encode())

    def take_batches(
        self,
        store: Store,
        plan: Plan,
        batches: Sequence[tuple[datetime, Sequence[IncomingFile]]],
        progress: Callable[[int, int], None] | None = None,
    ) -> list[Receipt]:
        """Take in files that became known at several moments, many files to a transaction.

        Parameters
        ----------
        batches : sequence of (known_at, files)
            Oldest first; zone-less UTC. Each file is archived with its own moment before any is stored.
        progress : callable, optional
            Told files done and files in all.
        """
        if len(batches) == 1:
            known_at, files = batches[0]
            return intake.take_in(store, self.archive, self.journal, plan, files, known_at)
        every = [(known_at, file) for known_at, files in batches for file in files]
        receipts: list[Receipt] = []
        for start in range(0, len(every), TOGETHER):
            chunk = every[start : start + TOGETHER]
            first, lines = store.high_water() + 1, len(self.journal)
            entries = [
                (
                    Archived(hashlib.sha256(f.data).hexdigest(), f.name, k, len(f.data), first + n, lines),
                    f.data,
                )
                for n, (k, f) in enumerate(chunk)
            ]
            self.archive.put(entries)
            files = [file for _, file in chunk]
            receipts += intake.take_in(store, self.archive, self.journal, plan, files, chunk[-1][0])
            if progress is not None:
                progress(len(receipts), len(every))
        return receipts

    def drop_database(self) -> None:
        """Remove the database and what marks how far it had come."""
        for name in (DATABASE, f"{DATABASE}.wal", f".{DATABASE}.new"):
            (self.path / name).unlink(missing_ok=True)
        (self.run / "high_water.json").unlink(missing_ok=True)


def mirror(store: Store, line: JournalLine) -> None:
    """Write a line of the journal into the store; a line already there is left alone."""
    with store.transaction() as cursor:
        if cursor.execute("select 1 from decision where line = $1", [line.n]).fetchone():
            return
        cursor.execute(
            "insert into decision values ($1, $2, $3, $4, $5, $6)",
            [
                line.n,
                line.known_at,
                line.who,
                line.verified,
                line.kind,
                json.dumps(line.body, sort_keys=True),
            ],
        )
        if line.kind == "note_event":
            _note(cursor, line)


def _note(cursor: duckdb.DuckDBPyConnection, line: JournalLine) -> None:
    body = line.body
    happened = datetime.fromisoformat(body["happened_at"]).astimezone(UTC).replace(tzinfo=None)
    row = cursor.execute("select coalesce(max(id), 0) + 1 from event").fetchone()
    cursor.execute(
        "insert into event (id, journal_line, time, target, kind, tool, note, who, verified) "
        "values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        [
            row[0] if row else 1, line.n, happened, body["target"], body["kind"], body.get("tool"),
            body.get("note") or None, line.who, line.verified,
        ],
    )  # fmt: skip


def catch_up(
    folder: Folder, store: Store, progress: Callable[[int, int], None] | None = None
) -> list[Receipt]:
    """Take into the store whatever archive and journal hold and it does not, in the order it came.

    Used after a crash, when little is missing, and for a rebuild, when everything is.

    Parameters
    ----------
    folder : Folder
    store : Store
    progress : callable, optional
        Told files done and files in all.

    Returns
    -------
    list of Receipt
        Of the files taken in.
    """
    _write_fixes(folder, store)
    with store.cursor() as cursor:
        mirrored = {row[0] for row in cursor.execute("select line from decision").fetchall()}
        stored = {row[0] for row in cursor.execute("select distinct sha256 from receipt").fetchall()}
    missing = [entry for entry in folder.archive.history() if entry.sha256 not in stored]
    lines = folder.journal.lines()
    done, at, receipts = 0, 0, []

    def decide(until: int) -> Iterator[JournalLine]:
        nonlocal at
        while at < min(until, len(lines)):
            at += 1
            if lines[at - 1].n not in mirrored:
                yield lines[at - 1]

    def mirror_until(until: int) -> None:
        for line in decide(until):
            mirror(store, line)
            if line.kind == "plan_accepted":
                receipts.extend(_try_again(folder, store, line.n, line.known_at))

    for journal_line, group in groupby(missing, key=lambda e: e.journal_line):
        entries: list[Archived] = list(group)
        mirror_until(journal_line)
        plan = folder.accepted(journal_line) or folder.accepted()
        for start in range(0, len(entries), TOGETHER):
            chunk = entries[start : start + TOGETHER]
            files = [IncomingFile(e.name, folder.archive.read(e.sha256)) for e in chunk]
            if plan is not None:
                receipts += intake.take_in(
                    store, folder.archive, folder.journal, plan, files, chunk[-1].known_at
                )
            done += len(chunk)
            if progress is not None:
                progress(done, len(missing))
    mirror_until(len(lines))
    return receipts


def _write_fixes(folder: Folder, store: Store) -> None:
    """Archive what people wrote and a crash kept from being archived; the journal holds all of it."""
    for line in folder.journal.lines():
        if line.kind != "fix_rows" or folder.archive.holds(str(line.body["file"])):
            continue
        data = fix_bytes(folder.archive.read(str(line.body["sha256"])), line.body, line.n)
        sha = hashlib.sha256(data).hexdigest()
        order = store.high_water() + 1
        entry = Archived(sha, fix_name(line), line.known_at, len(data), order, line.n)
        folder.archive.put([(entry, data)])


def _try_again(folder: Folder, store: Store, line: int, known_at: datetime) -> list[Receipt]:
    plan = folder.accepted(line)
    if plan is None:
        return []
    return intake_again.retry(store, folder.archive, folder.journal, plan, known_at)
