"""In a headless browser: the list refreshed against a page of as many charts, and what a first visit loads.

The demonstration's rows are shown six times over, so that the list is as long as that of a large shop, and every
refresh changes the page. "Drawn anew" counts the making of the markup too, which the first who looks after a change
waits for; the others get it as it was made for the first. The rival is one `dcc.Graph` a row, updated in place.
"""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from typing import Any
from unittest.mock import patch

from dash import Dash, Input, Output, dcc, html
from playwright.sync_api import Browser, Page, sync_playwright
from waitress.server import create_server

from dashboard.desk import Desk
from dashboard.pages import board
from ingest.answers.processes import BoardRow
from tests.benchmarks.pairs import compare, say, show
from tests.benchmarks.served import serve
from tests.conftest import chromium_path

TIMES = 6
REFRESH = """async ([tick, turn, n, ready]) => {
  const done = new Function("n", "return " + ready);
  window.dash_clientside.set_props(tick, { n_intervals: n });
  const limit = performance.now() + 60000;
  while (!done(turn)) {
    if (performance.now() > limit) throw new Error("the refresh did not come");
    await new Promise(requestAnimationFrame);
  }
  await new Promise(requestAnimationFrame);
}"""
LIST_READY = "Number(document.querySelector('#board [data-turn]').dataset.turn) > n"
GRAPHS_READY = (
    "[...document.querySelectorAll('.js-plotly-plot')].every(g => g.layout && g.layout.meta === n) "
    "&& document.querySelectorAll('.js-plotly-plot').length > 0"
)
LOADED = """() => performance.getEntriesByType('resource').concat(performance.getEntriesByType('navigation'))
  .map(e => [e.name, e.encodedBodySize])"""


def rival(rows: list[BoardRow]) -> Dash:
    """A page with one chart for each row, as the chart library's users write it."""
    app = Dash("rival", serve_locally=True, add_log_handler=False)
    app.layout = html.Div(
        [dcc.Interval(id="tick", interval=10**9), html.Div(id="all", children=_graphs(rows, 0))]
    )

    @app.callback(Output("all", "children"), Input("tick", "n_intervals"), prevent_initial_call=True)
    def refresh(n: int) -> list[Any]:
        return _graphs(rows, n)

    return app


def _graphs(rows: list[BoardRow], turn: int) -> list[Any]:
    layout = {"meta": turn, "height": 60, "width": 240, "margin": {"l": 0, "r": 0, "t": 0, "b": 0}}
    return [
        dcc.Graph(
            id=f"g{n}", figure={"data": [{"y": [*row.recent, turn % 2], "mode": "lines"}], "layout": layout}
        )
        for n, row in enumerate(rows)
    ]


@contextmanager
def served(app: Dash) -> Iterator[int]:
    """A waitress server for the rival; gives its port."""
    listener = socket.create_server(("127.0.0.1", 0))
    server = create_server(app.server, sockets=[listener], threads=8, ident="")
    threading.Thread(target=server.run, daemon=True).start()
    try:
        yield listener.getsockname()[1]
    finally:
        server.close()


def _marked(markup: str, turn: int) -> str:
    return f'{markup}<i hidden data-turn="{turn}"></i>'


def first_visit(browser: Browser, address: str, wait_for: str) -> tuple[int, list[str]]:
    """Bytes as sent of everything a new visitor's page loads, and the addresses with the chart library in them."""
    page = browser.new_page()
    page.goto(address)
    page.locator(wait_for).first.wait_for()
    page.wait_for_load_state("networkidle")
    loaded: list[tuple[str, int]] = page.evaluate(LOADED)
    page.close()
    return sum(size for _, size in loaded), [name for name, _ in loaded if "plotly" in name]


def refresh_list(page: Page, turn: Iterator[int]) -> None:
    """One refresh of the list, to the frame after it stands on the screen."""
    shown = int(page.locator("#board [data-turn]").first.get_attribute("data-turn") or 0)
    page.evaluate(REFRESH, ["board-tick", shown, next(turn), LIST_READY])


def refresh_graphs(page: Page, turn: Iterator[int]) -> None:
    """One refresh of the rival's charts."""
    n = next(turn)
    page.evaluate(REFRESH, ["tick", n, n, GRAPHS_READY])


def main() -> None:
    """Print the ratio and the bytes; a machine without a browser is told so."""
    path = chromium_path()
    if path is None:
        say("refresh on the screen: no Chromium-family browser here, not measured")
        return
    drawn_turn = count(1)
    made: list[str] = []

    def anew(desk: Desk) -> str:
        made[:] = [str(board.draw(desk))]
        return _marked(made[0], next(drawn_turn))

    def again(_desk: Desk) -> str:
        return _marked(made[0], next(drawn_turn))

    with sync_playwright() as driver, serve(lambda _app, _service: None) as service:
        browser = driver.chromium.launch(executable_path=path)
        rows = service.desk.board() * TIMES
        home, worst = service.note.address, board.process_href(rows[0].process)
        size, library = first_visit(browser, home, "#board h1")
        with_chart, _ = first_visit(browser, home + worst, ".js-plotly-plot .main-svg")
        with patch.object(service.desk, "board", lambda: rows), served(rival(rows)) as port:
            ours, theirs = browser.new_page(), browser.new_page()
            theirs.goto(f"http://127.0.0.1:{port}")
            theirs.wait_for_function(GRAPHS_READY.replace("=== n", "=== 0"), timeout=120_000)
            turns, others = count(1), count(1)
            for how, drawn in (("drawn anew", anew), ("as made for the first", again)):
                with patch.object(board, "drawn", drawn):
                    ours.goto(home)
                    ours.locator("#board [data-turn]").first.wait_for(state="attached")
                    ratio = compare(
                        lambda: refresh_list(ours, turns), lambda: refresh_graphs(theirs, others), pairs=3
                    )
                show(f"refresh of {len(rows)} rows, {how} / {len(rows)} dcc.Graph", ratio, 0.05, cpu=False)
        say(
            f"  first visit of the list: {size:,} bytes, chart library in {len(library)} of its requests "
            f"(goal 0: {'kept' if not library else 'MISSED'}); of a process: {with_chart:,} bytes"
        )
        browser.close()
