"""*The month*: what every process held, what changed, what to act on; and the same on paper and in a spreadsheet."""

from __future__ import annotations

from typing import Any
from urllib.parse import parse_qs, urlencode

from dash import Dash, Input, Output, State, dcc, no_update
from flask import Flask, Response, abort
from markupsafe import Markup

from dashboard.desk import Desk
from dashboard.markup import made, tag
from dashboard.report_commands import Unasked, month_pieces, read_month
from dashboard.reports.blocks import Report, on_paper, on_screen
from dashboard.reports.month_report import MONTHS, pictures
from dashboard.reports.month_words import line_name
from dashboard.reports.pdf import NoPdf, as_pdf
from dashboard.reports.work import Task, Work
from ingest.month_facts import MonthLine, MonthReview

KINDS = {
    "html": "text/html; charset=utf-8",
    "pdf": "application/pdf",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "csv": "text/csv; charset=utf-8",
}
OFFERED = 24
"""Months back that can be chosen."""
LOOK_EVERY_MS = 700
_works: dict[int, Work] = {}


def work_of(desk: Desk) -> Work:
    """The long work of a service."""
    return _works.setdefault(id(desk), Work(desk))


def month_text(year: int, month: int) -> str:
    """``2025-10``."""
    return f"{year:04d}-{month:02d}"


def _usual(desk: Desk) -> str:
    """The month that a review is made of today: the one before this."""
    now = desk.now()
    place = 12 * now.year + now.month - 2
    return month_text(place // 12, place % 12 + 1)


def _asked(desk: Desk, query: dict[str, str]) -> str:
    text = query.get("month") or _usual(desk)
    try:
        return month_text(*read_month(text))
    except Unasked:
        return _usual(desk)


def _task(desk: Desk, text: str) -> Task:
    year, month = read_month(text)
    return work_of(desk).ask(("month", text), lambda step: month_pieces(desk.shop, year, month, step))


def _chooser(desk: Desk, text: str) -> Markup:
    now = desk.now()
    options = []
    for back in range(OFFERED):
        place = 12 * now.year + now.month - 1 - back
        key = month_text(place // 12, place % 12 + 1)
        options.append(
            tag("option", f"{MONTHS[place % 12]} {place // 12}", value=key, selected=key == text or None)
        )
    return tag(
        "form",
        tag("label", "Month", tag("select", options, name="month"), for_="month"),
        tag("button", "Show the month"),
        action="/month",
        method="get",
        class_="find",
    )


def layout(desk: Desk, query: dict[str, str]) -> tuple[str, list[Any]]:
    """Title and body: the month asked for, or how far the work on it is."""
    text = _asked(desk, query)
    key = ("month", text)
    if query.get("again"):
        work_of(desk).again(key)
    if query.get("stop"):
        work_of(desk).stop(key)
    task = _task(desk, text)
    chooser = made(_chooser(desk, text), class_="page")
    if not task.finished or task.result is None:
        return "The month", [chooser, *_waiting(task, text)]
    review, report = task.result
    links = [
        tag("a", f"{kind.upper()}", href=f"/paper/month/{text}.{kind}", download=f"month-{text}.{kind}")
        for kind in KINDS
    ]
    files = tag("p", "On paper and for a spreadsheet: ", Markup(" · ").join(links), class_="facts")
    body = [chooser, made(files, class_="page"), *on_screen(report)]
    if review.lines:
        body.append(
            made(tag("h2", "How does any other process lie?") + _lines(review, text, query), class_="page")
        )
        body += _chosen(desk, review, query)
    return report.title, body


def _lines(review: MonthReview, text: str, query: dict[str, str]) -> Markup:
    options = [
        tag("option", line_name(x), value=_name(x), selected=query.get("line") == _name(x))
        for x in review.lines
        if x.held is not None
    ]
    return tag(
        "form",
        tag("input", type="hidden", name="month", value=text),
        tag("label", "Process and family", tag("select", options, name="line")),
        tag("button", "Draw it"),
        action="/month#drawn",
        method="get",
        class_="find",
        id="drawn",
    )


def _name(line: MonthLine) -> str:
    return f"{line.process}|{line.family}"


def _chosen(desk: Desk, review: MonthReview, query: dict[str, str]) -> list[Any]:
    process, _, family = query.get("line", "").rpartition("|")
    line = next((x for x in review.lines if (x.process, x.family) == (process, family)), None)
    run = desk.shop.month_run(line, review.year, review.month) if line is not None else None
    if run is None:
        return []
    return on_screen(Report("", (pictures(run),), ""))[:-1]


def _waiting(task: Task, text: str) -> list[Any]:
    if task.wrong or task.stopped:
        said = task.wrong or "Stopped. Nothing was kept."
        again = tag("a", "Begin again", href=f"/month?{urlencode({'month': text, 'again': 1})}")
        return [
            made(tag("h1", "The month") + tag("p", said, class_="empty") + tag("p", again), class_="page")
        ]
    return [
        made(progress_text(task, text), id="month-progress", class_="page"),
        dcc.Interval(id="month-tick", interval=LOOK_EVERY_MS),
    ]


def progress_text(task: Task, text: str) -> Markup:
    """How far the work is, and the way to stop it."""
    done = f"{task.done} of {task.total} lines" if task.total else "reading what is known"
    bar = tag(
        "progress", value=task.done if task.total else None, max=task.total or None, aria_label="Progress"
    )
    stop = tag("a", "Stop", href=f"/month?{urlencode({'month': text, 'stop': 1})}")
    return tag("h1", "The month") + tag("p", bar, f" {done} ", stop, role="status")


def register(app: Dash, desk: Desk) -> None:
    """Progress of a month that is being made."""

    @app.callback(
        Output("month-progress", "data-made"),
        Output("told", "data", allow_duplicate=True),
        Input("month-tick", "n_intervals"),
        State("url", "search"),
        prevent_initial_call=True,
    )
    def look(ticks: int, search: str | None) -> tuple[str, Any]:
        query = {key: values[-1] for key, values in parse_qs((search or "").lstrip("?")).items()}
        text = _asked(desk, query)
        task = _task(desk, text)
        return str(progress_text(task, text)), ticks if task.finished else no_update


def register_files(server: Flask, desk: Desk) -> None:
    """The month as files."""

    @server.get("/paper/month/<text>.<kind>")
    def month_file(text: str, kind: str) -> Response:
        from dashboard.reports.workbook import as_csv, as_xlsx

        if kind not in KINDS:
            abort(404)
        try:
            year, month = read_month(text)
        except Unasked:
            abort(404)
        task = _task(desk, month_text(year, month))
        result = task.result if task.finished else None
        review, report = result if result is not None else month_pieces(desk.shop, year, month)
        if kind == "html":
            data: bytes | str = on_paper(report)
        elif kind == "xlsx":
            data = as_xlsx(review, desk.shop.plan)
        elif kind == "csv":
            data = as_csv(review, desk.shop.plan)
        else:
            data = pdf_or_abort(on_paper(report), review.asked)
        return as_file(data, KINDS[kind], f"month-{month_text(year, month)}.{kind}")


def pdf_or_abort(text: str, stamp: Any) -> bytes:
    """The PDF, or an answer that says why there is none."""
    try:
        return as_pdf(text, stamp)
    except NoPdf as error:
        abort(Response(str(error), status=503, mimetype="text/plain"))


def as_file(data: bytes | str, kind: str, name: str) -> Response:
    """An answer that a browser saves under this name."""
    answer = Response(data, content_type=kind)
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
