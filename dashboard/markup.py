"""HTML made on the server as text: everything that is not already markup is escaped, always.

One string with the whole board in it travels and draws far faster than a tree of components does, and it
needs no script to be read. Nothing in this program writes an angle bracket of its own into data.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from typing import Any

from dash import html
from markupsafe import Markup, escape

VOID = frozenset({"input", "br", "hr", "img"})
Child = object


def tag(name: str, /, *children: Child, **attributes: object) -> Markup:
    """One element.

    Parameters
    ----------
    name : str
        Element name.
    *children : object
        Text (escaped), markup (kept), None (left out), or an iterable of these.
    **attributes : object
        A final underscore is dropped (``class_``), others become hyphens (``data_act``). True writes the bare
        name; None and False leave the attribute out.
    """
    pieces = ["<", name]
    for key, value in attributes.items():
        if value is None or value is False:
            continue
        pieces += (" ", _label(key)) if value is True else (" ", _label(key), '="', escape(value), '"')
    pieces.append(">")
    if name not in VOID:
        _gather(children, pieces)
        pieces += ("</", name, ">")
    return Markup("".join(pieces))


@cache
def _label(key: str) -> str:
    """Name of an attribute as HTML writes it."""
    return escape(key.rstrip("_").replace("_", "-"))


def join(children: Iterable[Child]) -> Markup:
    """Children one after another, nested iterables flattened."""
    pieces: list[str] = []
    _gather(children, pieces)
    return Markup("".join(pieces))


def _gather(children: Iterable[Child], pieces: list[str]) -> None:
    # Plain strings are collected and joined once: markup's own join and format cost ten times as much.
    for child in children:
        if child is None or child is False:
            continue
        if isinstance(child, (str, int, float)):
            pieces.append(escape(child))
        elif isinstance(child, Iterable):
            _gather(child, pieces)
        else:
            pieces.append(escape(str(child)))


def table(
    head: Iterable[Child], rows: Iterable[Iterable[Child]], *, class_: str = "", empty: str = ""
) -> Markup:
    """A table with one head row; on a narrow screen each row stands by itself, its cells named by the head."""
    head = list(head)
    names = [name if isinstance(name, str) and name else None for name in head]
    body = [
        tag("tr", [tag("td", cell, data_name=name) for cell, name in zip(row, names, strict=True)])
        for row in rows
    ]
    if not body:
        return tag("p", empty or "Nothing to show.", class_="empty")
    return tag(
        "div",
        tag(
            "table",
            tag("thead", tag("tr", [tag("th", cell, scope="col") for cell in head])),
            tag("tbody", body),
            class_=class_ or None,
        ),
        class_="scroll",
        tabindex="0",
    )


def made(content: Markup, *, id: str | None = None, class_: str = "") -> html.Div:
    """Markup as a Dash component; the page's own script puts it in place (``assets/tenthwise.js``)."""
    extra: dict[str, Any] = {"data-made": str(content)}
    if id is None:
        return html.Div(className=class_, **extra)
    return html.Div(id=id, className=class_, **extra)
