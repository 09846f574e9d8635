"""*Stones and cutters*: what is on each machine, how much is left of it, what to do, and how good such words were."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from dash import dcc, html
from markupsafe import Markup

from dashboard.desk import Desk
from dashboard.figures.frame import CONFIG
from dashboard.figures.wear import wear_chart
from dashboard.markup import join, made, table, tag
from dashboard.pages.board import process_href, state_mark
from dashboard.pages.insight import beside_part
from dashboard.words.amounts import amount, count, day
from dashboard.words.left import left_text
from dashboard.words.wear import (
    CAUTION,
    Advice,
    advice,
    advice_text,
    faster_text,
    limit_text,
    missed_text,
    set_text,
)
from ingest.answers.processes import BoardRow
from ingest.answers.wear import BacktestView, LifeTried, WearView
from ingest.plans.model import Renewal

LOOK = {"dress": "vermilion", "change": "vermilion", "watch": "orange", "learning": "sky", "nothing": "green"}


def stones_href(process: str) -> str:
    """Address of the lives behind one process."""
    return "/stones/" + quote(process, safe="/")


def tools(desk: Desk) -> list[tuple[Renewal, list[BoardRow], Advice]]:
    """Every tool whose life is counted, with its processes and the advice, the most pressing first."""
    rows = desk.board()
    found = []
    for renewal in desk.shop.plan.renewals:
        mine = [
            r
            for r in rows
            if r.machine == renewal.machine and r.feature in renewal.features and r.left is not None
        ]
        found.append((renewal, mine, advice(renewal, mine)))
    return sorted(found, key=lambda one: one[2].rank)


def lead(rows: list[BoardRow]) -> BoardRow:
    """The process that says most of a tool: the one with least left, else the one that went off, else the first."""
    told = [row for row in rows if row.left is not None and row.left.p50 is not None]
    if told:
        return min(told, key=lambda row: row.left.p50 if row.left and row.left.p50 is not None else 0.0)
    return next((row for row in rows if row.open_signals), rows[0])


def _tool(desk: Desk, renewal: Renewal, rows: list[BoardRow], said: Advice) -> list[Any]:
    plan = desk.shop.plan
    machine = plan.machines[renewal.machine].name
    head = tag("h2", machine, ": ", renewal.name)
    if not rows:
        return [made(head + tag("p", said.why, class_="empty"), class_="page")]
    first = lead(rows)
    assert first.left is not None
    renewed = [missed_text(r.left) for r in rows if r.left is not None and r.left.renewed_at is not None]
    fast = [faster_text(row.left) for row in rows if row.left is not None and row.left.faster]
    top = join(
        (
            head,
            tag(
                "p",
                tag("b", advice_text(renewal, said.word), class_=LOOK[said.word]),
                class_="big-state advice",
            ),
            tag("p", said.why, class_="why"),
            tag("p", fast[0], class_="why") if fast else None,
            beside_part(desk, first),
            tag("p", renewed[0], class_="why") if renewed else None,
            tag("p", set_text(first.left), ".", class_="facts"),
            # Beside the numbers it is about, and after the order that has to be read from afar.
            tag("p", CAUTION, class_="caution-here") if any(r.parts_left for r in rows) else None,
            _features(desk, rows),
        )
    )
    return [made(top, class_="page"), *_chart(desk, first)]


def _features(desk: Desk, rows: list[BoardRow]) -> Markup:
    lines = [
        (
            tag("a", row.feature_name, href=stones_href(row.process)),
            left_text(row.left),
            limit_text(row, desk.shop.plan),
            state_mark(row),
        )
        for row in rows
        if row.left is not None
    ]
    return table(("Feature", "Left", "Before", "State"), lines, class_="left")


def _chart(desk: Desk, row: BoardRow) -> list[Any]:
    view = desk.remember(("wear", row.process), lambda: desk.shop.wear(row.process))
    if view is None:
        return []
    names = {key: family.name for key, family in desk.shop.plan.families.items()}
    chart = wear_chart(view, names)
    label: dict[str, Any] = {
        "aria-label": f"{row.feature_name} of every set of {view.left.renewal} by {view.left.unit} done"
    }
    graph = dcc.Graph(
        figure=chart, config=CONFIG, responsive=True, style={"height": chart["layout"]["height"]}
    )
    return [
        made(
            tag("h3", "How does this set stand on the earlier ones? ", tag("small", row.feature_name)),
            class_="page",
        ),
        html.Div(graph, role="group", className="chart", **label),
    ]


def layout(desk: Desk, query: dict[str, str], process: str | None = None) -> tuple[str, list[Any]]:  # noqa: ARG001
    """Title and body: all tools, or one process of one of them with its earlier forecasts.

    Raises
    ------
    LookupError
        There is no such process, or it wears no tool whose life is counted.
    """
    if process is not None:
        return _one(desk, process)
    body: list[Any] = [made(tag("h1", "Stones and cutters: what is left?"), class_="page")]
    found = tools(desk)
    if not found:
        body.append(
            made(tag("p", "The plan counts the life of no tool: name one under [[renewals]].", class_="empty"),
                 class_="page")
        )  # fmt: skip
    for renewal, rows, said in found:
        body += _tool(desk, renewal, rows, said)
    return "Stones and cutters", body


def _one(desk: Desk, process: str) -> tuple[str, list[Any]]:
    row = next((r for r in desk.board() if r.process == process), None)
    view = desk.remember(("wear", process), lambda: desk.shop.wear(process)) if row is not None else None
    if row is None or view is None or row.left is None:
        raise LookupError(process)
    top = join(
        (
            tag("p", tag("a", "Stones and cutters", href="/stones"), f" / {row.machine_name}", class_="crumb"),
            tag("h1", f"{row.machine_name}: {row.feature_name}"),
            tag("p", state_mark(row), class_="big-state"),
            tag("p", set_text(row.left), ": ", left_text(row.left),
                f" before {limit_text(row, desk.shop.plan)}" if limit_text(row, desk.shop.plan) else "", ".",
                class_="why"),
            tag("p", faster_text(row.left), class_="why") if row.left.faster else None,
            beside_part(desk, row),
            _bent(view),
            tag("p", CAUTION, class_="caution-here"),
            tag("p", tag("a", "Its chart in order of time, its signals and what was done", href=process_href(process))),
        )
    )  # fmt: skip
    done = desk.remember(("backtest", process), lambda: desk.shop.wear_backtest(process))
    body = [made(top, class_="page"), *_chart(desk, row)]
    if done is not None:
        body.append(made(tag("h2", "How good were such forecasts?") + backtest(view, done), class_="page"))
    body.append(made(tag("h2", "Which sets have there been?") + _lives(desk, view), class_="page"))
    return f"{row.machine} {row.feature_name}: what is left", body


def _bent(view: WearView) -> Markup | None:
    left = view.left
    if left.bent < 0.5 or left.bent_at is None:
        return None
    return tag(
        "p",
        f"It left the usual course at about {left.bent_at:.0f} {left.unit}, as far as can be told.",
        class_="why",
    )


def _lives(desk: Desk, view: WearView) -> Markup:
    kinds = desk.shop.plan.events
    rows = [
        (
            life.tool or "not named",
            day(life.began),
            kinds[life.began_with].name if life.began_with in kinds else "before the log",
            f"{life.length:.0f}",
            "on the machine" if life.ended_with is None
            else kinds[life.ended_with].name if life.ended_with in kinds else life.ended_with,
            "" if life.clean or life.ended_with is None else "had trouble: teaches the others nothing",
        )
        for life in reversed(view.lives)
    ]  # fmt: skip
    return table(("Set", "Since", "Began with", view.left.unit, "Ended with", ""), rows)


def backtest(view: WearView, done: BacktestView) -> Markup:
    """Every finished set: what was forecast at a quarter, a half and three quarters of it, and what came."""
    if not done.tried:
        return tag(
            "p",
            "Nothing can be said yet: a forecast needs four finished sets without trouble before it, and "
            f"{count(done.untold, 'set has', 'sets have')} finished.",
            class_="empty",
        )
    lines = [
        tag(
            "li",
            f"With {share:.0%} of the set's life done, {held} of {of} sets ended where 8 of 10 should; on average "
            f"they came out {_bias(view, bias)}.",
        )
        for share, held, of, bias in done.held
        if of
    ]
    held, of = done.left_held
    lines.append(
        tag(
            "li", f"A limit was reached in {of} of these forecasts; {held} of them had it within their range."
        )
        if of
        else tag("li", "No finished set reached a limit, so the numbers left could not be held against one.")
    )
    if done.untold:
        lines.append(tag("li", f"Of {count(done.untold, 'set')} nothing was forecast: too few before them."))
    rows = [_tried(view, one) for one in reversed(done.tried)]
    return join(
        (
            tag(
                "p",
                "Each set that is finished was forecast again from nothing but what was measured by then.",
            ),
            tag("ul", lines, class_="plain"),
            tag(
                "details",
                tag("summary", f"All {len(rows)} forecasts"),
                table(
                    ("Set", "Done by then", "Expected at its end", "Came", "", "Left before a limit", "Came"),
                    rows,
                ),
            ),
        )
    )


def _bias(view: WearView, bias: float) -> str:
    if view.log:
        return f"{abs(bias):.1%} {'above' if bias > 0 else 'below'} what was expected"
    return f"{amount(abs(bias), view.display, view.decimals)} {'above' if bias > 0 else 'below'} what was expected"


def _tried(view: WearView, one: LifeTried) -> tuple[str, ...]:
    def shown(value: float) -> str:
        return amount(value, view.display, view.decimals)

    low, middle, high = one.value
    far = "not in sight"
    left = far
    if one.left[1] is not None:
        top = "later than can be said" if one.left[2] is None else f"{one.left[2]:.0f}"
        left = f"{one.left[1]:.0f} ({one.left[0] or 0.0:.0f} to {top})"
    elif one.left[0] is not None:
        left = f"{one.left[0]:.0f} at the earliest"
    came = "ended before" if one.left_came is None else f"{one.left_came:.0f}"
    return (
        one.tool or "not named",
        f"{one.now:.0f} {view.left.unit} ({one.share:.0%})",
        f"{shown(middle)} ({shown(low)} to {shown(high)})",
        shown(one.came),
        "within" if one.held else "outside",
        left,
        came,
    )
