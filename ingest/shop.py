"""A shop folder, opened: everything the pages and commands ask of it goes through here."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from ingest import history, intake, queries
from ingest.board import (
    BoardRow,
    LogEntry,
    PartView,
    ProcessView,
    Question,
    ReceiptFact,
    SetAsideFact,
    SourceRow,
)
from ingest.facts import concerns
from ingest.folder import Folder, catch_up, mirror
from ingest.inbox import Inbox
from ingest.known import standing
from ingest.lock import FolderLock
from ingest.moment import Moment, calendar_of
from ingest.plan import Plan
from ingest.plan_file import decode_plan, parse_plan
from ingest.receipt import IncomingFile, Receipt
from ingest.replay import replay
from ingest.saving import part_rows, save, up_to_date
from ingest.states import board_rows
from ingest.store import Store
from ingest.views import events_on, part_view, process_view

PLAN_FILE = "plan file"
"""Stands for who accepted a plan that was edited by hand in the folder."""


class ShopError(Exception):
    """Something asked of the shop cannot be done; the message says why and what to do."""


class Shop:
    """An open shop folder. Make one with `create` or `open`; close it to give the folder back.

    Safe to share between threads: reading takes a cursor for each call, writing one turn at a time.
    """

    def __init__(self, folder: Folder, store: Store, lock: FolderLock, plan: Plan) -> None:
        self.folder = folder.path
        self._folder = folder
        self._store = store
        self._lock = lock
        self._turn = threading.RLock()
        self._inbox = Inbox(folder.inbox, folder.run / "heartbeat.json")
        self._use(plan)
        self._current: Moment | None = None
        self._past: tuple[datetime, Moment] | None = None

    # -- opening and closing ---------------------------------------------------------------------------------

    @classmethod
    def create(cls, folder: Path, plan_text: str, known_at: datetime | None = None) -> Shop:
        """Make a shop in an empty or new folder and open it.

        Raises
        ------
        PlanError
            The plan is wrong.
        ShopError
            The folder already holds a shop.
        """
        plan = parse_plan(plan_text, "plan.toml")
        folder = Path(folder)
        if (folder / "journal.jsonl").exists():
            raise ShopError(f"{folder} already holds a shop: open it, or choose an empty folder.")
        folder.mkdir(parents=True, exist_ok=True)
        lock = FolderLock(folder / "run")
        lock.acquire()
        try:
            places = Folder(folder)
            store = Store.open(places.database, places.run)
            shop = cls(places, store, lock, plan)
            shop._accept(plan, PLAN_FILE, known_at)
        except BaseException:
            lock.release()
            raise
        return shop

    @classmethod
    def open(cls, folder: Path) -> Shop:
        """Open a shop: take its lock, accept a plan edited by hand, catch up with archive and journal.

        Raises
        ------
        ShopBusy
            Another process owns the folder; its number is in the message.
        PlanError
            The plan in the folder is wrong.
        ShopError
            The folder holds no shop.
        StoreLost
            The database is missing or too old: rebuild it.
        """
        return cls._start(Path(folder), again=False)

    @classmethod
    def rebuild(cls, folder: Path, progress: Callable[[int, int], None] | None = None) -> Shop:
        """Make the database again from archive, journal and plans, and open the shop.

        Raises
        ------
        ShopBusy, PlanError, ShopError
            As for `open`.
        """
        return cls._start(Path(folder), again=True, progress=progress)

    @classmethod
    def _start(cls, folder: Path, again: bool, progress: Callable[[int, int], None] | None = None) -> Shop:
        if not (folder / "plan.toml").exists():
            raise ShopError(f"{folder} holds no shop: there is no plan.toml in it. Make one with 'new'.")
        lock = FolderLock(folder / "run")
        lock.acquire()
        store = None
        try:
            places = Folder(folder)
            plan = parse_plan(decode_plan(places.plan_file.read_bytes(), "plan.toml"), "plan.toml")
            if again:
                places.drop_database()
            store = Store.open(places.database, places.run)
            shop = cls(places, store, lock, plan)
            if places.accepted() is None or places.accepted().sha256 != plan.sha256:  # type: ignore[union-attr]
                shop._accept(plan, PLAN_FILE, None)
            before = queries.latest(store)
            missed = catch_up(places, store, progress)
            if missed or not up_to_date(store, plan.sha256):
                shop._refresh(_names(missed) or "files found in the archive", before)
        except BaseException:
            if store is not None:
                store.close()
            lock.release()
            raise
        return shop

    def close(self) -> None:
        """Close the database and give the folder back."""
        with self._turn:
            self._store.close()
            self._lock.release()

    def __enter__(self) -> Shop:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def _use(self, plan: Plan) -> None:
        self.plan = plan
        self.calendar = calendar_of(plan)

    def now(self) -> datetime:
        """The shop's clock, aware and in its zone; in a demonstration it stands still."""
        if self.plan.demonstration is not None:
            return self.plan.demonstration.now.replace(tzinfo=self.plan.zone)
        return datetime.now(self.plan.zone)

    def _stamp(self, known_at: datetime | None) -> datetime:
        """A known-at moment as the store keeps it; a moment without a zone is shop time."""
        moment = known_at or self.now()
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=self.plan.zone)
        return moment.astimezone(UTC).replace(tzinfo=None)

    # -- what comes in -----------------------------------------------------------------------------------------

    def take_in(
        self, files: Sequence[Path | IncomingFile], known_at: datetime | None = None
    ) -> list[Receipt]:
        """Take files in and assess the processes they touch.

        Parameters
        ----------
        files : sequence of Path or IncomingFile
        known_at : datetime, optional
            When the shop came to know them; by default now.

        Returns
        -------
        list of Receipt
            In the order of `files`; ``already`` marks one whose bytes were known.

        Raises
        ------
        OSError
            A file cannot be read; nothing has been taken in.
        """
        return self.take_in_batches([(known_at, files)])

    def take_in_batches(
        self,
        batches: Sequence[tuple[datetime | None, Sequence[Path | IncomingFile]]],
        progress: Callable[[int, int], None] | None = None,
    ) -> list[Receipt]:
        """Take in files that became known at several moments; assess once, at the end.

        Parameters
        ----------
        batches : sequence of (known_at, files)
            Oldest first.
        progress : callable, optional
            Told files done and files in all.
        """
        with self._turn:
            before = queries.latest(self._store)
            stamped = [(self._stamp(known), [_incoming(f) for f in files]) for known, files in batches]
            receipts = self._folder.take_batches(self._store, self.plan, stamped, progress)
            self._refresh(_names(receipts), before if len(batches) > 1 else None)
            return receipts

    def scan_inbox(self) -> list[Receipt]:
        """Take in what has settled in the inbox (unchanged for two looks); files taken in leave the folder."""
        with self._turn:
            found = self._inbox.settled(datetime.now(UTC))
            if not found:
                return []
            receipts = self.take_in([file for _, file in found])
            for path, _ in found:
                self._inbox.done(path)
            return receipts

    # -- what people decide --------------------------------------------------------------------------------------

    def accept_plan(self, text: str, known_at: datetime | None = None, who: str = PLAN_FILE) -> Plan:
        """Use another plan from now on; files that waited for a layout are tried again.

        Raises
        ------
        PlanError
            The plan is wrong; the old one stays.
        """
        plan = parse_plan(text, "plan.toml")
        with self._turn:
            self._accept(plan, who, known_at)
            self._refresh("a new plan")
        return plan

    def _accept(self, plan: Plan, who: str, known_at: datetime | None) -> None:
        self._folder.keep_plan(plan)
        line = self._folder.journal.append(
            "plan_accepted", who, False, {"sha256": plan.sha256}, self._stamp(known_at)
        )
        mirror(self._store, line)
        self._use(plan)
        intake.retry_waiting(self._store, self._folder.archive, plan, line.known_at)

    def note_event(
        self,
        target: str,
        kind: str,
        happened_at: datetime,
        who: str,
        tool: str | None = None,
        note: str = "",
        known_at: datetime | None = None,
        verified: bool = False,
    ) -> int:
        """Note something done to a machine or gauge; returns its line in the journal.

        Raises
        ------
        ShopError
            Machine, gauge or kind is not in the plan, or the moment is yet to come.
        """
        if target not in self.plan.machines and target not in self.plan.gauges:
            legal = ", ".join(sorted((*self.plan.machines, *self.plan.gauges)))
            raise ShopError(f"The plan has no machine or gauge {target!r}; it has {legal}.")
        if kind not in self.plan.events:
            legal = ", ".join(sorted(self.plan.events))
            raise ShopError(f"The plan has no kind of event {kind!r}; it has {legal}.")
        when = happened_at if happened_at.tzinfo else happened_at.replace(tzinfo=self.plan.zone)
        if when > self.now():
            raise ShopError(f"{when:%Y-%m-%d %H:%M} is yet to come: note an event when it has happened.")
        body = {"target": target, "kind": kind, "happened_at": when.isoformat(), "tool": tool, "note": note}
        return self._decide("note_event", who, body, known_at, verified)

    def undo(self, journal_line: int, who: str, reason: str, known_at: datetime | None = None) -> int:
        """Take a decision back; both stay in the log.

        Raises
        ------
        ShopError
            There is no such line, it cannot be taken back, or it has been already.
        """
        lines = queries.decisions(self._store)
        target = next((d for d in lines if d.line == journal_line), None)
        if target is None or target.kind in ("undo", "plan_accepted"):
            raise ShopError(f"Line {journal_line} of the journal is not a decision that can be taken back.")
        if any(d.kind == "undo" and d.body["line"] == journal_line for d in lines):
            raise ShopError(f"Line {journal_line} of the journal has been taken back already.")
        return self._decide("undo", who, {"line": journal_line, "reason": reason}, known_at)

    def close_signal(
        self,
        process: str,
        monitor: str,
        serial: str,
        pass_no: int,
        outcome: str,
        cause: str,
        who: str,
        known_at: datetime | None = None,
        verified: bool = False,
    ) -> int:
        """Close or confirm a signal with a cause; returns the line in the journal.

        Parameters
        ----------
        outcome : str
            fixed | new level accepted | no cause found.

        Raises
        ------
        ShopError
            There is no such signal, or the outcome is not one of the three.
        """
        from spc.process import OUTCOMES

        if outcome not in OUTCOMES:
            raise ShopError(f"{outcome!r} is no outcome; choose one of {', '.join(OUTCOMES)}.")
        known = {(s.monitor, s.serial, s.pass_no) for s in self._signals_at(process, known_at)}
        if (monitor, serial, pass_no) not in known:
            raise ShopError(f"{process} has no signal of {monitor} raised by {serial}, pass {pass_no}.")
        body = {
            "process": process, "monitor": monitor, "serial": serial, "pass": pass_no,
            "outcome": outcome, "cause": cause,
        }  # fmt: skip
        return self._decide("close_signal", who, body, known_at, verified)

    def _signals_at(self, process: str, known_at: datetime | None) -> list[Any]:
        if known_at is None:
            return queries.signals(self._store, self.plan.zone, process)
        moment = self._moment(known_at if known_at.tzinfo else known_at.replace(tzinfo=self.plan.zone))
        return list(moment.assessed(process).state.signals) if process in moment.processes else []

    def set_part_aside(
        self,
        process: str | None,
        serial: str,
        pass_no: int,
        reason: str,
        who: str,
        known_at: datetime | None = None,
        verified: bool = False,
    ) -> int:
        """Leave a part out of what a process (None: any) is learned from; it stays visible."""
        if not reason.strip():
            raise ShopError("Say why the part is set aside.")
        body = {"process": process, "serial": serial, "pass": pass_no, "reason": reason}
        return self._decide("set_part_aside", who, body, known_at, verified)

    def restore_part(
        self,
        process: str | None,
        serial: str,
        pass_no: int,
        reason: str,
        who: str,
        known_at: datetime | None = None,
        verified: bool = False,
    ) -> int:
        """Count a part again that had been set aside."""
        body = {"process": process, "serial": serial, "pass": pass_no, "reason": reason}
        return self._decide("restore_part", who, body, known_at, verified)

    def judge_row(
        self,
        receipt: int,
        line: int,
        col: str | None,
        use: bool,
        reason: str,
        who: str,
        known_at: datetime | None = None,
    ) -> int:
        """Release a doubted reading, or reject one; `col` None means the whole line."""
        names = queries.receipt_names(self._store)
        if receipt not in names:
            raise ShopError(f"There is no receipt {receipt}.")
        body = {"sha256": names[receipt][1], "line": line, "col": col, "reason": reason}
        return self._decide("release_row" if use else "reject_row", who, body, known_at)

    def _decide(
        self, kind: str, who: str, body: dict[str, Any], known_at: datetime | None, verified: bool = False
    ) -> int:
        with self._turn:
            line = self._folder.journal.append(kind, who, verified, body, self._stamp(known_at))
            mirror(self._store, line)
            self._store.acknowledge()
            self._refresh(f"line {line.n} of the journal ({kind.replace('_', ' ')} by {who})")
            return line.n

    def _refresh(self, cause: str, since: datetime | None = None) -> None:
        """Assess what has changed, after anything came in or was decided.

        With `since`, facts of several moments have come in at once since then: what was late among them is
        gone through again moment by moment.
        """
        moment = Moment(queries.known(self._store, self._folder.shelf))
        self._current, self._past = moment, None
        if since is not None:
            replay(self._store, self._folder.shelf, moment, since)
        save(self._store, moment, self._stamp(None), cause)

    # -- what is asked -------------------------------------------------------------------------------------------

    def _now_moment(self) -> Moment:
        with self._turn:
            if self._current is None:
                self._current = Moment(queries.known(self._store, self._folder.shelf))
            return self._current

    def _moment(self, cut: datetime) -> Moment:
        with self._turn:
            if queries.latest(self._store) <= queries.cut_of(cut):
                return self._now_moment()
            if self._past is None or self._past[0] != cut:
                self._past = (cut, Moment(queries.known(self._store, self._folder.shelf, cut)))
            return self._past[1]

    def _cut(self, as_of: date) -> datetime:
        if isinstance(as_of, datetime):
            return as_of if as_of.tzinfo else as_of.replace(tzinfo=self.plan.zone)
        return self.calendar.end_of_day(as_of)

    def board(self, as_of: date | None = None) -> list[BoardRow]:
        """Every process, worst first.

        Parameters
        ----------
        as_of : date, optional
            Show what was known at the end of that day (or at that moment, for a datetime), with the clock of
            then; by default what is known now, from stored assessments.
        """
        if as_of is None:
            return board_rows(
                self.plan, self.calendar, queries.states(self._store, self.plan.zone), self.now()
            )
        cut = self._cut(as_of)
        with self._turn:
            moment = self._moment(cut)
            return board_rows(moment.known.plan, moment.calendar, moment.states(), min(cut, self.now()))

    def process(self, process: str, as_of: date | None = None) -> ProcessView | None:
        """The page of one process; None when there is no such process."""
        row = next((r for r in self.board(as_of) if r.process == process), None)
        if row is None:
            return None
        if as_of is not None:
            with self._turn:
                moment = self._moment(self._cut(as_of))
                done = moment.assessed(process)
                parts = part_rows(done, moment.resolved.families)
                events = events_on(moment.known.plan, moment.calendar, done.facts.events)
            return process_view(
                moment.known.plan, moment.calendar, row, done.state, parts, done.state.signals, events
            )
        state = queries.state(self._store, process, self.plan.zone)
        if state is None:
            return None
        feature = self.plan.features[state.feature]
        table = queries.events(self._store)
        _, undone = standing(queries.decisions(self._store))
        table = table[~table["journal_line"].isin(list(undone))]
        mine = table[
            (table["target"] == state.machine)
            & table["kind"].isin([k for k, e in self.plan.events.items() if concerns(feature, e.features)])
        ]
        return process_view(
            self.plan, self.calendar, row, state, queries.parts(self._store, process),
            queries.signals(self._store, self.plan.zone, process), events_on(self.plan, self.calendar, mine),
        )  # fmt: skip

    def part(self, serial: str) -> PartView | None:
        """Everything known of one part; None when nobody has heard of the serial."""
        return part_view(self._now_moment(), serial)

    def source(self, receipt: int, line: int) -> SourceRow:
        """A line of a file in the archive, with the lines around it.

        Raises
        ------
        ShopError
            There is no such file or line.
        """
        names = queries.receipt_names(self._store)
        if receipt not in names:
            raise ShopError(f"There is no receipt {receipt}.")
        name, sha = names[receipt]
        try:
            return history.source_row(self._folder.archive.read(sha), receipt, name, sha, line)
        except history.NoSuchLine as error:
            raise ShopError(str(error)) from None

    def receipts(self) -> list[ReceiptFact]:
        """Every file received, newest first, with the readings of it that do not count for now."""
        held = self._now_moment().resolved.held()["receipt"].value_counts()
        return [replace(r, held=int(held.get(r.id, 0))) for r in queries.receipts(self._store, self.calendar)]

    def set_aside_rows(self, receipt: int | None = None) -> list[SetAsideFact]:
        """Every row or cell that does not count, why, and what to do about it; newest file first."""
        return history.set_aside_facts(self._store, self._now_moment(), receipt)

    def questions(self) -> tuple[Question, ...]:
        """Oddities that stopped nothing, for a person to look at."""
        return self._now_moment().resolved.questions

    def log(self) -> list[LogEntry]:
        """Every event, signal, decision and file, newest first."""
        return history.log(self._store, self._now_moment())

    def capability(
        self, process: str, family: str, since: date | None = None, until: date | None = None
    ) -> Any:
        """Capability of one family on one process from the parts of some days (see `ingest.ability`)."""
        from ingest.ability import capability

        return capability(self._now_moment(), process, family, since, until)

    def digest(self) -> str:
        """Hash of readings, assessments, signals and decisions: equal for equal shops, whatever their ids."""
        return history.digest(self._store)


def _incoming(file: Path | IncomingFile) -> IncomingFile:
    return file if isinstance(file, IncomingFile) else IncomingFile(Path(file).name, Path(file).read_bytes())


def _names(receipts: Sequence[Receipt]) -> str:
    names = [r.name for r in receipts if not r.already]
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
