"""The wall view: the worst few in letters that are read from two metres, without a click."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, dcc
from markupsafe import Markup

from dashboard.desk import Desk
from dashboard.markup import join, made, tag
from dashboard.pages.board import REFRESH_MS, picture, process_href, state_mark
from dashboard.words.amounts import age, count, moment, sentence_case
from dashboard.words.sentences import machine_text, reason
from dashboard.words.states import look
from ingest.answers.processes import BoardRow

SHOWN = 3


def _what_and_do(sentence: str) -> Markup:
    """What is wrong, then on a line of its own what to do: that is what is looked for from afar."""
    what, _, order = sentence.split(": ", 1)[-1].rpartition(": ")
    return tag("p", tag("span", f"{sentence_case(what)}.") if what else None, tag("b", sentence_case(order)))


def draw(desk: Desk) -> Markup:
    """The worst process of each machine, then how many are well."""
    rows = desk.board()
    urgent = [row for row in rows if look(row.state).urgent]
    worst: dict[str, BoardRow] = {}
    for row in urgent:
        worst.setdefault(row.machine, row)
    items = [
        tag(
            "li",
            state_mark(row),
            tag(
                "h2",
                tag(
                    "a", machine_text(row), " ", tag("span", row.feature_name), href=process_href(row.process)
                ),
            ),
            _what_and_do(reason(row, desk.shop.plan)),
            picture(row),
            class_="process",
        )
        for row in list(worst.values())[:SHOWN]
    ]
    more = len(urgent) - len(items)
    latest = max((row.last_time for row in rows if row.last_time), default=None)
    foot = join(
        (
            tag("b", f"and {count(more, 'more process', 'more processes')} going off") if more > 0 else None,
            tag("span", f"{len(rows) - len(urgent)} of {len(rows)} not going off"),
            tag("span", f"last reading {age(latest, desk.now())}"),
            tag("span", moment(desk.now())),
        )
    )
    body = tag("ol", items) if items else tag("p", "Nothing is going off.", class_="calm")
    return tag("h1", "What is going off?") + body + tag("p", foot, class_="foot")


def layout(desk: Desk, query: dict[str, str]) -> tuple[str, list[Any]]:  # noqa: ARG001
    """Title and body."""
    return "Wall", [
        made(draw(desk), id="wall", class_="wall"),
        dcc.Interval(id="wall-tick", interval=REFRESH_MS),
    ]


def register(app: Dash, desk: Desk) -> None:
    """Keep the wall fresh by itself."""

    @app.callback(Output("wall", "data-made"), Input("wall-tick", "n_intervals"), prevent_initial_call=True)
    def refresh(_ticks: int | None) -> str:
        return str(draw(desk))
