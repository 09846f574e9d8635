"""The commands that print: a month, a service case, a block."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dashboard.commands.cli_common import AsOf, Folder, Json, finish, read_day
from dashboard.commands.terminal import fail, progress

if TYPE_CHECKING:
    from dashboard.serving.running import Running
    from dashboard.work.shop_work import Outcome
    from ingest.shop.shop import Shop

To = Annotated[
    Path | None,
    typer.Option("--to", help="Folder to write the files into; without it only the answer is printed."),
]
Only = Annotated[
    list[str] | None,
    typer.Option("--only", help="Write only this kind of file: html, pdf, xlsx or csv; may be repeated."),
]


def register(app: typer.Typer) -> None:
    """Add the commands."""

    @app.command()
    def month(
        month: Annotated[str, typer.Argument(help="The month, like 2031-12.")],
        draw: Annotated[
            list[str] | None,
            typer.Option(help="Draw this process, like MACHINE/operation/feature; may be repeated."),
        ] = None,
        to: To = None,
        only: Only = None,
        json: Json = False,
        folder: Folder = None,
    ) -> None:
        """Review a month: what every process held, what changed, what to act on. Ctrl+C stops it, nothing is left."""
        _run(
            "month",
            {"month": month, "json": json, "draw": draw} | _files(to, only),
            folder,
            "Reviewing the month",
        )

    @app.command("service-case")
    def service_case(
        machine: Annotated[str, typer.Argument(help="Machine, as the plan names it.")],
        event: Annotated[
            str | None, typer.Option(metavar="DATE", help="Day of something that was done: what did it do?")
        ] = None,
        price: Annotated[float | None, typer.Option(min=0, help="Quote for a service to come.")] = None,
        hours: Annotated[
            float | None, typer.Option(min=0, help="Hours the machine would stand still.")
        ] = None,
        as_of: AsOf = None,
        to: To = None,
        only: Only = None,
        json: Json = False,
        folder: Folder = None,
    ) -> None:
        """What did a service do, or would one pay?"""
        asked = {
            "machine": machine,
            "event": _iso(event),
            "price": price,
            "hours": hours,
            "as_of": _iso(as_of),
            "json": json,
        }
        _run("service_case", asked | _files(to, only), folder, "Looking at the machine")

    @app.command()
    def part(
        serial: Annotated[str, typer.Argument(help="Serial number of the block.")],
        to: To = None,
        only: Only = None,
        folder: Folder = None,
    ) -> None:
        """Every reading of one block against its limits, and the sheet for its folder."""
        _run("part", {"serial": serial} | _files(to, only), folder, "Looking for the block")


def _files(to: Path | None, only: list[str] | None) -> dict[str, Any]:
    known = ("html", "pdf", "xlsx", "csv")
    for kind in only or ():
        if kind not in known:
            raise typer.BadParameter(f"{kind!r} is no kind of file: use {', '.join(known)}.")
    if only and to is None:
        raise typer.BadParameter("Say with --to where the file shall be written.")
    return {"to": str(to.absolute()) if to is not None else None, "formats": only}


def _iso(text: str | None) -> str | None:
    return None if text is None else read_day(text).isoformat()


def _run(command: str, asked: dict[str, Any], folder: Path | None, what: str) -> None:
    from dashboard.commands.folders import shop_folder
    from dashboard.commands.handing import work_on
    from dashboard.work import reports as report_commands

    work = getattr(report_commands, command)
    quick = command == "part"
    try:
        with progress(what, 2) as step:

            def there(found: Running) -> Outcome:
                return found.hand_asked(command, asked) if quick else found.long_asked(command, asked, step)

            def here(shop: Shop) -> Outcome:
                return work(shop, asked) if quick else work(shop, asked, step)

            outcome = work_on(shop_folder(folder), there, here)
    except KeyboardInterrupt:
        fail("Stopped: nothing was written.", code=130)
    finish(outcome)
