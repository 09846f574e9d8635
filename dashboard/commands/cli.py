"""The command line. Heavy libraries are imported where they are used, so that ``--help`` answers at once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from dashboard.commands.cli_common import Folder, Json, finish, read_day
from dashboard.commands.cli_gauges import gauges
from dashboard.commands.cli_reports import register as register_reports
from dashboard.commands.cli_rows import rows
from dashboard.commands.terminal import fail, hint, prepare, progress, say

if TYPE_CHECKING:
    from dashboard.work.shop_work import Outcome
    from ingest.shop.shop import Shop

app = typer.Typer(
    name="tenthwise",
    help="Says which machining processes are going off, how sure that is, and what to do.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.add_typer(rows, name="rows")
register_reports(app)
app.add_typer(gauges, name="gauges")

Port = Annotated[
    int, typer.Option("--port", min=0, max=65535, help="Port on this machine; 0 takes any that is free.")
]
PORT = 8417


def main() -> None:
    """Entry point of the command ``tenthwise``."""
    prepare()
    app()


@app.command()
def demo(
    folder: Annotated[
        Path, typer.Option("--folder", "-f", help="Where the demonstration shop is kept.")
    ] = Path("tenthwise-demo"),
    serve_it: Annotated[
        bool, typer.Option("--serve/--no-serve", help="Open the pages when it is ready.")
    ] = True,
    port: Port = PORT,
) -> None:
    """Build the demonstration shop (fourteen months of exports) and show it."""
    from dashboard.commands.demo import ForeignFolder, prepare_demo
    from dashboard.serving import running

    found = running.find(folder)
    if found:
        say(f"The demonstration is already on screen at {found.address}")
        raise typer.Exit(0)
    try:
        shop = prepare_demo(folder, progress)
    except ForeignFolder as error:
        fail(str(error))
    if not serve_it:
        shop.close()
        say(f"The demonstration shop is ready in {folder}. See it with `tenthwise serve --folder {folder}`.")
        return
    _serve(shop, port)


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(help="Folder to make; it must be empty or not there yet.")],
) -> None:
    """Start a shop: write a plan with notes, to be changed to your own."""
    from dashboard.commands.starting import NotEmpty, start_shop

    try:
        plan = start_shop(folder)
    except NotEmpty as error:
        fail(str(error))
    except OSError as error:
        fail(f"{folder} cannot be made: {error.strerror or error}.")
    say(f"Wrote {plan}. Change it to your own shop, then run: tenthwise check {folder}")


@app.command()
def check(
    place: Annotated[
        Path | None, typer.Argument(help="Shop folder, the plan itself, or a file a gauge wrote.")
    ] = None,
    folder: Folder = None,
    layout: Annotated[
        str | None, typer.Option("--layout", help="Show what this layout makes of the file's first rows.")
    ] = None,
    draft: Annotated[
        str | None, typer.Option("--draft", metavar="NAME", help="Draft a layout of that name for the file.")
    ] = None,
    accept: Annotated[bool, typer.Option("--accept", help="Put the draft into the plan.")] = False,
) -> None:
    """Check the plan, or show what a file of a gauge becomes; name the line of everything that is wrong."""
    from dashboard.commands.folders import PLAN, shop_folder
    from ingest.plans.file import load_plan
    from ingest.problems import PlanError

    if place is not None and place.is_file() and place.suffix != ".toml":
        _check_file(place, folder, layout, draft, accept)
    if layout or draft or accept:
        fail("Name the file that the layout should read: tenthwise check FILE --layout NAME.")
    if place is not None and folder is not None and place != folder:
        fail(f"Two places are named, {place} and {folder}: name one.")
    folder = place if place is not None else folder
    path = folder if folder is not None and folder.is_file() else shop_folder(folder) / PLAN
    try:
        plan = load_plan(path)
    except PlanError as error:
        for problem in error.problems:
            hint(str(problem))
        fail(f"{path}: {len(error.problems)} to mend.")
    say(
        f"{path} is in order: {len(plan.families)} families, {len(plan.machines)} machines, "
        f"{len(plan.features)} features, {len(plan.gauges)} gauges, {len(plan.layouts)} layouts."
    )


def _check_file(
    file: Path, folder: Path | None, layout: str | None, name: str | None, accept: bool
) -> NoReturn:
    from dashboard.commands.folders import PLAN, shop_folder
    from dashboard.commands.handing import work_on
    from dashboard.work import layout_help
    from ingest.plans.file import load_plan
    from ingest.problems import PlanError

    shop = shop_folder(folder)
    try:
        plan = load_plan(shop / PLAN)
        if name is None:
            finish(layout_help.check_file(plan, file, layout))
        text, outcome = layout_help.draft(plan, file, name)
        if not accept or not text:
            finish(outcome)
        changed = f"{plan.text.rstrip()}\n\n{text}"
        finish(
            work_on(
                shop,
                lambda found: found.hand_asked("plan", {"text": changed}),
                lambda opened: layout_help.accept(opened, changed),
            )
        )
    except PlanError as error:
        fail("\n".join(map(str, error.problems)))
    except OSError as error:
        fail(f"{file} cannot be read: {error.strerror or error}.")


@app.command()
def ingest(
    files: Annotated[list[Path], typer.Argument(help="CSV files as the gauges wrote them.")],
    folder: Folder = None,
) -> None:
    """Take files in. Exit code 2 when one could not be; it is kept and named on the Intake page."""
    from dashboard.commands.folders import shop_folder
    from dashboard.commands.handing import work_on
    from dashboard.work import shop_work as commands
    from ingest.intake.in_parts import is_large
    from ingest.intake.receipt import IncomingFile

    place = shop_folder(folder)
    loaded, large = [], []
    for path in files:
        try:
            if is_large(path):
                large.append(path)
                continue
            loaded.append(IncomingFile(path.name, path.read_bytes()))
        except IsADirectoryError:
            fail(f"{path} is a folder: name files. Nothing was taken in.")
        except OSError as error:
            fail(f"{path} cannot be read: {error.strerror or error}. Nothing was taken in.")

    def here(shop: Shop) -> commands.Outcome:
        with progress("Taking files in", len(loaded)) as step:
            return commands.ingest(shop, loaded, step)

    named = [(file.name, file.data) for file in loaded]
    outcome = commands.Outcome("", commands.GOOD)
    if loaded:
        outcome = work_on(place, lambda found: found.hand_files(named), here)
    for path in large:
        outcome = commands.both(outcome, _ingest_large(place, path.absolute()))
    finish(outcome)


def _ingest_large(place: Path, path: Path) -> Outcome:
    from dashboard.commands.handing import work_on
    from dashboard.work import shop_work as commands

    with progress(f"Taking {path.name} in, bytes", path.stat().st_size) as step:
        return work_on(
            place,
            lambda found: found.hand_asked("ingest_large", {"path": str(path)}),
            lambda shop: commands.ingest_large(shop, path, step),
        )


@app.command()
def serve(folder: Folder = None, port: Port = PORT) -> None:
    """Watch the inbox and serve the pages on this machine."""
    from dashboard.commands.folders import shop_folder
    from dashboard.commands.handing import own

    _serve(own(shop_folder(folder)), port)


def _serve(shop: Shop, port: int) -> None:
    import logging

    from dashboard.serving.service import PortTaken, serve

    logging.basicConfig(level=logging.WARNING, format="%(asctime)s %(message)s")
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    try:
        serve(shop, port, lambda address: say(f"Tenthwise is at {address}   (stop it with Ctrl+C)"))
    except PortTaken as error:
        fail(str(error))


@app.command()
def status(
    as_of: Annotated[
        str | None,
        typer.Option("--as-of", metavar="DATE", help="Show what was known at the end of that day."),
    ] = None,
    json: Json = False,
    folder: Folder = None,
) -> None:
    """Show what is going off. Exit code 1 while a signal is open."""
    from dashboard.commands.folders import shop_folder
    from dashboard.commands.handing import work_on
    from dashboard.work import shop_work as commands

    day = read_day(as_of) if as_of else None
    query = {"json": "1" if json else "0"} | ({"as_of": day.isoformat()} if day else {})
    finish(
        work_on(
            shop_folder(folder),
            lambda found: found.hand("status", query=query),
            lambda shop: commands.status(shop, day, json=json),
        )
    )


@app.command()
def quick(
    file: Annotated[Path, typer.Argument(help="A CSV file with a line of column names.")],
    column: Annotated[str, typer.Option("--column", "-c", help="Column to look at, as named there.")],
    lower: Annotated[float | None, typer.Option(help="Lower limit of the drawing.")] = None,
    upper: Annotated[float | None, typer.Option(help="Upper limit of the drawing.")] = None,
    names_in_line: Annotated[int, typer.Option(help="Line that holds the column names.")] = 1,
    separator: Annotated[
        str | None, typer.Option(help="comma, semicolon, tab, bar or spaces, if unclear.")
    ] = None,
    decimal: Annotated[str | None, typer.Option(help="'.' or ',', if unclear.")] = None,
    skip_bad: Annotated[bool, typer.Option("--skip-bad", help="Leave out cells without a number.")] = False,
    rule: Annotated[
        list[str] | None,
        typer.Option(help="A pattern to look for as well, by its words, or all; a wrong one lists them."),
    ] = None,
    shape: Annotated[
        str, typer.Option(help="How the values lie: normal, lognormal, folded normal, weibull or johnson.")
    ] = "normal",
    json: Json = False,
) -> None:
    """Limits, signals and capability of one column of one CSV file; needs no shop."""
    from dashboard.commands.one_column import SEPARATORS, UnreadableColumn, read_column
    from dashboard.commands.quick_look import quick_look

    marks = {name: mark for mark, name in SEPARATORS.items()}
    try:
        read = read_column(
            file,
            column,
            separator=marks.get(separator, separator) if separator else None,
            decimal=decimal,
            skip_bad=skip_bad,
            names_in_line=names_in_line,
        )
        text = quick_look(
            read, lower=lower, upper=upper, json=json, name=column, rules=rule or (), shape=shape
        )
    except (UnreadableColumn, ValueError) as error:
        fail(str(error))
    if json:
        hint(f"{file}: {read.understood}")
    say(text)


@app.command()
def study(
    file: Annotated[Path, typer.Argument(help="A CSV file with the columns part, operator, trial, reading.")],
    lower: Annotated[float | None, typer.Option(help="Lower limit of the drawing.")] = None,
    upper: Annotated[float | None, typer.Option(help="Upper limit of the drawing.")] = None,
    separator: Annotated[
        str | None, typer.Option(help="comma, semicolon, tab, bar or spaces, if unclear.")
    ] = None,
    decimal: Annotated[str | None, typer.Option(help="'.' or ',', if unclear.")] = None,
    json: Json = False,
) -> None:
    """How much of what a gauge shows is the gauge, the hand that holds it, and the part; needs no shop."""
    from dashboard.commands.one_column import SEPARATORS, UnreadableColumn
    from dashboard.commands.study_file import read_study
    from dashboard.commands.study_look import study_look

    marks = {name: mark for mark, name in SEPARATORS.items()}
    try:
        mark = marks.get(separator, separator) if separator else None
        read = read_study(file, separator=mark, decimal=decimal)
        text = study_look(read, lower=lower, upper=upper, json=json, name=str(file))
    except (UnreadableColumn, ValueError) as error:
        fail(str(error))
    if json:
        hint(f"{file}: {read.understood}")
    say(text)


@app.command()
def rebuild(folder: Folder = None) -> None:
    """Make the database anew from archive, journal and plans."""
    from dashboard.commands.folders import rebuild_or_busy, shop_folder
    from dashboard.commands.handing import work_on
    from dashboard.work import shop_work as commands

    with progress("Bringing files back", 2) as step:
        outcome = work_on(
            shop_folder(folder),
            lambda found: found.hand("rebuild"),
            commands.rebuilt,
            opening=lambda place: rebuild_or_busy(place, step),
        )
    finish(outcome)


@app.command()
def backtest(json: Json = False, folder: Folder = None) -> None:
    """Forecast every finished set of stones or cutters again and hold it against what came."""
    from dashboard.commands.folders import shop_folder
    from dashboard.commands.handing import work_on
    from dashboard.work.backtest import backtest as compare

    finish(
        work_on(
            shop_folder(folder),
            lambda found: found.hand("backtest", query={"json": "1" if json else "0"}),
            lambda shop: compare(shop, json_wanted=json),
        )
    )


@app.command()
def backup(
    target: Annotated[Path, typer.Argument(help="File to write, like shop-2031-12-31.tar.gz.")],
    folder: Folder = None,
) -> None:
    """Write the whole shop into one file; works while the service runs."""
    from dashboard.commands.folders import shop_folder
    from dashboard.commands.handing import work_on
    from dashboard.work import shop_work as commands

    place = target.absolute()
    with progress("Writing the backup", 2) as step:
        outcome = work_on(
            shop_folder(folder),
            lambda found: found.hand_asked("backup", {"to": str(place)}),
            lambda shop: commands.backup(shop, place, step),
        )
    finish(outcome)


@app.command()
def export(
    target: Annotated[Path, typer.Argument(help="CSV file to write.")],
    folder: Folder = None,
) -> None:
    """Write every stored reading as CSV: value, source, and whether it counts and why not."""
    from dashboard.commands.folders import shop_folder
    from dashboard.commands.handing import work_on
    from dashboard.work import shop_work as commands

    place = target.absolute()
    finish(
        work_on(
            shop_folder(folder),
            lambda found: found.hand_asked("export", {"to": str(place)}),
            lambda shop: commands.export(shop, place),
        )
    )


@app.command()
def restore(
    source: Annotated[Path, typer.Argument(help="A file that `backup` wrote.")],
    folder: Annotated[Path, typer.Argument(help="Folder to make; it must be empty or not there yet.")],
) -> None:
    """Make a shop from a backup."""
    from dashboard.commands.folders import restored

    with progress("Bringing files back", 2) as step:
        shop, equal = restored(source, folder, step)
        shop.close()
    say(
        f"{folder} holds the shop again. "
        + (
            "It equals the one the backup was made of."
            if equal
            else "Its records are all there; this version of the program judges some of them differently."
        )
    )
