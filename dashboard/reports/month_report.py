"""The month as a report: what to act on, what every process held, signals, gauges, rows, limits."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from markupsafe import Markup

from dashboard.figures.month import run_chart
from dashboard.figures.readings import classes_chart
from dashboard.markup import table, tag
from dashboard.reports.blocks import Beside, Block, Chart, Report
from dashboard.reports.month_words import (
    act_text,
    change_text,
    expected_text,
    index_text,
    lasting_text,
    limits_text,
    line_name,
    observed_text,
    signal_text,
    stable_text,
)
from dashboard.words.amounts import count, day, moment, sentence_case, size
from dashboard.words.gauges import ranged
from dashboard.words.sentences import named
from ingest.answers.month import MonthGauge, MonthLine, MonthReview, MonthRun
from ingest.plans.model import Plan

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
CAUTION = (
    "The figures say what the processes did, not that any block may be used: the maker's specification and the "
    "shop's qualified sign-off decide. Lock out and tag out before anybody works on a machine."
)
PICTURES = 4
"""Lines drawn on paper where nobody chose any: those the things to act on are about."""


def month_name(review: MonthReview) -> str:
    """``October 2025``."""
    return f"{MONTHS[review.month - 1]} {review.year}"


def month_report(review: MonthReview, plan: Plan, runs: Sequence[MonthRun]) -> Report:
    """Everything of a month, for screen and paper.

    Parameters
    ----------
    review : MonthReview
    plan : Plan
    runs : sequence of MonthRun
        Lines to be drawn.
    """
    title = f"The month: {month_name(review)}"
    top = tag("h1", title) + tag("p", _lead(review), class_="lead")
    blocks: list[Block] = []
    if not review.lines:
        empty = "No block was measured in this month: there is nothing to review."
        if review.first > review.asked.date():
            empty = "This month has not begun."
        return Report(title, (top + tag("p", empty, class_="empty"),), _foot(review), wide=True)
    top += tag("p", CAUTION, class_="caution-here")
    top += tag("h2", "What to act on first?") + _acts(review, plan)
    blocks.append(top)
    if runs:
        blocks.append(tag("h2", "How do they lie?"))
    blocks += [pictures(run) for run in runs]
    body = tag("h2", "What does every process hold?", class_="newpage") + _lines(review)
    body += tag("h2", "Which signals opened, stood or closed?") + _signals(review)
    body += tag("h2", "Which gauges are due or in doubt?") + _gauges(review.gauges)
    body += tag("h2", "Which rows do not count?") + _aside(review)
    body += tag("h2", "Which limits were used?") + _limits(review.lines)
    blocks.append(body)
    return Report(title, tuple(blocks), _foot(review), wide=True)


def drawn_lines(review: MonthReview) -> list[MonthLine]:
    """Lines to draw where nobody chose any: the gravest of each thing to act on."""
    found: list[MonthLine] = []
    for act in review.acts:
        found += [line for line in act.lines if line.held is not None and line not in found][:1]
    return found[:PICTURES]


def _lead(review: MonthReview) -> str:
    held = [x for x in review.lines if x.held is not None and not x.held.refused]
    worse = sum(x.direction == "worse" for x in held)
    better = sum(x.direction == "better" for x in held)
    unstable = len({x.process for x in review.lines if not x.stable and x.watched})
    parts = [
        f"{count(review.parts, 'block')}, {count(review.readings, 'reading')}",
        f"{len({x.process for x in review.lines if x.watched})} processes, {unstable} of them not stable",
        f"against {day(review.compared_from)} to {day(review.compared_to)}: {better} better, {worse} worse, the rest "
        "no more than noise or not to be compared",
    ]
    if not review.finished:
        parts.append("the month is not over")
    return "; ".join(parts) + "."


def _foot(review: MonthReview) -> str:
    return (
        f"{review.shop}. Asked on {moment(review.asked)}. Data {review.digest}. Plan {review.plan_sha}. The same month "
        "with the same data and plan prints the same figures. In brackets: the interval that holds the true figure in "
        "95 of 100 cases; readings on one block are not counted as independent."
    )


def _acts(review: MonthReview, plan: Plan) -> Markup:
    if not review.acts:
        return tag("p", "Nothing: no signal stood, and every process held its limits as far as can be told.")
    items = []
    for act in review.acts:
        what, why = act_text(act, plan)
        items.append(tag("li", tag("b", sentence_case(what)), ": ", why, "."))
    return tag("ol", items, class_="acts")


def pictures(run: MonthRun) -> Beside:
    """Readings of a line in classes, and its blocks in order."""
    line = run.line
    charts = []
    held = line.held
    if run.classes is not None and held is not None:
        limits = (held.lower_limit, held.upper_limit)
        chart = classes_chart(line.display, line.decimals, run.classes, limits)
        charts.append(
            Chart(chart, f"{line_name(line)}: readings in classes, with limits and the {held.shape} shape")
        )
    charts.append(Chart(run_chart(run), f"{line_name(line)}: mean of every block in order"))
    return Beside(
        f"{sentence_case(line_name(line))}: how its readings lie, and its blocks in order", tuple(charts)
    )


HEAD = (
    "Feature", "Family", "Blocks, readings", "Stable", "Ppk", "Cpk", "Expected out", "Blocks out",
    "Against the months before", "What uses up the tolerance", "Shape",
)  # fmt: skip


def _lines(review: MonthReview) -> Markup:
    rows: list[Markup] = []
    for (machine, name), group in groupby(review.lines, key=lambda x: (x.machine, x.machine_name)):
        rows.append(
            tag("tr", tag("td", sentence_case(named(machine, name)), colspan=len(HEAD)), class_="group")
        )
        rows += [_row(line) for line in group]
    head = tag("thead", tag("tr", [tag("th", cell, scope="col") for cell in HEAD]))
    note = tag(
        "p",
        "Stable: no signal stood in the month; only then Cp and Cpk mean anything. Expected out: share of readings "
        "that the shape lets expect beyond the limits. Against the months before: called better or worse only where it "
        "stands out from all lines compared (of those called so, 1 in 20 may be chance).",
        class_="hint",
    )
    return (
        tag("div", tag("table", head, tag("tbody", rows), class_="month"), class_="scroll", tabindex="0")
        + note
    )


def _row(line: MonthLine) -> Markup:
    cells = list(_cells(line))
    if line.why is None:
        return tag("tr", [tag("td", cell) for cell in cells])
    told = [tag("td", cell) for cell in cells[:4]]
    return tag("tr", told, tag("td", line.why, colspan=len(HEAD) - len(cells[:4]), class_="says"))


def _cells(line: MonthLine) -> Iterable[object]:
    held = line.held
    numbers = f"{held.n_parts}, {held.n_readings}" if held is not None else "–"
    if line.aside:
        numbers += f" ({line.aside} set aside)"
    if line.why:
        return (
            line.feature_name,
            line.family_name,
            numbers,
            stable_text(line),
            line.why,
            "",
            "",
            observed_text(line),
            "",
            "",
            "",
        )
    assert held is not None
    return (
        line.feature_name,
        line.family_name,
        numbers,
        stable_text(line),
        index_text(held.ppk) if held.lower_limit is not None or held.upper_limit is not None else "no limits",
        index_text(held.cpk),
        expected_text(line),
        observed_text(line),
        _marked(line),
        limits_text(line),
        held.shape,
    )


def _marked(line: MonthLine) -> Markup | str:
    text = change_text(line)
    if line.direction == "worse":
        return tag("span", "▼ ", text, class_="mark")
    return tag("span", "▲ ", text, class_="mark") if line.direction == "better" else text


def _signals(review: MonthReview) -> Markup:
    rows = [
        (
            f"{named(s.signal.process.split('/')[0], s.machine_name)}: {s.feature_name}",
            signal_text(s),
            day(s.signal.changed),
            day(s.signal.since),
            "opened"
            if s.opened and not s.closed
            else "opened and closed"
            if s.opened
            else "closed"
            if s.closed
            else "stood",
            lasting_text(s),
            s.cause or "nobody has said",
        )
        for s in review.signals
    ]
    head = ("Process", "What changed", "Began about", "Signal", "In this month", "Closed", "Cause")
    return table(head, rows, empty="No signal opened, stood or closed in this month.")


STEPS = (
    "Steps of more than a tenth of a tolerance are too coarse for it: near a limit a single reading cannot decide, and "
    "the shares beyond a limit hang on the rounding."
)


def _gauges(gauges: Sequence[MonthGauge]) -> Markup:
    def state(g: MonthGauge) -> str:
        if g.doubt_since is not None:
            return f"in doubt from {day(g.doubt_since)}" + (
                f" to {day(g.doubt_until)}" if g.doubt_until else ""
            )
        if g.last_check is None:
            return "no check against a master is known"
        return "due" if g.due else "checked as usual"

    def coarse(g: MonthGauge) -> str:
        return f"too coarse for {', '.join(g.coarse)}" if g.coarse else "fine enough"

    def second(g: MonthGauge) -> str:
        return "; ".join(
            f"{a.reference}, {count(a.parts, 'block')}: {ranged(a.mean, a.display, a.decimals, signed=True)}"
            for a in g.audits
        )

    rows = [
        (
            named(g.gauge, g.name),
            f"{g.readings:,}",
            day(g.last_check),
            f"every {g.usual_gap:.0f} working days" if g.usual_gap else "–",
            state(g),
            coarse(g) if g.readings else "–",
            second(g) or "–",
        )
        for g in gauges
    ]
    return table(
        ("Gauge", "Readings", "Last check", "Usual", "State", "Its steps", "Less a second gauge"),
        rows,
        empty="The plan names no gauge.",
    ) + (tag("p", STEPS, class_="hint") if any(g.coarse for g in gauges) else Markup(""))


def _aside(review: MonthReview) -> Markup:
    rows = [
        (
            f"{a.rows:,}",
            a.reason,
            "waits for somebody" if a.waits else "nothing to decide",
            a.remedy,
            _files(a.files),
        )
        for a in review.aside
    ]
    return table(
        ("Rows", "Reason (of the first)", "State", "What to do", "Files"),
        rows,
        empty="Every row that came in during this month counts.",
    )


def _files(names: Sequence[str]) -> str:
    return ", ".join(names[:2]) + (f" and {len(names) - 2} more" if len(names) > 2 else "")


def _limits(lines: Sequence[MonthLine]) -> Markup:
    rows = []
    for line in lines:
        held = line.held
        if held is None or (held.lower_limit is None and held.upper_limit is None):
            continue
        rows.append(
            (
                line.feature_name,
                named(line.family, line.family_name),
                _limit(line, held.lower_limit),
                _limit(line, held.upper_limit),
                day(line.limits_from),
                "others were in force on some blocks of the month" if line.limits_changed else "",
            )
        )
    once = list(dict.fromkeys(rows))
    head = ("Feature", "Family", "Lower limit", "Upper limit", "Valid from", "Note")
    return table(head, once, empty="No limits are known.")


def _limit(line: MonthLine, value: float | None) -> str:
    return "–" if value is None else size(value, line.display, line.decimals)
