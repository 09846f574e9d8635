"""How commands speak: plain lines on standard output, one sentence on standard error when it went wrong."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import NoReturn, Protocol

import typer

MISUSE = 2


class Step(Protocol):
    """Tells a progress bar how much is done, and of how much if that has changed."""

    def __call__(self, done: int, total: int | None = None) -> None: ...


def prepare() -> None:
    """Let any character through, also where the console knows few of them."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(encoding="utf-8", errors="replace")


def say(text: str) -> None:
    """A line for people or programs."""
    typer.echo(text)


def hint(text: str) -> None:
    """A line for people only, kept out of what a program reads."""
    typer.echo(text, err=True)


def fail(text: str, code: int = MISUSE) -> NoReturn:
    """End the command with one sentence."""
    typer.echo(text, err=True)
    raise typer.Exit(code)


@contextmanager
def progress(what: str, total: int) -> Iterator[Step]:
    """A bar on standard error, drawn only where somebody can see it.

    Parameters
    ----------
    what : str
        What is being done.
    total : int
        How much there is to do.
    """
    if total < 2 or not sys.stderr.isatty():
        yield lambda done, total=None: None  # noqa: ARG005 - nobody is looking
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=total)
        yield lambda done, total=None: bar.update(task, completed=done, total=total)
