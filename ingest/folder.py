"""What lies in a shop folder, and bringing the database level with archive and journal."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import groupby
from pathlib import Path

import duckdb

from ingest import intake
from ingest.archive import Archive, Archived
from ingest.durable import replace_durably
from ingest.journal import Journal, JournalLine
from ingest.plan import Plan
from ingest.plan_shelf import PlanShelf
from ingest.receipt import IncomingFile, Receipt
from ingest.store import Store

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
                receipts.extend(_try_waiting(folder, store, line.n, line.known_at))

    for (journal_line, known_at), group in groupby(missing, key=lambda e: (e.journal_line, e.known_at)):
        entries: list[Archived] = list(group)
        mirror_until(journal_line)
        plan = folder.accepted(journal_line) or folder.accepted()
        if plan is None:
            continue
        files = [IncomingFile(e.name, folder.archive.read(e.sha256)) for e in entries]
        receipts += intake.take_in(store, folder.archive, folder.journal, plan, files, known_at)
        done += len(entries)
        if progress is not None:
            progress(done, len(missing))
    mirror_until(len(lines))
    return receipts


def _try_waiting(folder: Folder, store: Store, line: int, known_at: datetime) -> list[Receipt]:
    plan = folder.accepted(line)
    return [] if plan is None else intake.retry_waiting(store, folder.archive, plan, known_at)
