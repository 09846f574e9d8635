"""*The month*: what every process held, what changed, what to act on; and the same on paper and in a spreadsheet."""

from __future__ import annotations

from typing import Any

from dash import Dash
from flask import Flask, Response, abort
from markupsafe import Markup

from dashboard.desk import Desk
from dashboard.long_work import Task
from dashboard.markup import made, tag
from dashboard.pages import progress
from dashboard.pages.paper import KINDS, as_file, file_links, printed
from dashboard.reports.blocks import Report, on_screen
from dashboard.reports.month_report import MONTHS, pictures
from dashboard.reports.month_words import line_name
from dashboard.work.reports import Unasked, month_pieces, read_month
from ingest.answers.month import MonthLine, MonthReview

TITLE, PATH, COUNTED = "The month", "/month", "lines"
OFFERED = 24
"""Months back that can be chosen."""


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
    return desk.work.ask(("month", text), lambda step: month_pieces(desk.shop, year, month, step))


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
        desk.work.again(key)
    if query.get("stop"):
        desk.work.stop(key)
    task = _task(desk, text)
    chooser = made(_chooser(desk, text), class_="page")
    if not task.finished or task.result is None:
        return TITLE, [chooser, *progress.waiting(task, TITLE, PATH, {"month": text}, COUNTED)]
    review, report = task.result
    links = file_links(f"/paper/month/{text}", f"month-{text}", KINDS)
    files = tag("p", "On paper and for a spreadsheet: ", links, class_="facts")
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


def register(app: Dash, desk: Desk) -> None:
    """Progress of a month that is being made."""

    def find(query: dict[str, str]) -> tuple[Task, dict[str, str]]:
        text = _asked(desk, query)
        return _task(desk, text), {"month": text}

    progress.register(app, TITLE, PATH, COUNTED, find)


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
        data: bytes | str
        if kind == "xlsx":
            data = as_xlsx(review, desk.shop.plan)
        elif kind == "csv":
            data = as_csv(review, desk.shop.plan)
        else:
            data = printed(report, kind, review.asked)
        return as_file(data, kind, f"month-{month_text(year, month)}")
