"""*A part*: one block by serial, every reading with its limits and the line it came from."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby
from typing import Any
from urllib.parse import quote

from flask import Flask, Response, abort
from markupsafe import Markup

from dashboard.desk import Desk
from dashboard.markup import made, table, tag
from dashboard.pages.board import process_href
from dashboard.pages.conforms import conforms
from dashboard.pages.paper import PRINTED, as_file, file_links, printed
from dashboard.reports.part_report import derived_table
from dashboard.words.amounts import amount, moment, number, size_unit, unit_text
from dashboard.words.sentences import named
from dashboard.work.reports import part_sheet
from ingest.answers.processes import PartReading, PartView
from ingest.plans.model import Plan
from ingest.plans.places import place_text

CAUTION = (
    "This shows what the gauges wrote, not whether the block may be used: that is for the maker's "
    "specification and the shop's qualified sign-off."
)
STATUS = {
    "used": "",
    "repeat": "earlier reading, a later one counts",
    "incoming": "before the operation, not judged",
    "waiting": "waits",
    "doubt": "in doubt",
    "rejected": "rejected",
    "audit": "audit, not judged",
    "check": "gauge check",
}


def reading_rows(readings: Iterable[PartReading], plan: Plan, family: str | None) -> list[tuple[object, ...]]:
    """Cells of a table of readings: place, value, limits, when, with what, by whom, note, source."""
    rows = []
    for reading in readings:
        places = reading.decimals
        unit, finer = size_unit(reading.value, reading.display, places)
        value = number(reading.value, unit, finer)
        limits = " to ".join(
            text
            for text in (
                number(reading.lower, unit, finer) if reading.lower is not None else "",
                number(reading.upper, unit, finer) if reading.upper is not None else "",
            )
            if text
        )
        if reading.lower is None and reading.upper is not None:
            limits = f"at most {limits}"
        elif reading.upper is None and reading.lower is not None:
            limits = f"at least {limits}"
        deviation = (
            tag("small", f" ({amount(reading.deviation, reading.display, places, signed=True)})")
            if reading.deviation is not None and reading.deviation != reading.value
            else None
        )
        state = "out" if reading.out else reading.status
        note = ", ".join(
            text
            for text in (STATUS.get(reading.status, reading.status), reading.reason, reading.note or "")
            if text
        )
        out = tag("b", f" {reading.out} the limit", class_="vermilion") if reading.out else None
        rows.append(
            (
                place_text(plan, reading.position, family) or "whole part",
                tag("span", value, " ", unit_text(unit), deviation, out, class_=f"value {state}"),
                limits,
                moment(reading.corrected_time),
                reading.gauge or "",
                reading.operator or "",
                note,
                tag("a", f"line {reading.line}", href=f"/source/{reading.receipt}/{reading.line}"),
            )
        )
    return rows


HEAD = ("Place", "Value", "Drawing limits", "When", "Gauge", "By", "Note", "File")


def _search(serial: str | None) -> Markup:
    field = tag(
        "input",
        name="serial",
        value=serial or "",
        id="serial",
        autocomplete="off",
        spellcheck="false",
        required=True,
    )
    return tag(
        "form",
        tag("label", "Serial number of the block", for_="serial"),
        field,
        tag("button", "Show the block"),
        class_="find",
        data_go="/part/",
    )


def _passes(view: PartView) -> Markup:
    rows = [
        (
            named(item.machine, item.machine_name),
            item.operation_name,
            item.pass_no,
            item.tool or "",
            moment(item.started),
            moment(item.ended),
            item.note or "",
        )
        for item in view.passes
    ]
    return table(
        ("Machine", "Operation", "Pass", "Tool", "Started", "Ended", "Note"), rows, empty="No job is known."
    )


def layout(desk: Desk, query: dict[str, str], serial: str | None = None) -> tuple[str, list[Any]]:  # noqa: ARG001
    """Title and body; without a serial only the search field."""
    if not serial:
        return "A part", [made(tag("h1", "Which block?") + _search(None), class_="page")]
    view = desk.part(serial)
    if view is None or not (view.readings or view.passes):
        body = tag("h1", "Which block?") + _search(serial)
        body += tag(
            "p", f"No block {serial} is known. Check the serial as it stands in the export.", class_="empty"
        )
        return "A part", [made(body, class_="page")]
    family = named(view.family, view.family_name) if view.family else "family not known"
    body = (
        tag("h1", f"Block {view.serial}")
        + tag("p", family, class_="lead")
        + tag("p", CAUTION, class_="caution-here")
    )
    body += tag("h2", "Where has it been?") + _passes(view)
    body += conforms(desk, view.serial, view.family)
    body += tag("h2", "What did it measure?")
    ordered = sorted(
        view.readings, key=lambda r: (r.operation or "", r.feature, r.pass_no or 0, r.position, r.time)
    )
    for (name, machine, pass_no), group in groupby(
        ordered, key=lambda r: (r.feature_name, r.machine, r.pass_no)
    ):
        where = f" on {machine}" if machine else ""
        again = f", pass {pass_no}" if pass_no and pass_no > 1 else ""
        body += tag("h3", f"{name}{where}{again}") + table(
            HEAD, reading_rows(group, desk.shop.plan, view.family), class_="readings"
        )
    if view.derived:
        body += tag("h2", "What follows from that?") + derived_table(view, desk.shop.plan)
    aside = _aside(desk, view.serial)
    if aside:
        body += tag("h2", "Which rows that name it do not count?") + aside
    sheet = file_links(f"/paper/part/{quote(view.serial, safe='')}", "block", PRINTED)
    body += tag("p", "The sheet for its folder: ", sheet, class_="facts")
    if view.processes:
        links = [
            tag(
                "li", tag("a", process, href=process_href(process)), f" pass {pass_no}" if pass_no > 1 else ""
            )
            for process, pass_no in view.processes
        ]
        body += tag("h2", "Where was it judged?") + tag("ul", links, class_="plain")
    return f"Block {view.serial}", [made(body + _search(None), class_="page")]


def _aside(desk: Desk, serial: str) -> Markup | None:
    """Rows that could not be stored and name the block."""
    rows = [
        (tag("a", f"{a.name}, line {a.line}", href=f"/source/{a.receipt}/{a.line}"), a.text, a.reason)
        for a in desk.shop.rows_naming(serial)
    ]
    return table(("File", "As written", "Why it does not count"), rows) if rows else None


def register_files(server: Flask, desk: Desk) -> None:
    """The sheet of a block as a file."""

    @server.get("/paper/part/<path:name>")
    def part_file(name: str) -> Response:
        serial, _, kind = name.rpartition(".")
        if kind not in PRINTED or not serial:
            abort(404)
        try:
            report = part_sheet(desk.shop, serial)
        except LookupError:
            abort(404)
        return as_file(printed(report, kind, desk.now()), kind, "block")


def part_href(serial: str) -> str:
    """Address of the page of a part."""
    return "/part/" + quote(serial, safe="")
