"""Intake of the demonstration's files against bare DuckDB reading the same files into tables."""

import shutil
import tempfile
from collections import defaultdict
from itertools import count
from pathlib import Path

import duckdb

from tests.benchmarks.pairs import compare, show
from tests.benchmarks.shop import Files, demonstration, take_all


def bare(place: Path, groups: dict[str, list[str]]) -> None:
    """One table for each kind of file; no check, no archive, nothing kept of a bad row."""
    with duckdb.connect(str(place)) as base:
        for number, paths in enumerate(groups.values()):
            base.execute(
                f"CREATE TABLE t{number} AS SELECT * FROM read_csv(?, all_varchar=true, union_by_name=true)",
                [paths],
            )


def headers(given: Files) -> dict[str, list[str]]:
    """Paths by first line; files whose layout bare reading cannot tell stay together."""
    groups: dict[str, list[str]] = defaultdict(list)
    for file, path in zip(given.files, given.paths, strict=True):
        first = file.data.split(b"\n", 1)[0]
        if b"," in first or b";" in first:
            groups[first.decode("utf-8", "replace").strip()].append(str(path))
    return groups


def main() -> None:
    """Print the ratio."""
    given = demonstration()
    groups = headers(given)
    folder = Path(tempfile.mkdtemp())
    turn = count()
    try:
        ratio = compare(
            lambda: take_all(folder / f"ours{next(turn)}", given),
            lambda: bare(folder / f"bare{next(turn)}.duckdb", groups),
            pairs=3,
        )
    finally:
        shutil.rmtree(folder)
    show(f"intake of {len(given.files)} files / bare read_csv", ratio, "<= 1.0 (floor 1.1)")
