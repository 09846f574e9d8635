"""*Service case*: what did something done to a machine do, or would a service pay?"""

from __future__ import annotations

from datetime import date
from typing import Any
from urllib.parse import parse_qs, quote, urlencode

from dash import Dash, Input, Output, State, dcc, no_update
from flask import Flask, Response, abort, request
from markupsafe import Markup

from dashboard.amounts import day
from dashboard.desk import Desk
from dashboard.markup import made, tag
from dashboard.pages.month import KINDS, LOOK_EVERY_MS, as_file, pdf_or_abort, work_of
from dashboard.report_commands import Unasked, case_of, check_case
from dashboard.reports.blocks import on_paper, on_screen
from dashboard.reports.case_report import case_report
from dashboard.reports.work import Task
from dashboard.words import named

ASKED = ("machine", "event", "price", "hours", "as_of")


def _number(text: str, what: str) -> float | None:
    if not text.strip():
        return None
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        raise Unasked(f"{what} must be a number, not {text!r}.") from None
    if not 0 <= value < 1e9:
        raise Unasked(f"{what} must be 0 or more, not {text}.")
    return value


def _task(desk: Desk, query: dict[str, str]) -> Task:
    """The work on the case asked for, begun if need be.

    Raises
    ------
    Unasked
        What was asked cannot be.
    """
    asked: dict[str, Any] = {key: query.get(key) or None for key in ASKED}
    asked["price"] = _number(query.get("price", ""), "The price")
    asked["hours"] = _number(query.get("hours", ""), "The hours")
    for key in ("event", "as_of"):
        if asked[key] is not None:
            try:
                asked[key] = date.fromisoformat(query[key]).isoformat()
            except ValueError:
                raise Unasked(f"{query[key]!r} is not a day: write it as 2031-12-31.") from None
    check_case(desk.shop, asked)
    return work_of(desk).ask(_key(query), lambda step: case_of(desk.shop, asked, step))


def _key(query: dict[str, str]) -> tuple[str, ...]:
    return ("case", *(query.get(name, "") for name in ASKED))


def layout(desk: Desk, query: dict[str, str]) -> tuple[str, list[Any]]:
    """Title and body: the questions, and the case asked for."""
    body: list[Any] = []
    title = "Service case"
    machine = query.get("machine")
    if not machine:
        head = tag("h1", "Does a service pay, and what did the last one do?")
        return title, [made(head + _questions(desk, query), class_="page")]
    if query.get("again"):
        work_of(desk).again(_key(query))
    if query.get("stop"):
        work_of(desk).stop(_key(query))
    given = urlencode({key: query[key] for key in ASKED if query.get(key)})
    try:
        task = _task(desk, query)
        if task.wrong:
            raise Unasked(task.wrong)
    except Unasked as error:
        told = tag("h1", "Service case") + tag("p", str(error), class_="empty") + _questions(desk, query)
        return title, [made(told, class_="page")]
    if not task.finished or task.result is None:
        return title, _waiting(task, given)
    report = case_report(task.result, desk.shop.plan)
    title = report.title
    links = [
        tag(
            "a",
            kind.upper(),
            href=f"/paper/service-case.{kind}?{given}",
            download=f"service-case-{quote(machine)}.{kind}",
        )
        for kind in ("pdf", "html")
    ]
    body += on_screen(report)
    body.append(made(tag("p", "On paper: ", Markup(" · ").join(links), class_="facts"), class_="page"))
    body.append(made(tag("h2", "Ask something else") + _questions(desk, query), class_="page"))
    return title, body


def _waiting(task: Task, given: str) -> list[Any]:
    if task.stopped:
        again = tag("a", "Begin again", href=f"/service-case?{given}&again=1")
        told = (
            tag("h1", "Service case")
            + tag("p", "Stopped. Nothing was kept.", class_="empty")
            + tag("p", again)
        )
        return [made(told, class_="page")]
    return [
        made(progress_text(task, given), id="case-progress", class_="page"),
        dcc.Interval(id="case-tick", interval=LOOK_EVERY_MS),
    ]


def progress_text(task: Task, given: str) -> Markup:
    """How far the work is, and the way to stop it."""
    done = f"{task.done} of {task.total} features" if task.total else "reading what is known"
    bar = tag(
        "progress", value=task.done if task.total else None, max=task.total or None, aria_label="Progress"
    )
    stop = tag("a", "Stop", href=f"/service-case?{given}&stop=1")
    return tag("h1", "Service case") + tag("p", bar, f" {done} ", stop, role="status")


def register(app: Dash, desk: Desk) -> None:
    """Progress of a case that is being made."""

    @app.callback(
        Output("case-progress", "data-made"),
        Output("told", "data", allow_duplicate=True),
        Input("case-tick", "n_intervals"),
        State("url", "search"),
        prevent_initial_call=True,
    )
    def look(ticks: int, search: str | None) -> tuple[Any, Any]:
        query = {key: values[-1] for key, values in parse_qs((search or "").lstrip("?")).items()}
        try:
            task = _task(desk, query)
        except Unasked:
            return no_update, ticks
        given = urlencode({key: query[key] for key in ASKED if query.get(key)})
        return str(progress_text(task, given)), ticks if task.finished else no_update


def _questions(desk: Desk, query: dict[str, str]) -> Markup:
    plan = desk.shop.plan
    machines = [
        tag("option", named(key, m.name), value=key, selected=query.get("machine") == key)
        for key, m in plan.machines.items()
    ]

    def field(name: str, label: str, small: str, **extra: object) -> Markup:
        return tag(
            "label", label, tag("small", small), tag("input", name=name, value=query.get(name, ""), **extra)
        )

    proposed = tag(
        "form",
        tag("h3", "Would a service pay?"),
        tag(
            "div",
            tag(
                "label",
                "Machine",
                tag("small", "as the plan names it"),
                tag("select", machines, name="machine"),
            ),
            field("price", "Quote", " parts and labour, in the shop's currency", inputmode="decimal"),
            field("hours", "Hours down", " that the machine would stand still", inputmode="decimal"),
            field("as_of", "As known on", " leave empty for today", type="date"),
            class_="fields",
        ),
        tag("button", "Make the case"),
        action="/service-case",
        method="get",
        class_="case",
    )
    items = []
    for key in plan.machines:
        events = [e for e in desk.shop.machine_events(key) if plan.events[e.kind].effect == "restarts"]
        items += [(e.time, key, e) for e in events]
    done = [
        tag(
            "li",
            tag(
                "a",
                f"{day(when)}: {event.kind_name} on {key}",
                href=f"/service-case?{urlencode({'machine': key, 'event': when.date().isoformat()})}",
            ),
            f", {event.note}" if event.note else "",
        )
        for when, key, event in sorted(items, key=lambda x: x[0], reverse=True)[:20]
    ]
    past = tag("h3", "What did it do?") + (
        tag("ul", done, class_="plain")
        if done
        else tag("p", "Nothing done to a machine is logged.", class_="empty")
    )
    return proposed + past


def register_files(server: Flask, desk: Desk) -> None:
    """The case as a file."""

    @server.get("/paper/service-case.<kind>")
    def case_file(kind: str) -> Response:
        if kind not in ("html", "pdf"):
            abort(404)
        query = {key: request.args[key] for key in ASKED if request.args.get(key)}
        if "machine" not in query:
            abort(404)
        try:
            task = _task(desk, query)
            if not task.finished:
                abort(Response("This case is still being made: open its page first.", status=503))
            if task.result is None:
                raise Unasked(
                    task.wrong or "The work on this case was stopped: open its page and begin again."
                )
        except Unasked as error:
            abort(Response(str(error), status=404, mimetype="text/plain"))
        report = case_report(task.result, desk.shop.plan)
        data: bytes | str = on_paper(report)
        if kind == "pdf":
            data = pdf_or_abort(str(data), desk.now())
        return as_file(data, KINDS[kind], f"service-case.{kind}")
