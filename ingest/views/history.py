"""What happened: the log, what does not count, where a reading came from, and the digest of it all."""

from __future__ import annotations

import hashlib
import json
from datetime import date, datetime
from typing import TYPE_CHECKING

from ingest.answers.processes import LogEntry, SignalFact, SourceRow
from ingest.assessing.assessment import event_fact
from ingest.layouts.text import read_text
from ingest.plans.calendar import Calendar
from ingest.plans.model import Plan
from ingest.problems import Complaint
from ingest.readings.known import Decision, decision_title
from ingest.state import queries
from ingest.storage.store import Store

if TYPE_CHECKING:
    from ingest.state.moment import Moment

AROUND = 3
MONITOR_WORDS = {
    "level": "moved to another level",
    "scatter": "differs more from part to part",
    "spread within part": "differs more within a part",
    "tool life": "tool in use for longer than any before",
}


class NoSuchLine(Exception):  # noqa: N818 - reads as what it is
    """A file of the archive has no such line."""


def source_row(data: bytes, receipt: int, name: str, sha256: str, line: int) -> SourceRow:
    """A line of an archived file with the lines around it, as text.

    Raises
    ------
    NoSuchLine
        The file is shorter.
    """
    text = read_text(data)
    if isinstance(text, Complaint):
        raise NoSuchLine(f"{name} cannot be shown line by line: {text.reason}")
    lines = text.lines
    if not 1 <= line <= len(lines):
        raise NoSuchLine(f"{name} has {len(lines)} lines; there is no line {line}.")
    return SourceRow(
        receipt=receipt,
        name=name,
        sha256=sha256,
        line=line,
        text=lines[line - 1],
        before=tuple(lines[max(0, line - 1 - AROUND) : line - 1]),
        after=tuple(lines[line : line + AROUND]),
    )


def log(store: Store, moment: Moment) -> list[LogEntry]:
    """Events, signals, decisions and files, newest first."""
    plan, calendar = moment.known.plan, moment.calendar
    lines = {d.line: d for d in queries.decisions(store)}
    undone = moment.known.undone
    entries = _events(store, plan, calendar, undone)
    for signal in queries.signals(store, plan.zone):
        entries += _signal(plan, calendar, signal)
    for line in lines.values():
        if line.kind != "note_event":
            entries.append(_decision(plan, calendar, line, line.line in undone))
    for receipt in queries.receipts(store, calendar):
        counted = (
            f"{receipt.stored} lines stored, {receipt.known} already known, {receipt.set_aside} set aside"
        )
        entries.append(
            LogEntry(
                receipt.known_at,
                receipt.known_at,
                None,
                False,
                "file",
                f"File {receipt.name} {receipt.status}",
                receipt.reason or counted,
                receipt=receipt.id,
            )
        )
    return sorted(entries, key=_newest, reverse=True)


def withdrawn(store: Store, plan: Plan, calendar: Calendar, most: int) -> list[LogEntry]:
    """Entries of the log for the newest so many withdrawn signals, newest first."""
    told = [
        entry
        for signal in queries.signals(store, plan.zone, status="withdrawn", most=most)
        for entry in _signal(plan, calendar, signal)
        if entry.kind == "withdrawn"
    ]
    return sorted(told, key=_newest, reverse=True)


def _newest(entry: LogEntry) -> tuple[datetime, datetime, str, str]:
    return entry.when, entry.known_at, entry.kind, entry.title


def _events(store: Store, plan: Plan, calendar: Calendar, undone: frozenset[int]) -> list[LogEntry]:
    entries = []
    for row in queries.events(store, with_known_at=True).to_dict("records"):
        fact = event_fact(plan, calendar, row)
        what = f"{fact.target}: {fact.kind_name}" + (f" ({fact.tool})" if fact.tool else "")
        entries.append(
            LogEntry(
                when=fact.time,
                known_at=calendar.local(row["known_at"].to_pydatetime()),
                who=fact.who,
                verified=fact.verified,
                kind="event",
                title=what,
                detail=fact.note or "",
                journal_line=fact.journal_line,
                receipt=fact.receipt,
                line=fact.line,
                undone=fact.journal_line in undone if fact.journal_line is not None else False,
            )
        )
    return entries


def _span(first: date, last: date) -> str:
    """Two days as people write them, one when they are the same."""
    told = [f"{day.day} {day:%b %Y}" for day in (first, last)]
    return f"on {told[0]}" if first == last else f"between {told[0]} and {told[1]}"


def _signal(plan: Plan, calendar: Calendar, signal: SignalFact) -> list[LogEntry]:
    feature = plan.features.get(signal.process.rsplit("/", 1)[-1])
    name = f"{signal.process.split('/')[0]}: {feature.name if feature else signal.process}"
    words = MONITOR_WORDS.get(signal.monitor, signal.monitor)
    entries = [
        LogEntry(
            signal.since_time,
            signal.since_time,
            None,
            False,
            "signal",
            f"{name} {words}",
            f"raised by {signal.serial}; the change began {_span(signal.change_from, signal.change_to)}",
            process=signal.process,
        )
    ]
    if signal.status in ("cleared", "back") and signal.cleared_on is not None:
        when = calendar.end_of_day(signal.cleared_on)
        after = f"cleared after {signal.cure.kind_name}" if signal.cure else "back by itself: what was done?"
        entries.append(
            LogEntry(when, when, None, False, signal.status, f"{name} {after}", process=signal.process)
        )
    if signal.status == "withdrawn":
        entries.append(
            LogEntry(
                signal.since_time,
                signal.since_time,
                None,
                False,
                "withdrawn",
                f"{name}: a signal no longer stands",
                f"withdrawn because of {signal.withdrawn_by}",
                process=signal.process,
            )
        )
    return entries


def _decision(plan: Plan, calendar: Calendar, line: Decision, undone: bool) -> LogEntry:
    title, detail = decision_title(plan, line)
    when = calendar.local(line.known_at)
    return LogEntry(
        when,
        when,
        line.who,
        line.verified,
        "decision",
        title,
        detail,
        process=line.body.get("process"),
        journal_line=line.line,
        undone=undone,
    )


def digest(store: Store) -> str:
    """Hash of readings, jobs, events, parts, signals and decisions, by content and never by number.

    First verdicts and withdrawn signals are not in it: they remember the order in which things became known.
    """
    total = hashlib.sha256()
    for table in queries.contents(store):
        lines = sorted(json.dumps([_plain(v) for v in row], ensure_ascii=True) for row in table)
        total.update(f"{len(lines)}\n".encode())
        total.update("\n".join(lines).encode())
    return total.hexdigest()


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, float):
        return value.hex()
    if isinstance(value, list):
        return [_plain(v) for v in value]
    return value
