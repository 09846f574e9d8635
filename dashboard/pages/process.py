"""*A process*: has it moved, what was done, which places differ, what can it hold, what was it before."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, State, dcc, html
from markupsafe import Markup

from dashboard.desk import Desk
from dashboard.figures.frame import CONFIG, Figure
from dashboard.figures.monitors import (
    monitor_chart,
    position_chart,
    question,
    spread_chart,
    thing_of,
)
from dashboard.figures.parts import part_chart
from dashboard.markup import join, made, table, tag
from dashboard.pages import forms
from dashboard.pages.board import chance_text, state_mark
from dashboard.pages.gauge_notes import gauge_notes, true_sizes
from dashboard.pages.holds import holds, pictures
from dashboard.pages.insight import aim_part, causes_part, day_part, wear_part
from dashboard.pages.part import HEAD, part_href, reading_rows
from dashboard.words.amounts import day, moment, sentence_case, size
from dashboard.words.sentences import cleared_text, machine_text, named, noticed, reason
from ingest.answers.processes import ProcessView, SignalFact
from ingest.plans.places import place_text

ALL = "all"
RECENT = 120
SHORT_LIST = 60


def family_names(desk: Desk) -> dict[str, str]:
    """Family key to what people see: key and name as the plan has them."""
    return {key: named(key, family.name) for key, family in desk.shop.plan.families.items()}


def _graph(chart: Figure, label: str, id_: str | None = None) -> html.Div:
    given: dict[str, Any] = {"id": id_} if id_ else {}
    named: dict[str, Any] = {"aria-label": label}
    graph = dcc.Graph(
        figure=chart, config=CONFIG, responsive=True, style={"height": chart["layout"]["height"]}, **given
    )
    return html.Div(graph, role="group", className="chart", **named)


def _signal_item(desk: Desk, view: ProcessView, signal: SignalFact) -> Markup:
    plan = desk.shop.plan
    text = noticed(view.row, signal, plan)
    facts = [tag("span", _began(signal))]
    facts += [tag("span", chance_text(signal)), tag("span", "Raised by ", _part_link(signal.serial))]
    done = [
        tag("li", f"{day(event.time)}: {event.kind_name}", f" {event.tool}" if event.tool else "",
            f", {event.note}" if event.note else "")
        for event in signal.events[-6:]
    ]  # fmt: skip
    happened = tag("details", tag("summary", "What was done meanwhile"), tag("ul", done)) if done else None
    acts = forms.close_form(plan, signal) if signal.status in ("open", "cleared", "back") else None
    if signal.closing is not None:
        acts = forms.undo_form(signal.closing.journal_line)
    status = sentence_case(cleared_text(signal))
    return tag(
        "li",
        tag("p", tag("b", status), class_=f"status {signal.status.split()[0]}"),
        tag("p", text + "."),
        tag("p", facts, class_="facts"),
        happened,
        tag(
            "details",
            tag("summary", "Close it with a cause" if signal.status == "open" else "Confirm or change"),
            acts,
        )
        if acts is not None
        else None,
        class_="signal",
    )


def _began(signal: SignalFact) -> str:
    if signal.change_from == signal.change_to:
        return f"Began on {day(signal.change_from)}"
    return f"Began between {day(signal.change_from)} and {day(signal.change_to)}"


def _part_link(serial: str) -> Markup:
    return tag("a", serial, href=part_href(serial))


def _top(desk: Desk, view: ProcessView) -> Markup:
    row, plan = view.row, desk.shop.plan
    return join(
        (
            tag("p", tag("a", "What is going off", href="/"), f" / {row.operation_name}", class_="crumb"),
            tag("h1", machine_text(row), ": ", row.feature_name),
            tag("p", state_mark(row), class_="big-state"),
            tag("p", reason(row, plan), class_="why"),
            tag("h2", f"What was done on {row.machine}?"),
            forms.big_buttons(plan, row),
            tag(
                "details",
                tag("summary", "Note another event, or one with a tool or a note"),
                forms.event_form(plan, row),
            ),
        )
    )


def _key(signal: SignalFact) -> tuple[str, str, int]:
    return signal.monitor, signal.serial, signal.pass_no


def _unsettled(desk: Desk, view: ProcessView) -> Markup:
    """Signals that wait for a person, the open ones first."""
    waiting = {_key(signal) for signal in view.row.signals}
    live = sorted((s for s in view.signals if _key(s) in waiting), key=lambda s: s.status != "open")
    if not live:
        return Markup("")
    items = [_signal_item(desk, view, signal) for signal in live]
    return tag("h2", "What was noticed and is not settled?") + tag("ul", items, class_="signals")


def _chosen_part(desk: Desk, view: ProcessView, key: str | None) -> Markup:
    if not key:
        return tag(
            "p",
            f"Touch a point to see the {thing_of(view)}, its readings and the file they came from.",
            class_="hint",
        )
    serial, _, pass_no = key.rpartition("/")
    part = next((p for p in view.parts if p.serial == serial and str(p.pass_no) == pass_no), None)
    if part is None:
        return tag("p", "That block is no longer in this process.", class_="hint")
    source = desk.shop.plan.features[view.row.feature].of or view.row.feature
    known = desk.part(serial)
    readings = [r for r in (known.readings if known else ()) if r.feature in (view.row.feature, source)]
    first = (
        tag("p", f"When it was first judged it was: {part.first_verdict}.") if part.first_verdict else None
    )
    aside = forms.restore_form(desk.shop.plan, view.row.process, part) if part.aside else None
    return join(
        (
            tag("h3", sentence_case(thing_of(view)), " ", _part_link(serial), f", {moment(part.time)}"),
            tag("p", f"Set aside: {part.aside}") if part.aside else None,
            aside,
            first,
            table(
                HEAD,
                reading_rows(readings, desk.shop.plan, part.family),
                class_="readings",
                empty="Its readings are on the block's own page.",
            ),
        )
    )


def _history(desk: Desk, view: ProcessView) -> Markup:
    waiting = {_key(signal) for signal in view.row.signals}
    old = [signal for signal in view.signals if _key(signal) not in waiting]
    if not old:
        return tag("p", "Nothing before.", class_="empty")
    return tag("ul", [_signal_item(desk, view, signal) for signal in old], class_="signals")


def _limits(view: ProcessView, names: dict[str, str]) -> Markup:
    row = view.row

    def shown(value: float | None) -> str:
        return "" if value is None else size(value, row.display, row.decimals)

    rows = [
        (names.get(s.family, s.family), shown(s.lower), shown(s.upper), shown(s.target),
         f"{day(s.valid_from)}" + (", either sign" if s.absolute else ""))
        for s in view.specifications if s.feature == row.feature
    ]  # fmt: skip
    return table(
        ("Family", "Lower", "Upper", "Target", "Valid from"), rows, empty="The plan names no limits for it."
    )


def _as_table(view: ProcessView, names: dict[str, str]) -> Markup:
    from dashboard.figures.parts import shower

    show, unit = shower(view), view.row.display
    rows = [
        (_part_link(part.serial), part.pass_no, moment(part.time), names.get(part.family, part.family),
         part.n, f"{show(part.mean):.4g}", part.verdict + (f" ({part.aside})" if part.aside else ""))
        for part in reversed(view.parts[-SHORT_LIST:])
    ]  # fmt: skip
    return tag(
        "details",
        tag("summary", f"The last {len(rows)} {thing_of(view)}s as a table"),
        table(
            (
                sentence_case(thing_of(view)),
                "Pass",
                "When",
                "Family",
                "Readings",
                f"Value, {unit}",
                "Verdict",
            ),
            rows,
        ),
    )


def _levels(desk: Desk, view: ProcessView) -> tuple[str, ...]:
    return desk.shop.plan.axes_of(view.row.feature)


def layout(desk: Desk, query: dict[str, str], process: str) -> tuple[str, list[Any]]:  # noqa: ARG001
    """Title and body.

    Raises
    ------
    LookupError
        There is no such process.
    """
    view = desk.process(process)
    row, names = view.row, family_names(desk)
    title = f"{row.machine} {row.feature_name}"
    thing = thing_of(view)
    families = [{"label": "all masters" if row.is_gauge else "all families", "value": ALL}]
    families += [{"label": names.get(key, key), "value": key} for key in view.families]
    span = [{"label": f"last {RECENT} {thing}s", "value": str(RECENT)}, {"label": "all", "value": ALL}]
    body: list[Any] = [
        dcc.Store(id="process-id", data=process),
        made(_top(desk, view), class_="page"),
        made(tag("h2", f"Where does each {thing} stand?"), class_="page"),
        html.Div(
            [
                dcc.RadioItems(families, ALL, id="family", className="choices", inline=True),
                dcc.RadioItems(span, str(RECENT), id="span", className="choices", inline=True),
            ],
            className="page controls",
        ),
        _graph(
            part_chart(view, names, last=RECENT), f"{title}: every {thing} in order of time", "parts-chart"
        ),
        made(_chosen_part(desk, view, None), id="chosen-part", class_="page chosen"),
        made(_as_table(view, names) + _unsettled(desk, view), class_="page"),
        made(
            causes_part(desk, row) + day_part(desk, row) + wear_part(desk, row) + aim_part(desk, row),
            class_="page",
        ),
    ]
    for trace in view.monitors:
        asked = question(trace.name, _levels(desk, view), thing)
        body.append(made(tag("h2", asked), class_="page"))
        body.append(_graph(monitor_chart(view, trace), f"{title}: {asked}"))
    body += _shape(desk, view, title)
    body.append(made(gauge_notes(desk, row), class_="page"))
    body.append(made(tag("h2", "What can it hold now?") + holds(desk, view, names), class_="page"))
    body.append(made(true_sizes(desk, row, view.families, names), class_="page"))
    for name, chart in pictures(desk, view, names):
        body.append(made(tag("h3", f"How the readings of {name} lie"), class_="page"))
        body.append(_graph(chart, f"{title}, {name}: how often each size was read"))
    notes = tag("ul", [tag("li", note) for note in view.notes], class_="plain notes") if view.notes else None
    body.append(
        made(
            join(
                (
                    tag("h2", "Which limits does the drawing set?"),
                    _limits(view, names),
                    tag("h2", "What should be known before relying on this?") if notes else None,
                    notes,
                    tag("h2", "What was noticed before, and what was it?"),
                    _history(desk, view),
                    tag("h2", f"Does a {thing} not belong here?"),
                    tag(
                        "p",
                        f"A {thing} set aside no longer counts, stays visible, and can be let in again.",
                        class_="hint",
                    ),
                    forms.aside_form(desk.shop.plan, process, view.parts),
                    tag("p", f"Judged by the plan with hash {view.plan_sha[:12]}.", class_="hint hash"),
                )
            ),
            class_="page",
        )
    )
    return title, body


def _shape(desk: Desk, view: ProcessView, title: str) -> list[Any]:
    body: list[Any] = []
    chart = position_chart(view, [place_text(desk.shop.plan, position) for position in view.positions])
    if chart is not None:
        body += [
            made(tag("h2", f"Which places on a {thing_of(view)} always differ?"), class_="page"),
            _graph(chart, f"{title}: lasting differences between places"),
        ]
    spread = spread_chart(view, _levels(desk, view))
    if spread is not None:
        body += [
            made(tag("h2", f"How much do the places on one {thing_of(view)} differ?"), class_="page"),
            _graph(spread, f"{title}: differences on one {thing_of(view)}"),
        ]
    return body


def register(app: Dash, desk: Desk) -> None:
    """Answer to the choices over the chart and to a touched point."""

    @app.callback(
        Output("parts-chart", "figure"),
        Input("family", "value"),
        Input("span", "value"),
        State("process-id", "data"),
        prevent_initial_call=True,
    )
    def choose(family: str, span: str, process: str) -> Figure:
        last = None if span == ALL else int(span)
        one = None if family == ALL else family
        return desk.remember(
            ("chart", process, one, last),
            lambda: part_chart(desk.process(process), family_names(desk), family=one, last=last),
        )

    @app.callback(
        Output("chosen-part", "data-made"),
        Input("parts-chart", "clickData"),
        State("process-id", "data"),
        prevent_initial_call=True,
    )
    def touch(click: dict[str, Any] | None, process: str) -> str:
        points = (click or {}).get("points") or [{}]
        return str(_chosen_part(desk, desk.process(process), points[0].get("customdata")))
