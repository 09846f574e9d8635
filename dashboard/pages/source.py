"""The very line of a file that a reading came from, as it was received."""

from __future__ import annotations

from typing import Any

from dashboard.desk import Desk
from dashboard.markup import made, tag


def layout(desk: Desk, query: dict[str, str], receipt: str, line: str) -> tuple[str, list[Any]]:  # noqa: ARG001
    """Title and body."""
    row = desk.shop.source(int(receipt), int(line))
    first = row.line - len(row.before)
    lines = [(first + i, text, False) for i, text in enumerate(row.before)]
    lines.append((row.line, row.text, True))
    lines += [(row.line + 1 + i, text, False) for i, text in enumerate(row.after)]
    body = (
        tag("h1", "Where did this reading come from?")
        + tag(
            "p",
            "Line ",
            tag("b", row.line),
            " of ",
            tag("b", row.name),
            ", as it was received.",
            class_="lead",
        )
        + tag(
            "div",
            [
                tag(
                    "div",
                    tag("span", n, class_="n"),
                    tag("code", text),
                    class_="line here" if here else "line",
                )
                for n, text, here in lines
            ],
            class_="source scroll",
            tabindex="0",
        )
        + tag("p", "Content hash (SHA-256) ", tag("code", row.sha256), class_="hint hash")
    )
    return f"Line {row.line} of {row.name}", [made(body, class_="page")]
