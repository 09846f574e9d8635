"""*Log*: every event, signal and human decision: who, when, why."""

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from dashboard.desk import Desk
from dashboard.markup import made, table, tag
from dashboard.pages.board import process_href
from dashboard.pages.forms import undo_form
from dashboard.words.amounts import count, moment
from ingest.answers.processes import LogEntry

KINDS = {
    "event": "Events",
    "decision": "Decisions",
    "signal": "Signals",
    "cleared": "Cleared",
    "back": "Back by themselves",
    "withdrawn": "Withdrawn",
    "file": "Files",
}
PER_PAGE = 200
UNDOABLE = ("event", "decision")


def _who(entry: LogEntry) -> Markup:
    if not entry.who:
        return Markup("")
    return tag("span", entry.who, tag("small", " unverified") if not entry.verified else None)


def _what(entry: LogEntry) -> Markup:
    title = (
        tag("a", entry.title, href=process_href(entry.process)) if entry.process else tag("b", entry.title)
    )
    source = None
    if entry.receipt is not None and entry.line is not None:
        source = tag("a", "the line", href=f"/source/{entry.receipt}/{entry.line}", class_="more")
    struck = tag("del", title) + tag("small", " undone") if entry.undone else title
    return tag("span", struck, " ", tag("span", entry.detail, class_="detail"), " ", source)


def _undo(entry: LogEntry) -> Markup:
    if entry.journal_line is None or entry.undone or entry.kind not in UNDOABLE:
        return Markup("")
    return undo_form(entry.journal_line)


def layout(desk: Desk, query: dict[str, str]) -> tuple[str, list[Any]]:
    """Title and body; ``?kind=event`` shows one kind, ``?kind=all`` files too, ``?from=200`` the next page."""
    entries = desk.log()
    kind = query.get("kind", "")
    shown = [entry for entry in entries if kind in ("all", entry.kind) or (not kind and entry.kind != "file")]
    start = int(query["from"]) if query.get("from", "").isdigit() else 0
    present = {entry.kind for entry in entries}
    filters = tag("a", "All but files", href="/log", aria_current=None if kind else "page")
    for key, name in KINDS.items():
        if key in present:
            filters += tag("a", name, href=f"/log?kind={key}", aria_current="page" if kind == key else None)
    rows = [
        (
            moment(entry.when),
            tag("span", KINDS.get(entry.kind, entry.kind), class_="kind"),
            _what(entry),
            _who(entry),
            _undo(entry),
        )
        for entry in shown[start : start + PER_PAGE]
    ]  # fmt: skip
    further = Markup("")
    if start + PER_PAGE < len(shown):
        href = f"/log?kind={kind}&from={start + PER_PAGE}"
        further = tag(
            "p", tag("a", f"Older ({count(len(shown) - start - PER_PAGE, 'more line')})", href=href)
        )
    body = (
        tag("h1", "What was done, noticed and decided?")
        + tag(
            "p",
            "Newest first. Nothing here is ever removed; an undone line stays, struck through.",
            class_="lead",
        )
        + tag("nav", filters, class_="filters", aria_label="Kinds of line")
        + table(("When", "Kind", "What", "Who", ""), rows, class_="log", empty="The log is empty.")
        + further
    )
    return "Log", [made(body, class_="page")]
