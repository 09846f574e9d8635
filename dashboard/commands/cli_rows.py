"""``tenthwise rows``: what does not count, and what people decide about it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer

from dashboard.commands.cli_common import Folder, Json, work_asked
from dashboard.commands.terminal import fail

rows = typer.Typer(
    help="Rows that were set aside or are in doubt: list them, use, reject, rewrite or correct them.",
    no_args_is_help=True,
)

Receipt = Annotated[
    int, typer.Argument(help="Number of the file, as `rows list` and the Intake page show it.")
]
Lines = Annotated[
    list[int] | None, typer.Option("--line", "-l", help="Line of the file; again for more. By default all.")
]
Kind = Annotated[str | None, typer.Option("--kind", help="Only rows set aside for this reason.")]
Column = Annotated[str | None, typer.Option("--column", "-c", help="Only this column of a row with several.")]
Everything = Annotated[
    bool, typer.Option("--everything", help="Every row of the file, also those that count.")
]
Why = Annotated[str, typer.Option("--why", help="The reason; it stays in the log.")]
Who = Annotated[str, typer.Option("--who", help="Who decides: initials from the plan.")]


def _work(folder: Path | None, **asked: Any) -> NoReturn:
    from dashboard.work import rows as row_work

    work_asked("rows", asked, folder, row_work.run)


def _judge(
    folder: Path | None,
    use: bool,
    receipt: int,
    why: str,
    who: str,
    lines: list[int] | None,
    kind: str | None,
    column: str | None,
    everything: bool,
) -> NoReturn:
    asked = {"receipt": receipt, "reason": why, "who": who, "lines": lines, "kind": kind, "col": column}
    _work(folder, act="judge", use=use, everything=everything, **asked)


@rows.command("list")
def list_them(
    receipt: Annotated[int | None, typer.Argument(help="Number of a file; by default all files.")] = None,
    kind: Kind = None,
    json: Json = False,
    folder: Folder = None,
) -> None:
    """List the rows that do not count, why, and what to do."""
    _work(folder, act="list", receipt=receipt, kind=kind, json=json)


@rows.command()
def use(
    receipt: Receipt,
    why: Why,
    who: Who,
    line: Lines = None,
    kind: Kind = None,
    column: Column = None,
    everything: Everything = False,
    folder: Folder = None,
) -> None:
    """Use rows as they stand; for a row that counts this answers the question about it."""
    _judge(folder, True, receipt, why, who, line, kind, column, everything)


@rows.command()
def reject(
    receipt: Receipt,
    why: Why,
    who: Who,
    line: Lines = None,
    kind: Kind = None,
    column: Column = None,
    everything: Everything = False,
    folder: Folder = None,
) -> None:
    """Reject rows for good; they stay visible."""
    _judge(folder, False, receipt, why, who, line, kind, column, everything)


@rows.command()
def fix(
    receipt: Receipt,
    line: Annotated[int, typer.Argument(help="Line of the file.")],
    text: Annotated[str, typer.Option("--text", help="The whole line as it should have been.")],
    why: Why,
    who: Who,
    folder: Folder = None,
) -> None:
    """Write a line that could not be stored anew; the line as received stays beside it."""
    _work(folder, act="fix", receipt=receipt, line=line, text=text, reason=why, who=who)


@rows.command()
def correct(
    receipt: Receipt,
    field: Annotated[
        str, typer.Option("--field", help="serial, family, machine, operator, unit or sign (turned round).")
    ],
    why: Why,
    who: Who,
    to: Annotated[str, typer.Option("--to", help="What it should say.")] = "",
    line: Lines = None,
    column: Column = None,
    folder: Folder = None,
) -> None:
    """Put right what stored rows of a file say; what they said first stays visible."""
    if not to and field != "sign":
        fail(f"Say with --to what the {field} should be.")
    asked = {"receipt": receipt, "reason": why, "who": who, "lines": line, "col": column}
    _work(folder, act="correct", field=field, to=to, **asked)


@rows.command()
def undo(
    entry: Annotated[int, typer.Argument(help="Entry of the log, as the command that made it told.")],
    why: Why,
    who: Who,
    folder: Folder = None,
) -> None:
    """Take a decision back; both stay in the log."""
    _work(folder, act="undo", entry=entry, reason=why, who=who)
