"""*Service case*: what did something done to a machine do, or would a service pay?"""

from __future__ import annotations

from datetime import date
from typing import Any
from urllib.parse import quote, urlencode

from dash import Dash
from flask import Flask, Response, abort, request
from markupsafe import Markup

from dashboard.desk import Desk
from dashboard.long_work import Task
from dashboard.markup import made, tag
from dashboard.pages import progress
from dashboard.pages.paper import PRINTED, as_file, file_links, printed
from dashboard.reports.blocks import on_screen
from dashboard.reports.case_report import case_report
from dashboard.words.amounts import day
from dashboard.words.sentences import named
from dashboard.work.reports import Unasked, case_of, check_case

TITLE, PATH, COUNTED = "Service case", "/service-case", "features"
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
    return desk.work.ask(_key(query), lambda step: case_of(desk.shop, asked, step))


def _given(query: dict[str, str]) -> dict[str, str]:
    return {key: query[key] for key in ASKED if query.get(key)}


def _key(query: dict[str, str]) -> tuple[str, ...]:
    return ("case", *(query.get(name, "") for name in ASKED))


def layout(desk: Desk, query: dict[str, str]) -> tuple[str, list[Any]]:
    """Title and body: the questions, and the case asked for."""
    body: list[Any] = []
    title = TITLE
    machine = query.get("machine")
    if not machine:
        head = tag("h1", "Does a service pay, and what did the last one do?")
        return title, [made(head + _questions(desk, query), class_="page")]
    if query.get("again"):
        desk.work.again(_key(query))
    if query.get("stop"):
        desk.work.stop(_key(query))
    try:
        task = _task(desk, query)
        if task.wrong:
            raise Unasked(task.wrong)
    except Unasked as error:
        told = tag("h1", TITLE) + tag("p", str(error), class_="empty") + _questions(desk, query)
        return title, [made(told, class_="page")]
    if not task.finished or task.result is None:
        return title, progress.waiting(task, TITLE, PATH, _given(query), COUNTED)
    report = case_report(task.result, desk.shop.plan)
    title = report.title
    links = file_links(
        "/paper/service-case", f"service-case-{quote(machine)}", PRINTED, urlencode(_given(query))
    )
    body += on_screen(report)
    body.append(made(tag("p", "On paper: ", links, class_="facts"), class_="page"))
    body.append(made(tag("h2", "Ask something else") + _questions(desk, query), class_="page"))
    return title, body


def register(app: Dash, desk: Desk) -> None:
    """Progress of a case that is being made."""

    def find(query: dict[str, str]) -> tuple[Task, dict[str, str]] | None:
        try:
            return _task(desk, query), _given(query)
        except Unasked:
            return None

    progress.register(app, TITLE, PATH, COUNTED, find)


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
        if kind not in PRINTED:
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
        return as_file(printed(report, kind, desk.now()), kind, "service-case")
