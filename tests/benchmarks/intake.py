"""Intake against bare DuckDB reading the same files into typed tables.

Bare reading is told separator, header and the type of every column, guesses nothing, and drops what it cannot
read without a word; intake archives, checks, looks for repeats and keeps every bad row with its reason.
"""

import shutil
from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import count, islice
from pathlib import Path

import duckdb
import numpy as np

from ingest.intake.receipt import IncomingFile
from ingest.plans.file import parse_plan
from ingest.plans.layout import Layout
from ingest.plans.model import Plan
from tests.benchmarks.pairs import compare, show
from tests.benchmarks.shop import Files, demonstration, scratch, take_all
from tests.ingest.small_shop import BORES, PLAN

TYPES = {
    "sequence": "BIGINT", "pass": "BIGINT", "time": "TIMESTAMP", "started": "TIMESTAMP", "ended": "TIMESTAMP",
    "date": "DATE", "clock": "TIME", "value": "DOUBLE", "set_size": "DOUBLE", "part_temperature": "DOUBLE",
    "gauge_temperature": "DOUBLE", "cost": "DOUBLE", "down_hours": "DOUBLE",
}  # fmt: skip
PREAMBLE = 5
"""A header stands within so many lines."""
CLEAN_ROWS = (100_000, 1_000_000)
SMALL_FILES, SMALL_ROWS = 10_000, 50
Header = tuple[str, int, Layout]
Groups = dict[tuple[str, str, int], tuple[Layout, list[str]]]


def header_of(data: bytes, plan: Plan) -> Header | None:
    """Separator, lines above the header, and layout of a file; None when its header is no plain line."""
    for above, line in enumerate(data.split(b"\n", PREAMBLE)[:PREAMBLE]):
        text = line.decode("utf-8", "replace").strip()
        for layout in plan.layouts.values():
            for separator in layout.separator:
                if tuple(text.split(separator)) == tuple(column.name for column in layout.columns):
                    return separator, above, layout
    return None


def groups_of(given: Files) -> Groups:
    """Paths of files that bare reading can take in one call, by layout, separator and lines above."""
    groups: Groups = {}
    for file, path in zip(given.files, given.paths, strict=True):
        found = header_of(file.data, given.plan)
        if found is not None:
            separator, above, layout = found
            groups.setdefault((layout.key, separator, above), (layout, []))[1].append(str(path))
    return groups


def bare(place: Path, groups: Groups) -> None:
    """One typed table for each group of like files."""
    with duckdb.connect(str(place)) as base:
        for number, ((_, separator, above), (layout, paths)) in enumerate(groups.items()):
            columns = {column.name: TYPES.get(column.meaning, "VARCHAR") for column in layout.columns}
            dates = [column.form[0] for column in layout.columns if column.meaning == "date" and column.form]
            form = f", dateformat = '{dates[0]}'" if dates else ""
            base.execute(
                f"create table t{number} as select * from read_csv($1, columns = {columns}, auto_detect = false, "
                f"header = true, delim = '{separator}', quote = '\"', escape = '\"', skip = {above}, "
                f"ignore_errors = true{form})",
                [paths],
            )


def clean(rows: int, place: Path) -> Files:
    """One file of clean readings of a small shop: eight to a part, a minute apart, every row different."""
    plan = parse_plan(PLAN.replace(r"^S\d{4}$", r"^S\d{6}$"), "plan.toml")
    path = place / f"clean{rows}.csv"
    path.write_text("\n".join([BORES, *_lines(_away(rows)), ""]), encoding="utf-8")
    return Files(plan, [IncomingFile(path.name, path.read_bytes())], [path], datetime(2025, 12, 1))  # noqa: DTZ001


def small(number: int, rows: int, place: Path) -> Files:
    """The same readings in many files of so many rows each."""
    plan = parse_plan(PLAN.replace(r"^S\d{4}$", r"^S\d{6}$"), "plan.toml")
    lines = _lines(_away(number * rows))
    folder = place / "small"
    folder.mkdir()
    paths = [folder / f"{n:05d}.csv" for n in range(number)]
    for path in paths:
        path.write_text("\n".join([BORES, *islice(lines, rows), ""]), encoding="utf-8")
    files = [IncomingFile(path.name, path.read_bytes()) for path in paths]
    return Files(plan, files, paths, datetime(2025, 12, 1))  # noqa: DTZ001


def _away(rows: int) -> np.ndarray:
    return np.random.default_rng(11).normal(0, 0.2, rows).round(1)


def _lines(away: np.ndarray) -> Iterator[str]:
    places = [f"C{cylinder}{depth}" for cylinder in range(1, 5) for depth in "TB"]
    start = datetime(2023, 1, 2)  # noqa: DTZ001 - shop time
    for n, value in enumerate(away):
        stamp = start + timedelta(minutes=n)
        yield f"{n},{stamp},S{n // 8:06d},{places[n % 8]},{value:.1f},80.010,B1,AB"


def _compare(name: str, given: Files, pairs: int, goal: float = 1.1) -> None:
    folder = scratch() / "intake"
    turn, groups = count(), groups_of(given)
    folder.mkdir()
    try:
        ratio = compare(
            lambda: take_all(folder / f"ours{next(turn)}", given),
            lambda: bare(folder / f"bare{next(turn)}.duckdb", groups),
            pairs,
        )
    finally:
        shutil.rmtree(folder)
    show(name, ratio, goal)


def main() -> None:
    """Print the ratios."""
    given = demonstration()
    _compare(f"intake of the demonstration's {len(given.files)} files / bare typed read_csv", given, 3)
    _compare(
        f"intake of {SMALL_FILES} files of {SMALL_ROWS} rows / bare read of their list",
        small(SMALL_FILES, SMALL_ROWS, scratch()),
        3,
        goal=0.5,
    )
    for rows in CLEAN_ROWS:
        name = f"intake of {rows} clean rows in one file / bare typed read_csv"
        _compare(name, clean(rows, scratch()), 3)
