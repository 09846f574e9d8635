"""*Intake*: what came in, how it adds up, what was set aside and why, what waits."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from dash import Dash, Input, Output, dcc
from markupsafe import Markup

from dashboard.desk import Desk
from dashboard.markup import join, made, table, tag
from dashboard.pages.forms import (
    answer_form,
    correct_form,
    every_row_form,
    fix_form,
    judge_form,
    whole_file_form,
)
from dashboard.security import BODY_LIMIT
from dashboard.words.amounts import age, count, moment
from ingest.answers.processes import ReceiptFact, SetAsideFact
from ingest.assessing.reasons import WAITING
from ingest.intake.inbox import LargeFile
from ingest.shop.rows import SETTLED_BY_WORD

REFRESH_MS = 10_000
FILES = 20
ROWS = 80
STALE_S = 60.0


def _heartbeat(desk: Desk) -> Markup:
    beat: datetime | None = desk.looked
    if beat is None:
        return tag("p", "The inbox has not been looked at yet.", class_="beat stale")
    seconds = (datetime.now(beat.tzinfo) - beat).total_seconds()
    state = "beat stale" if seconds > STALE_S else "beat"
    when = "just now" if seconds < 10 else f"{seconds:.0f} seconds ago"
    late = ": the watcher has stopped, restart the service" if seconds > STALE_S else ""
    told = [tag("p", f"The inbox was last looked at {when}{late}.", class_=state)]
    inbox = desk.shop.inbox
    if inbox.trouble:
        told.append(tag("p", inbox.trouble, class_="beat stale"))
    for names, what in (
        (inbox.growing, "still being written; taken in when it stands still"),
        (inbox.locked, "cannot be read now, another program may have it open; tried again"),
        (
            inbox.staying,
            "taken in, but it cannot be removed from the inbox: it may be open or write-protected",
        ),
    ):
        if names:
            more = f" and {len(names) - 5} more" if len(names) > 5 else ""
            told.append(tag("p", f"{', '.join(names[:5])}{more}: {what}.", class_="hint"))
    told += [_large(file) for file in inbox.large]
    return join(told)


def _large(file: LargeFile) -> Markup:
    """How far a large file has come, or what keeps it."""
    if file.trouble:
        return tag("p", file.trouble, class_="beat stale")
    far = f"{file.done / 1e6:,.0f} of {file.total / 1e6:,.0f} MB are in"
    return tag(
        "p",
        tag("progress", value=str(file.done), max=str(file.total), aria_label=f"{file.name}: {far}"),
        f" {file.name} is large and comes in part by part: {far}. To stop it, take it out of the inbox: what is in "
        "stays, and it goes on from there when it is put back.",
        class_="hint",
    )


def _drop(desk: Desk) -> Markup:
    return tag(
        "form",
        tag("label", tag("b", "Drop files here"), tag("span", " or choose them"), for_="files"),
        tag("input", type="file", id="files", name="file", multiple=True, accept=".csv,.txt,text/csv"),
        tag(
            "small",
            f"Up to {BODY_LIMIT // 2**20} MB at once. Or put them into {Path(desk.shop.folder).resolve() / 'inbox'}.",
        ),
        class_="drop",
        data_upload="/do/take_in",
    )


def _balance(receipt: ReceiptFact) -> str:
    total = receipt.stored + receipt.partly + receipt.known + receipt.set_aside + receipt.blank
    return f"= {receipt.lines:,}" if total == receipt.lines else f"does not add up: {receipt.lines:,}"


def _files(receipts: list[ReceiptFact], now: datetime) -> Markup:
    rows = [
        (
            tag("span", tag("b", r.name), tag("small", f" {r.layout or r.status}"), title=r.sha256),
            tag("span", age(r.known_at, now), title=moment(r.known_at)),
            f"{r.stored:,}",
            f"{r.partly:,}" if r.partly else "",
            f"{r.known:,}" if r.known else "",
            tag("a", f"{r.set_aside:,}", href=f"/intake?receipt={r.id}") if r.set_aside else "",
            f"{r.blank:,}" if r.blank else "",
            _balance(r),
            join(tag("div", text) for text in ((r.reason,) if r.reason else ()) + r.warnings),
        )
        for r in receipts
    ]
    head = ("File", "Came", "Stored", "Partly", "Known", "Set aside", "Blank", "Lines", "Remarks")
    return table(head, rows, class_="files", empty="No file yet: drop the first one above.")


def _judged(desk: Desk, row: SetAsideFact) -> Markup | None:
    """What a person can do about a row; one that was rejected is taken back in the log."""
    if row.kind == "rejected":
        return None
    plan = desk.shop.plan
    if row.stored:
        forms = [
            judge_form(plan, row, usable=row.kind not in WAITING),
            correct_form(plan, row.receipt, row.line, row.col),
        ]
    else:
        forms = [fix_form(plan, row), judge_form(plan, row, usable=row.kind in SETTLED_BY_WORD)]
    return tag("details", tag("summary", "Decide"), forms)


def _whole_file(desk: Desk, receipt: int, kind: str | None, rows: list[SetAsideFact]) -> Markup:
    """Decisions on everything of a file at once."""
    plan = desk.shop.plan
    open_rows = [row for row in rows if row.kind != "rejected"]
    forms = [correct_form(plan, receipt, None, None), every_row_form(plan, receipt)]
    if open_rows:
        forms.insert(0, whole_file_form(plan, receipt, kind, len(open_rows)))
    return tag("details", tag("summary", "Decide for the whole file"), forms)


def _questions(desk: Desk, receipt: int | None = None) -> list[Markup]:
    """What looks odd and nobody has decided on, of all files or of one."""
    asked = [q for q in desk.shop.questions() if receipt in (None, q.receipt)]
    items = [
        tag(
            "li",
            question.text,
            tag("a", " See the line", href=f"/source/{question.receipt}/{question.line}")
            if question.receipt is not None and question.line is not None
            else None,
            tag("details", tag("summary", "Decide"), answer_form(desk.shop.plan, question))
            if question.receipt is not None and question.line is not None
            else None,
        )
        for question in asked[:ROWS]
    ]
    return [tag("h2", "What looks odd?"), tag("ul", items, class_="plain")] if items else []


def _aside(desk: Desk, rows: list[SetAsideFact]) -> Markup:
    cells = [
        (
            tag("a", f"{row.name} line {row.line}", href=f"/source/{row.receipt}/{row.line}"),
            tag("code", row.text[:160]),
            tag("span", tag("b", row.col, ": ") if row.col else None, row.reason),
            tag(
                "span",
                row.remedy,
                f" It probably means {row.suggestion}." if row.suggestion else "",
                tag("small", " Releases itself when the answer arrives.") if row.releases_itself else None,
                _judged(desk, row),
            ),
        )
        for row in rows[:ROWS]
    ]
    return table(("Where", "What stands there", "Why it does not count", "What to do"), cells, class_="aside")


def _tally(rows: list[SetAsideFact]) -> dict[str, int]:
    """How many rows of each kind, the rarest first: what happens every day needs nobody."""
    tally: dict[str, int] = {}
    for row in rows:
        tally[row.kind] = tally.get(row.kind, 0) + 1
    return dict(sorted(tally.items(), key=lambda item: item[1]))


def _rows(desk: Desk, receipt: int | None, kind: str | None) -> list[Markup]:
    rows = desk.set_aside_rows(receipt)
    if not rows:
        whole = _whole_file(desk, receipt, kind, rows) if receipt is not None else Markup("")
        return [tag("p", "Every row counts.", class_="empty"), whole]
    tally = _tally(rows)
    of_file = f"&receipt={receipt}" if receipt is not None else ""
    kinds = [
        tag(
            "li",
            tag("a", tag("b", f"{n:,}"), f" {key.replace('_', ' ')}", href=f"/intake?kind={key}{of_file}"),
        )
        for key, n in tally.items()
    ]
    chosen = [row for row in rows if kind in (None, row.kind)]
    rank = list(tally).index
    chosen.sort(key=lambda row: (rank(row.kind), -row.receipt, row.line))
    shown = f"{ROWS} of {len(chosen):,} are listed, the rarest kinds first, then the newest."
    return [
        tag("ul", kinds, class_="tally"),
        tag("p", shown, class_="hint") if len(chosen) > ROWS else Markup(""),
        _whole_file(desk, receipt, kind, chosen) if receipt is not None else Markup(""),
        _aside(desk, chosen),
    ]


def _sum(receipts: list[ReceiptFact]) -> Markup:
    def total(name: str) -> int:
        return sum(getattr(receipt, name) for receipt in receipts)

    return tag(
        "p",
        f"{count(len(receipts), 'file')}, {count(total('lines'), 'line')}: {total('stored'):,} stored, "
        f"{total('partly'):,} partly, {total('known'):,} already known, {total('set_aside'):,} set aside, "
        f"{total('blank'):,} blank or heading.",
        class_="lead",
    )


def draw(desk: Desk, receipt: int | None = None, kind: str | None = None) -> Markup:
    """What came in, as markup; with a receipt only that file's rows, with a kind only rows of that kind."""
    receipts = sorted(desk.receipts(), key=lambda r: (r.known_at, r.id), reverse=True)
    waiting = [r for r in receipts if r.status != "taken"]
    now = desk.now()
    parts = [_heartbeat(desk), _sum(receipts)]
    chosen = next((r for r in receipts if r.id == receipt), None)
    if chosen is not None:
        parts += [tag("h2", f"How does {chosen.name} add up?"), _files([chosen], now)]
        parts.append(tag("p", tag("a", "All files", href="/intake")))
        parts += _questions(desk, receipt)
    else:
        if waiting:
            parts += [tag("h2", "Which files wait?"), _files(waiting, now)]
        parts += [tag("h2", "What came in last?"), _files(receipts[:FILES], now)]
        if len(receipts) > FILES:
            parts.append(
                tag("p", f"The newest {FILES} of {len(receipts):,} files are listed.", class_="hint")
            )
        parts += _questions(desk)
    parts.append(tag("h2", "Which rows do not count, and why?"))
    if kind:
        parts.append(tag("p", tag("a", "All kinds", href="/intake")))
    return join((*parts, _rows(desk, receipt, kind)))


def layout(desk: Desk, query: dict[str, str]) -> tuple[str, list[Any]]:
    """Title and body; ``?receipt=7`` shows one file, ``?kind=bad_number`` one kind of row."""
    wanted = query.get("receipt", "")
    receipt = int(wanted) if wanted.isascii() and wanted.isdecimal() else None
    kind = query.get("kind") or None
    return "Intake", [
        made(tag("h1", "What came in, and does it add up?") + _drop(desk), class_="page"),
        dcc.Store(id="intake-asked", data=[receipt, kind]),
        made(draw(desk, receipt, kind), id="intake", class_="page"),
        dcc.Interval(id="intake-tick", interval=REFRESH_MS),
    ]


def register(app: Dash, desk: Desk) -> None:
    """Keep the tallies fresh, unless somebody is writing in a form of the page."""

    @app.callback(
        Output("intake", "data-made"),
        Input("intake-tick", "n_intervals"),
        Input("intake-asked", "data"),
        prevent_initial_call=True,
    )
    def refresh(_ticks: int | None, asked: list[Any]) -> str:
        receipt, kind = asked
        return str(draw(desk, receipt, kind))
