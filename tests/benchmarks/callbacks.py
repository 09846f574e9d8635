"""Callbacks of the list and of a chart, over HTTP on this machine, against a callback that does nothing.

Server and caller share one process. "As served" means as anybody finds it between two changes, when the answer
is remembered; "after a change" that a few processes have another state, as after a file, and what was drawn of
the others is still good.
"""

import itertools
import json
from typing import Any

from dash import Dash, Input, Output

from dashboard.figures.parts import part_chart
from dashboard.serving.service import Service
from dashboard.serving.web import resolve
from ingest.answers.processes import ProcessView
from ingest.state.records import state_from
from tests.benchmarks.pairs import compare, say, show
from tests.benchmarks.served import Caller, serve

POINTS = 500
TOUCHED = 6
"""A file of a gauge touches the processes of one machine: about so many."""
NAMES: dict[str, str] = {}


def longest(service: Service) -> ProcessView:
    """The process with the most parts."""
    desk = service.desk
    return max((desk.process(row.process) for row in desk.board()), key=lambda view: len(view.parts))


def change(service: Service) -> None:
    """What a new file leaves behind: another part in the stored state of a few processes, and nothing remembered."""
    with service.desk.shop._store.transaction() as cursor:
        rows = cursor.execute(
            f"select process, state from process_state order by all limit {TOUCHED}"
        ).fetchall()
        for process, text in rows:
            state = json.loads(text)
            state["recent"] = [*state["recent"][1:], state["recent"][0]]
            cursor.execute(
                "update process_state set state = $1 where process = $2", [json.dumps(state), process]
            )
    service.desk.forget()


def objects(view: ProcessView) -> Any:
    """The same chart as the chart library's own examples build it: traces, shapes and notes added one by one."""
    import plotly.graph_objects as go

    plain = part_chart(view, NAMES, last=POINTS)
    layout = plain["layout"]
    chart = go.Figure()
    for trace in plain["data"]:
        chart.add_trace(go.Scatter(**trace))
    chart.update_layout({k: v for k, v in layout.items() if k not in ("shapes", "annotations")})
    for shape in layout["shapes"]:
        chart.add_shape(**shape)
    for note in layout["annotations"]:
        chart.add_annotation(**note)
    return chart


def add(app: Dash, service: Service) -> None:
    """Rivals, and the chart of so many points, registered beside the program's own callbacks."""
    view = longest(service)

    @app.callback(Output("nothing", "data"), Input("nothing-tick", "n_intervals"))
    def nothing(_n: int) -> int:
        return 0

    @app.callback(Output("plain", "figure"), Input("plain-tick", "n_intervals"))
    def plain(_n: int) -> dict[str, Any]:
        return part_chart(view, NAMES, last=POINTS)

    @app.callback(Output("objects", "figure"), Input("objects-tick", "n_intervals"))
    def slow(_n: int) -> Any:
        return objects(view)


def main() -> None:
    """Print the ratios."""
    with serve(add) as service:
        caller, process = Caller(service.port), longest(service).row.process

        def tick(name: str, prop: str) -> bytes:
            return caller.ask((name, prop), {f"{name}-tick.n_intervals": 1})

        def chart() -> bytes:
            return caller.ask(
                ("parts-chart", "figure"),
                {"family.value": "all", "span.value": "120"},
                {"process-id.data": process},
            )

        def board() -> bytes:
            return tick("board", "data-made")

        def restarted() -> None:
            service.desk.forget()
            service.desk._kept.clear()
            state_from.cache_clear()

        def nothing() -> bytes:
            return tick("nothing", "data")

        serials = itertools.cycle(sorted({part.serial for part in longest(service).parts}))

        def block() -> object:
            return resolve(service.desk, f"/part/{next(serials)}", "")

        lines = (
            ("chart of a process, last 120 parts, as served / no-op callback", chart, nothing, 2.0),
            (
                f"chart of {POINTS} parts made each time / no-op callback",
                lambda: tick("plain", "figure"),
                nothing,
                2.0,
            ),
            (
                f"chart of {POINTS} parts as plain values / as graph_objects",
                lambda: tick("plain", "figure"),
                lambda: tick("objects", "figure"),
                0.1,
            ),
            ("list as served between changes / no-op callback", board, nothing, 10.0),
            ("page of a block, another each time / no-op callback", block, nothing, None),
        )
        for name, ours, theirs, goal in lines:
            show(f"{name} (p50)", compare(ours, theirs, pairs=5, calls=15), goal)
        for name, before, goal in (
            (f"list after a change of {TOUCHED} processes", lambda: change(service), 10.0),
            ("list with nothing remembered at all", restarted, None),
        ):
            show(
                f"{name} / no-op callback (p50)",
                compare(board, nothing, pairs=5, calls=15, before=before),
                goal,
            )
        say(
            f"  answers in bytes: no-op {len(nothing())}, chart of 120 {len(chart())}, "
            f"of {POINTS} {len(tick('plain', 'figure'))}, graph_objects {len(tick('objects', 'figure'))}, "
            f"list {len(board())}"
        )
        caller.close()
