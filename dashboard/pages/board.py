"""*What is going off*: every process, the worst first. Needs no chart library."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import quote

from dash import Dash, Input, Output, dcc
from markupsafe import Markup

from dashboard.desk import Desk
from dashboard.markup import join, made, tag
from dashboard.sparkline import sparkline
from dashboard.words.amounts import age, by_chance, count, day, moment, sentence_case
from dashboard.words.same_fault import same_fault, same_fault_text
from dashboard.words.sentences import cleared_text, machine_text, reason
from dashboard.words.states import glyph, look
from ingest.answers.processes import BoardRow, SignalFact, State

REFRESH_MS = 15_000
WITHDRAWN = 10
"""So many of the signals that late rows removed are shown."""


def process_href(process: str) -> str:
    """Address of the page of a process."""
    return "/process/" + quote(process, safe="/")


def state_mark(row: BoardRow) -> Markup:
    """Shape and word of a state."""
    return tag(
        "span", glyph(row.state), tag("b", look(row.state).word), class_=f"state {look(row.state).colour}"
    )


def chance_text(signal: SignalFact) -> str:
    """Whether chance alone may have shown the finding, in words."""
    return sentence_case(by_chance(signal.chance_days))


def picture(row: BoardRow) -> Markup:
    """The recent life of a process."""
    since = max((signal.change_parts for signal in row.open_signals), default=0)
    label = (
        f"{machine_text(row)}, {row.feature_name}: the last {len(row.recent)} blocks and the expected band"
    )
    return sparkline(row.recent, row.band, log=row.log, label=label, marked=min(since, len(row.recent)))


def _same_faults(desk: Desk) -> dict[str, BoardRow]:
    """Rows that show a fault which a row above shows already, with that row."""
    return desk.remember(("same fault",), lambda: same_fault(desk.board(), desk.shop.plan))


def _facts(row: BoardRow, desk: Desk) -> Markup:
    facts = []
    if row.open_signals:
        facts.append(chance_text(row.open_signals[-1]))
        others = len(row.open_signals) - 1
        if others:
            facts.append(f"and {count(others, 'more open signal')}")
    head = _same_faults(desk).get(row.process)
    if head is not None:
        facts.append(same_fault_text(head))
    facts.append(f"Last reading {age(row.last_time, desk.now())}")
    return tag("p", join(tag("span", fact) for fact in facts), class_="facts")


def _noticed_on(signal: SignalFact) -> str:
    if signal.status == "cleared" and signal.cure is not None and signal.cure.time.date() < signal.since:
        return f", noticed only on {day(signal.since)}, when it was over"
    return f", noticed {day(signal.since)}"


def _waiting(row: BoardRow) -> Markup | None:
    """Every signal that went away and waits for a person's word, however many there are."""
    if not row.unconfirmed:
        return None
    lines = [
        tag(
            "li",
            "Earlier: " if row.open_signals else None,
            tag("b", cleared_text(signal) if row.open_signals else sentence_case(cleared_text(signal))),
            _noticed_on(signal),
        )
        for signal in row.unconfirmed
    ]
    return tag("ul", lines, class_="cured", aria_label="Earlier signals still to be confirmed")


def _full(row: BoardRow, desk: Desk) -> Markup:
    plan = desk.shop.plan
    title = tag("a", tag("b", machine_text(row)), " ", row.feature_name, href=process_href(row.process))
    told = [_waiting(row), tag("p", reason(row, plan), class_="why")]
    if row.open_signals:
        told.reverse()  # what is live comes first
    return tag(
        "li",
        state_mark(row),
        tag("div", tag("h3", title), told, _facts(row, desk)),
        tag("a", picture(row), href=process_href(row.process), class_="picture", tabindex="-1"),
        class_="process full",
        data_process=row.process,
        data_state=str(row.state),
    )


def _brief(row: BoardRow, desk: Desk) -> Markup:
    return tag(
        "li",
        state_mark(row),
        tag(
            "div",
            tag(
                "h3",
                tag("a", tag("b", machine_text(row)), " ", row.feature_name, href=process_href(row.process)),
            ),
            tag("p", reason(row, desk.shop.plan).split(": ", 1)[-1], class_="why"),
        ),
        tag("a", picture(row), href=process_href(row.process), class_="picture", tabindex="-1"),
        tag("span", age(row.last_time, desk.now()), class_="age"),
        class_="process brief",
        data_process=row.process,
        data_state=str(row.state),
    )


def _drawn(rows: list[BoardRow], desk: Desk, draw_row: Callable[[BoardRow, Desk], Markup]) -> list[Markup]:
    """Rows as markup; one that is as it was keeps its markup for a minute, since it tells ages."""
    given = desk.shop.plan.sha256, desk.now().replace(second=0, microsecond=0)
    heads = {process: head.feature_name for process, head in _same_faults(desk).items()}
    return [
        desk.keep(
            (draw_row.__name__, row.process),
            (row, heads.get(row.process), *given),
            lambda row=row: draw_row(row, desk),
        )
        for row in rows
    ]


def _section(question: str, rows: list[Markup], hint: str = "", kind: str = "ol") -> Markup:
    if not rows:
        return Markup("")
    return tag(
        "section",
        tag("h2", question),
        tag("p", hint, class_="hint") if hint else None,
        tag(kind, rows, class_="board"),
    )


def _withdrawn(desk: Desk) -> list[Markup]:
    return [
        tag(
            "li",
            tag("span", day(entry.when), class_="age"),
            tag(
                "p",
                tag("a", entry.title, href=process_href(entry.process)) if entry.process else entry.title,
                f" {entry.detail}",
            ),
            class_="process note",
        )
        for entry in desk.withdrawn(WITHDRAWN)
    ]


def summary(rows: list[BoardRow]) -> str:
    """The list in one line."""
    urgent = sum(look(row.state).urgent for row in rows)
    back = sum(bool(row.unconfirmed) and not look(row.state).urgent for row in rows)
    need = (
        "nobody is needed"
        if not urgent
        else f"{urgent} of {count(len(rows), 'process', 'processes')} going off"
    )
    waits = f", {back} came back and {'waits' if back == 1 else 'wait'} for a word" if back else ""
    return sentence_case(need + waits) + "."


def draw(desk: Desk) -> Markup:
    """The whole list as markup."""
    rows = desk.board()
    if not rows:
        return tag("h1", "What is going off?") + tag(
            "p",
            "Nothing is measured yet. ",
            tag("a", "Drop the first files", href="/intake"),
            ".",
            class_="empty",
        )
    urgent = [row for row in rows if look(row.state).urgent]
    calm = [row for row in rows if not look(row.state).urgent]
    back = [row for row in calm if row.unconfirmed]
    rest = [row for row in calm if not row.unconfirmed]
    pick = {state: [r for r in rest if r.state is state] for state in State}
    unknown = pick[State.LEARNING] + pick[State.SILENT]
    beyond = [row for row in pick[State.HOLDING] if row.beyond is not None]
    well = [row for row in pick[State.HOLDING] if row.beyond is None]
    return join(
        (
            tag("h1", "What is going off?"),
            tag("p", summary(rows), tag("span", f"As of {moment(desk.now())}", class_="asof"), class_="lead"),
            tag("ol", _drawn(urgent, desk, _full), class_="board live")
            if urgent
            else tag("p", "Nothing is going off.", class_="calm"),
            _section("What may be starting?", _drawn(pick[State.WATCH], desk, _full)),
            _section(
                "What came back, and why?",
                _drawn(back, desk, _full),
                "These stay here until somebody confirms the cause.",
            ),
            _section("What runs as ever, but not within its limits?", _drawn(beyond, desk, _full)),
            _section("What is not known yet?", _drawn(unknown, desk, _brief)),
            _section("What is holding?", _drawn(well, desk, _brief)),
            _section(
                "What was said and taken back?", _withdrawn(desk), "Late rows removed these signals.", "ul"
            ),
        )
    )


def drawn(desk: Desk) -> str:
    """The list as it travels, made once for everybody who looks."""
    return desk.remember(("drawn", "board"), lambda: str(draw(desk)))


def layout(desk: Desk, query: dict[str, str]) -> tuple[str, list[Any]]:  # noqa: ARG001
    """Title and body."""
    return "What is going off", [
        made(Markup(drawn(desk)), id="board", class_="page board-page"),
        dcc.Interval(id="board-tick", interval=REFRESH_MS),
    ]


def register(app: Dash, desk: Desk) -> None:
    """Keep the list fresh while it is looked at."""

    @app.callback(Output("board", "data-made"), Input("board-tick", "n_intervals"), prevent_initial_call=True)
    def refresh(_ticks: int | None) -> str:
        return drawn(desk)
