"""Everything that is stored, as one table for other programs: each reading with where it came from and its fate."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from ingest.assessing.reasons import explain
from ingest.state.queries import receipt_names
from ingest.storage.durable import fsync_folder
from ingest.storage.store import Store

if TYPE_CHECKING:
    from ingest.state.moment import Moment

HEAD = (
    "file", "line", "column", "time_utc", "serial", "family", "feature", "position", "value", "unit", "as_written",
    "unit_as_written", "gauge", "operator", "machine", "operation", "pass", "tool", "note", "counts_as", "why_not",
)  # fmt: skip
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\0", "＝", "＋", "－", "＠")


def harmless(text: str) -> str:
    """A text that no spreadsheet runs as a formula: one that would be gets an apostrophe before it.

    Numbers stay as they are. The signs are those that spreadsheets take for the beginning of a formula, wide forms
    included (common practice, no source).
    """
    return f"'{text}" if text.startswith(_STARTS) and not _NUMBER.fullmatch(text.strip()) else text


def table(store: Store, moment: Moment) -> Iterator[tuple[str, ...]]:
    """Every stored reading in the order of files and lines, as harmless texts; the first row is the heading."""
    yield HEAD
    names = receipt_names(store)
    plan, families = moment.known.plan, moment.resolved.families
    for r in moment.resolved.readings.sort_values("id", kind="stable").to_dict("records"):
        code = int(r["fam"])
        family = families[code] if code >= 0 else ""
        reason = explain(plan, {**r, "family_key": family or None})[0]
        feature = plan.features.get(str(r["feature"]))
        told = (
            names[int(r["receipt"])][0], int(r["line"]), r["col"], r["time"].isoformat(), r["serial"], family,
            r["feature"], r["position"], repr(float(r["value"])), feature.unit if feature else "", r["raw"],
            r["raw_unit"], r["gauge"], r["operator"], r["on"], r["op"], int(r["pass_no"]) or "", r["tool"],
            r["note"], r["status"], reason,
        )  # fmt: skip
        yield tuple(harmless(str(cell)) if isinstance(cell, str | int) else "" for cell in told)


def write_table(rows: Iterator[tuple[str, ...]], target: Path) -> int:
    """Write a table as UTF-8 CSV, whole or not at all; returns the rows below the heading.

    Raises
    ------
    OSError
        It cannot be written; FileExistsError when something of that name is there already.
    """
    if target.exists():
        raise FileExistsError(17, "it is there already, name another file", str(target))
    half = target.with_name(f".{target.name}.part")
    count = -1
    try:
        with half.open("w", encoding="utf-8-sig", newline="") as file:
            writer = csv.writer(file)
            for row in rows:
                writer.writerow(row)
                count += 1
        half.replace(target)
        fsync_folder(target.parent)
    finally:
        half.unlink(missing_ok=True)
    return count
