"""The month as a spreadsheet and as CSV: typed numbers with their units, and nothing that could run."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from datetime import date, datetime

from dashboard.reports.month_report import month_name
from dashboard.reports.month_words import act_text, change_text, limits_text, signal_text
from dashboard.words.amounts import unit_text
from dashboard.words.gauges import ranged
from dashboard.words.sentences import named
from ingest.answers.month import MonthLine, MonthReview
from ingest.plans.model import Plan
from spc.units import from_base

Cell = str | float | int | date | datetime | bool | None
Sheet = tuple[str, Sequence[str], list[list[Cell]]]

STARTS_FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""A cell of a CSV that begins so would be run by a spreadsheet."""

LINES = (
    "machine", "feature", "family", "unit", "blocks", "readings", "set aside by hand", "stable", "not stable since",
    "lower limit [unit]", "upper limit [unit]", "limits valid from", "shape", "median [unit]", "0.135 % point [unit]",
    "99.865 % point [unit]", "Ppk", "Ppk low", "Ppk high", "Pp", "Cpk", "Cpk low", "Cpk high", "Cp",
    "expected out [%]", "expected out low [%]", "expected out high [%]", "smallest share these blocks can tell [%]",
    "blocks out", "blocks judged", "blocks out low [%]", "blocks out high [%]", "against the months before",
    "change of Ppk", "change low", "change high", "chance of no change, all compared", "what uses up the tolerance",
    "remark",
)  # fmt: skip


def sheets(review: MonthReview, plan: Plan) -> list[Sheet]:
    """Everything of a month as tables of plain values.

    Returns
    -------
    list of (name, head, rows)
    """
    acts = [[i, *act_text(act, plan)] for i, act in enumerate(review.acts, 1)]
    signals: list[list[Cell]] = [
        [
            named(s.signal.process.split("/")[0], s.machine_name), s.feature_name, signal_text(s), s.signal.changed,
            s.signal.since, s.opened, s.closed, s.closed_on, s.days, s.cause,
        ]
        for s in review.signals
    ]  # fmt: skip
    gauges: list[list[Cell]] = [
        [
            named(g.gauge, g.name),
            g.readings,
            g.last_check,
            g.usual_gap,
            g.waited,
            g.due,
            g.doubt_since,
            g.doubt_until,
            ", ".join(g.coarse),
            "; ".join(
                f"{a.reference} on {a.feature_name}, {a.parts}: {ranged(a.mean, a.display, a.decimals, signed=True)}"
                for a in g.audits
            ),
        ]
        for g in review.gauges
    ]
    aside: list[list[Cell]] = [
        [a.rows, a.kind, a.reason, a.remedy, a.waits, ", ".join(a.files)] for a in review.aside
    ]
    about: list[list[Cell]] = [
        ["shop", review.shop],
        ["month", month_name(review)],
        ["asked on", review.asked.replace(tzinfo=None)],
        ["data", review.digest],
        ["plan", review.plan_sha],
        ["blocks", review.parts],
        ["readings", review.readings],
        ["compared with, from", review.compared_from],
        ["compared with, to", review.compared_to],
        ["caution", "Figures say what the processes did, not that any block may be used: the maker's specification "
         "and the shop's qualified sign-off decide."],
    ]  # fmt: skip
    return [
        ("Processes", LINES, [_line(line) for line in review.lines]),
        ("Act on", ("order", "what", "why"), acts),
        ("Signals", ("machine", "feature", "what changed", "began about", "signal", "opened in the month",
                     "closed in the month", "closed on", "days until closed", "cause"), signals),
        ("Gauges", ("gauge", "readings", "last check", "usual gap [working days]", "waited [working days]", "due",
                    "in doubt from", "in doubt to", "steps too coarse for", "less a second gauge"), gauges),
        ("Rows set aside", ("rows", "kind", "reason", "what to do", "waits for somebody", "files"), aside),
        ("About", ("what", "value"), about),
    ]  # fmt: skip


def _line(line: MonthLine) -> list[Cell]:
    held, change = line.held, line.change

    def length(value: float | None) -> float | None:
        return None if value is None else float(from_base(value, line.display))

    def index(name: str, *parts: str) -> list[Cell]:
        found = getattr(held, name) if held is not None else None
        return [round(getattr(found, p), 4) if found is not None else None for p in parts]

    out = held.out if held is not None else None
    expected = out.expected if out is not None else None
    judged = held is not None and not held.refused
    told = change.difference if change is not None else None
    return [
        named(line.machine, line.machine_name),
        line.feature_name,
        line.family_name,
        unit_text(line.display),
        held.n_parts if held is not None else 0,
        held.n_readings if held is not None else 0,
        line.aside,
        line.stable,
        line.since,
        length(held.lower_limit) if held is not None else None,
        length(held.upper_limit) if held is not None else None,
        line.limits_from,
        held.shape if held is not None and judged else None,
        length(held.median) if held is not None and judged else None,
        length(held.low) if held is not None and judged else None,
        length(held.high) if held is not None and judged else None,
        *index("ppk", "estimate", "lower", "upper"),
        *index("pp", "estimate"),
        *index("cpk", "estimate", "lower", "upper"),
        *index("cp", "estimate"),
        *([100 * v for v in (expected.estimate, expected.lower, expected.upper)] if expected else [None] * 3),
        100 * out.resolvable if out is not None else None,
        out.parts_out if out is not None else None,
        out.parts if out is not None else None,
        100 * out.observed.lower if out is not None else None,
        100 * out.observed.upper if out is not None else None,
        change_text(line),
        *([round(v, 4) for v in (told.estimate, told.lower, told.upper)] if told else [None] * 3),
        round(change.p_adjusted, 4) if change is not None and change.p_adjusted is not None else None,
        limits_text(line),
        line.why or "",
    ]


def as_xlsx(review: MonthReview, plan: Plan) -> bytes:
    """The month as a workbook: a sheet for each table, frozen heads, numbers as numbers.

    Returns
    -------
    bytes
        The same review gives the same bytes: its date is the query date.
    """
    from xlsxwriter import Workbook

    target = io.BytesIO()
    options = {
        "in_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "nan_inf_to_errors": True,
        "remove_timezone": True,
    }
    with Workbook(target, options) as book:
        book.set_properties(
            {"title": f"{review.shop}: {month_name(review)}", "created": review.asked.replace(tzinfo=None)}
        )
        bold = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
        days, moments = (
            book.add_format({"num_format": "yyyy-mm-dd"}),
            book.add_format({"num_format": "yyyy-mm-dd hh:mm"}),
        )
        for name, head, rows in sheets(review, plan):
            sheet = book.add_worksheet(name)
            sheet.freeze_panes(1, 3 if name == "Processes" else 1)
            sheet.repeat_rows(0)
            sheet.set_landscape()
            sheet.set_paper(9)
            sheet.fit_to_pages(1, 0)
            for column, text in enumerate(head):
                sheet.write_string(0, column, text, bold)
                longest = max((len(str(row[column] or "")) for row in rows), default=0)
                sheet.set_column(column, column, min(max(longest, 9) + 1, 44))
            for at, row in enumerate(rows, 1):
                for column, value in enumerate(row):
                    if value is None or value == "":
                        continue
                    if isinstance(value, bool):
                        sheet.write_string(at, column, "yes" if value else "no")
                    elif isinstance(value, datetime):
                        sheet.write_datetime(at, column, value, moments)
                    elif isinstance(value, date):
                        sheet.write_datetime(at, column, datetime(value.year, value.month, value.day), days)  # noqa: DTZ001
                    elif isinstance(value, (int, float)):
                        sheet.write_number(at, column, value)
                    else:
                        sheet.write_string(at, column, value)
            if rows:
                sheet.autofilter(0, 0, len(rows), len(head) - 1)
    return target.getvalue()


def as_csv(review: MonthReview, plan: Plan) -> str:
    """The lines of the month as CSV; what a spreadsheet would run is written with an apostrophe before it."""
    _, head, rows = sheets(review, plan)[0]
    target = io.StringIO()
    writer = csv.writer(target, lineterminator="\n")
    writer.writerow([*head, "month", "asked on", "data", "plan"])
    mark = [f"{review.year}-{review.month:02d}", review.asked.isoformat(), review.digest, review.plan_sha]
    for row in rows:
        writer.writerow([_plain(value) for value in [*row, *mark]])
    return target.getvalue()


def _plain(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (date, datetime)):
        return value.isoformat()
    if isinstance(value, float):
        return repr(round(value, 6))
    text = str(value)
    return f"'{text}" if isinstance(value, str) and text.startswith(STARTS_FORMULA) else text
