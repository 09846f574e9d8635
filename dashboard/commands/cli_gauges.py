"""``tenthwise gauges``: which can be trusted, what to measure again, and the sheet of a trial."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer

from dashboard.commands.cli_common import AsOf, Folder, Json, read_day, work_asked
from dashboard.commands.terminal import fail, say

gauges = typer.Typer(
    help="Gauges: which can be trusted, which parts to measure again, the sheet of a trial.",
    no_args_is_help=True,
)


def _work(folder: Path | None, **asked: Any) -> NoReturn:
    from dashboard.serving import gauge_work

    if asked["as_of"] is not None:
        read_day(asked["as_of"])
    work_asked("gauges", asked, folder, gauge_work.run)


@gauges.command("list")
def list_them(as_of: AsOf = None, json: Json = False, folder: Folder = None) -> None:
    """Say of every gauge whether it can be trusted. Exit code 1 while one is in doubt."""
    _work(folder, act="list", as_of=as_of, json=json)


@gauges.command()
def suspects(
    gauge: Annotated[str, typer.Argument(help="The gauge, as the plan names it.")],
    csv: Annotated[bool, typer.Option("--csv", help="Print a table for a spreadsheet.")] = False,
    as_of: AsOf = None,
    json: Json = False,
    folder: Folder = None,
) -> None:
    """List the parts a gauge measured while it was off, with the likely size of its error."""
    if csv and json:
        fail("Choose one of --csv and --json.")
    _work(folder, act="suspects", gauge=gauge, as_of=as_of, form="csv" if csv else "json" if json else "text")


@gauges.command()
def trial(
    by: Annotated[str, typer.Option("--by", help="Who measures, with commas between: A,B,C.")],
    parts: Annotated[int, typer.Option("--parts", help="Parts; 10 that span what the machine makes.")] = 10,
    trials: Annotated[int, typer.Option("--trials", help="How often each measures each part.")] = 3,
    seed: Annotated[
        int, typer.Option("--seed", help="Draws the order; the same number, the same order.")
    ] = 1,
) -> None:
    """Print the sheet of a trial: who measures which part when, in an order drawn by chance."""
    from dashboard.commands.trial_sheet import SheetError, trial_sheet

    try:
        say(trial_sheet(parts, [name.strip() for name in by.split(",")], trials, seed).rstrip("\n"))
    except SheetError as error:
        fail(str(error))
