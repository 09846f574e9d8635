"""What the commands share: options, how a day is read, work on a shop whoever owns it, and how a command ends."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from dashboard.commands.terminal import hint, say

if TYPE_CHECKING:
    from dashboard.work.shop_work import Outcome
    from ingest.shop.shop import Shop

Folder = Annotated[
    Path | None, typer.Option("--folder", "-f", help="Shop folder; the current one if it holds a plan.")
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON for programs.")]
AsOf = Annotated[
    str | None, typer.Option("--as-of", metavar="DATE", help="What was known at the end of that day.")
]


def read_day(text: str) -> date:
    """The day that was written, or the end of the command."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(
            f"{text!r} is not a day: write it as year-month-day, like 2031-12-31."
        ) from None


def finish(outcome: Outcome) -> NoReturn:
    """Say what came out and end with its exit code."""
    if outcome.out:
        say(outcome.out)
    if outcome.err:
        hint(outcome.err)
    raise typer.Exit(outcome.code)


def work_asked(
    command: str,
    asked: dict[str, Any],
    folder: Path | None,
    work: Callable[[Shop, dict[str, Any]], Outcome],
) -> NoReturn:
    """Do what is asked on the shop, or hand it to the service that has it, and end."""
    from dashboard.commands.folders import shop_folder
    from dashboard.commands.handing import work_on

    finish(
        work_on(
            shop_folder(folder),
            lambda found: found.hand_asked(command, asked),
            lambda shop: work(shop, asked),
        )
    )
