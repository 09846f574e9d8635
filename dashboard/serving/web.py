"""The pages as one Dash application: the frame, the way from an address to a page, the doors for writing."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qs, unquote

from dash import Dash, Input, Output, dcc, html

from dashboard.desk import Desk
from dashboard.markup import made, tag
from dashboard.pages import (
    board,
    gauges,
    intake,
    log,
    month,
    part,
    process,
    service_case,
    source,
    stones,
    wall,
)
from dashboard.security import guard
from dashboard.serving import actions, gauge_work, handed
from ingest.shop.shop import ShopError

INDEX = """<!DOCTYPE html>
<html lang="en">
<head>{%metas%}<title>{%title%}</title>{%favicon%}{%css%}</head>
<body>{%app_entry%}<footer class="scripts">{%config%}{%scripts%}{%renderer%}</footer></body>
</html>"""


@dataclass(frozen=True)
class Route:
    """One kind of address and the page behind it."""

    pattern: re.Pattern[str]
    layout: Callable[..., tuple[str, list[Any]]]
    """Given the desk, the groups of the address and the query: the title and the body."""


ROUTES = tuple(
    Route(re.compile(pattern), page.layout)
    for pattern, page in (
        (r"/", board),
        (r"/wall", wall),
        (r"/process/(?P<process>.+)", process),
        (r"/stones(?:/(?P<process>.+))?", stones),
        (r"/gauges(?:/(?P<gauge>.+))?", gauges),
        (r"/month", month),
        (r"/service-case", service_case),
        (r"/intake", intake),
        (r"/log", log),
        (r"/part(?:/(?P<serial>.+))?", part),
        (r"/source/(?P<receipt>\d+)/(?P<line>\d+)", source),
    )
)
LINKS = (
    ("/", "What is going off"),
    ("/stones", "Stones and cutters"),
    ("/gauges", "Gauges"),
    ("/month", "The month"),
    ("/service-case", "Service case"),
    ("/intake", "Intake"),
    ("/log", "Log"),
    ("/part", "A part"),
    ("/wall", "Wall"),
)
CAUTION = (
    "Tenthwise advises. The maker's specification and the shop's qualified sign-off decide whether a part "
    "may be used. Lock out and tag out before working on a machine, following local rules and the machine's "
    "manual."
)

TITLE: dict[str, Any] = {"data-title": "Tenthwise"}
POLITE: dict[str, Any] = {"aria-live": "polite"}


def _frame(desk: Desk) -> html.Div:
    links = [tag("a", text, href=href, data_nav=href) for href, text in LINKS]
    head = tag("a", "Tenthwise", href="/", class_="brand") + tag(
        "span", desk.shop.plan.shop.name, class_="shop"
    )
    return html.Div(
        [
            dcc.Location(id="url", refresh="callback-nav"),
            dcc.Store(id="told"),
            made(
                tag("a", "Skip to the page", href="#page", class_="skip")
                + tag("header", head, tag("nav", links, aria_label="Pages"), class_="top")
            ),
            html.Main(id="page", tabIndex=-1, **TITLE),
            made(tag("p", CAUTION), class_="caution"),
            html.Div(id="toast", role="status", **POLITE),
        ]
    )


def _lost(path: str) -> tuple[str, list[Any]]:
    body = tag("h1", "There is no such page") + tag(
        "p", f"Nothing is at {path}. ", tag("a", "See what is going off", href="/"), "."
    )
    return "No such page", [made(body)]


def resolve(desk: Desk, path: str | None, search: str | None) -> tuple[str, list[Any]]:
    """Title and body of the page at an address.

    Parameters
    ----------
    desk : Desk
        What to ask.
    path, search : str or None
        As the browser gives them; None before it has.
    """
    path = unquote(path or "/").rstrip("/") or "/"
    query = {key: values[-1] for key, values in parse_qs((search or "").lstrip("?")).items()}
    for route in ROUTES:
        if match := route.pattern.fullmatch(path):
            try:
                return route.layout(desk, query=query, **match.groupdict())
            except (LookupError, ShopError):
                return _lost(path)
    return _lost(path)


def create_app(desk: Desk, *, port: int, token: str) -> Dash:
    """The application, ready to be served on this machine.

    Parameters
    ----------
    desk : Desk
        The open shop.
    port : int
        Where it will be reached: other hosts are refused.
    token : str
        Secret for commands that hand their work over.
    """
    app = Dash(
        __name__,
        title="Tenthwise",
        update_title="",
        assets_folder="assets",
        index_string=INDEX,
        suppress_callback_exceptions=True,
        serve_locally=True,
        enable_mcp=False,
        use_async=False,
        health_endpoint="healthz",
        add_log_handler=False,
        meta_tags=[
            {"name": "viewport", "content": "width=device-width, initial-scale=1"},
            {"name": "color-scheme", "content": "light dark"},
            {"name": "referrer", "content": "no-referrer"},
        ],
    )
    app.layout = lambda: _frame(desk)

    @app.callback(
        Output("page", "children"),
        Output("page", "data-title"),
        Input("url", "pathname"),
        Input("url", "search"),
        Input("told", "data"),
    )
    def show(path: str | None, search: str | None, _told: object) -> tuple[list[Any], str]:
        title, body = resolve(desk, path, search)
        return body, f"{title} · Tenthwise"

    board.register(app, desk)
    wall.register(app, desk)
    process.register(app, desk)
    intake.register(app, desk)
    month.register(app, desk)
    service_case.register(app, desk)
    for page in (month, service_case, part):
        page.register_files(app.server, desk)
    actions.register(app.server, desk)
    handed.register(app.server, desk)
    gauge_work.register(app.server, desk)

    @app.server.errorhandler(413)
    def too_large(_error: Exception) -> tuple[dict[str, str], int]:
        return {"said": "", "wrong": "That is more than 64 MB at once: send fewer files at a time."}, 413

    guard(app.server, port=port, script_hashes=list(app.csp_hashes()), token=token)
    return app
