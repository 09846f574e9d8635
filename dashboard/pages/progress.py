"""Long work that a page waits for: how far it is, the way to stop it, and the page again once it is done."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import parse_qs, urlencode

from dash import Dash, Input, Output, State, dcc, no_update
from markupsafe import Markup

from dashboard.long_work import Task
from dashboard.markup import made, tag

LOOK_EVERY_MS = 700


def waiting(task: Task, title: str, path: str, asked: dict[str, str], counted: str) -> list[Any]:
    """What a page shows instead of its body.

    Parameters
    ----------
    task : Task
        Not finished, stopped or wrong.
    title : str
        Of the page.
    path : str
        Of the page, like ``/month``; with the suffix ``-progress`` it names what `register` draws anew.
    asked : dict
        The page's query.
    counted : str
        What the work counts, like ``lines``.
    """
    if task.wrong or task.stopped:
        said = task.wrong or "Stopped. Nothing was kept."
        again = tag("a", "Begin again", href=_with(path, asked, "again"))
        head = tag("h1", title)
        return [made(head + tag("p", said, class_="empty") + tag("p", again), class_="page")]
    name = path.strip("/")
    return [
        made(progress_text(task, title, path, asked, counted), id=f"{name}-progress", class_="page"),
        dcc.Interval(id=f"{name}-tick", interval=LOOK_EVERY_MS),
    ]


def progress_text(task: Task, title: str, path: str, asked: dict[str, str], counted: str) -> Markup:
    """How far the work is, and the way to stop it."""
    done = f"{task.done} of {task.total} {counted}" if task.total else "reading what is known"
    bar = tag(
        "progress", value=task.done if task.total else None, max=task.total or None, aria_label="Progress"
    )
    stop = tag("a", "Stop", href=_with(path, asked, "stop"))
    return tag("h1", title) + tag("p", bar, f" {done} ", stop, role="status")


def _with(path: str, asked: dict[str, str], wish: str) -> str:
    return f"{path}?{urlencode(asked | {wish: '1'})}"


def register(
    app: Dash,
    title: str,
    path: str,
    counted: str,
    find: Callable[[dict[str, str]], tuple[Task, dict[str, str]] | None],
) -> None:
    """Draw the progress of a page anew while its work goes on, and the page when it has ended.

    Parameters
    ----------
    app : Dash
    title, path, counted : str
        As in `waiting`.
    find : callable
        The task that a query asks for, and the query without what is of no matter; None when it asks for none.
    """
    name = path.strip("/")

    @app.callback(
        Output(f"{name}-progress", "data-made"),
        Output("told", "data", allow_duplicate=True),
        Input(f"{name}-tick", "n_intervals"),
        State("url", "search"),
        prevent_initial_call=True,
    )
    def look(ticks: int, search: str | None) -> tuple[Any, Any]:
        query = {key: values[-1] for key, values in parse_qs((search or "").lstrip("?")).items()}
        found = find(query)
        if found is None:
            return no_update, ticks
        task, asked = found
        return str(progress_text(task, title, path, asked, counted)), ticks if task.finished else no_update
