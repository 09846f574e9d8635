"""What people put right in stored readings and jobs: the first stays stored, the corrected counts.

A correction is a line of the journal. It is laid over the stored rows each time they are looked at, so an undone
one leaves no trace in them and a look back in time uses only what was known then. What a value was before is
told in the note of the row.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ingest.readings.known import Decision, Known
from spc.units import FACTORS

if TYPE_CHECKING:
    import pandas as pd

WORDS = ("serial", "family", "machine", "operator")
"""Fields that hold a word and can be put right."""
FIELDS = (*WORDS, "unit", "sign")
"""All that can be put right: `unit` reads the number in another unit, `sign` turns the deviation round."""
OF_JOBS = ("serial", "family", "machine")


def corrected(known: Known) -> Known:
    """The same facts with every standing correction laid over them, and withdrawn fixes left out.

    Parameters
    ----------
    known : Known
        As stored.

    Returns
    -------
    Known
        The very same object when there is nothing to correct.
    """
    lines = [d for d in known.decisions if d.kind == "correct_rows"]
    withdrawn = {str(d.body["file"]) for d in known.decisions if d.kind == "withdrawn_fix"}
    if not lines and not withdrawn:
        return known
    readings = known.readings
    jobs = known.jobs
    if withdrawn:
        readings = readings[~readings["sha"].isin(withdrawn)].reset_index(drop=True)
        jobs = jobs[~jobs["sha"].isin(withdrawn)].reset_index(drop=True)
    if lines:
        readings = _readings(readings, lines)
        jobs = _lay_over(jobs, [d for d in lines if d.body["field"] in OF_JOBS])
    return replace(known, readings=readings, jobs=jobs)


def _readings(rows: pd.DataFrame, lines: list[Decision]) -> pd.DataFrame:
    """Words first, then units and signs, each from the value as stored."""
    rows = _lay_over(rows, [d for d in lines if d.body["field"] in WORDS])
    import pandas as pd  # the names of fields are wanted long before a correction is

    unit = pd.Series(None, index=rows.index, dtype=object)
    turned = np.zeros(len(rows), dtype=bool)
    for line in lines:
        if line.body["field"] not in ("unit", "sign"):
            continue
        at = _chosen(rows, line.body)
        if line.body["field"] == "unit":
            unit[at] = str(line.body["to"])
            _note(rows, at, rows.loc[at, "raw_unit"], line)
        else:
            turned[at] = True
            _note(rows, at, pd.Series("as written", index=rows.index[at]), line)
    changed = unit.notna().to_numpy() | turned
    if changed.any():
        value = rows["value"].to_numpy(dtype=float).copy()
        start = rows["set_size"].fillna(0.0).to_numpy(dtype=float)
        told = unit.where(unit.notna(), rows["raw_unit"])
        factor = (told.map(FACTORS) / rows["raw_unit"].map(FACTORS)).fillna(1.0).to_numpy(dtype=float)
        off = (value - start) * factor * np.where(turned, -1.0, 1.0)
        value[changed] = (start + off)[changed]
        rows["value"] = value
    return rows


def _lay_over(rows: pd.DataFrame, lines: Iterable[Decision]) -> pd.DataFrame:
    rows = rows.copy()
    for line in lines:
        at = _chosen(rows, line.body)
        field = str(line.body["field"])
        if not at.any() or field not in rows:
            continue
        rows[field] = rows[field].astype(object)
        _note(rows, at, rows.loc[at, field], line)
        rows.loc[at, field] = str(line.body["to"])
    return rows


def _chosen(rows: pd.DataFrame, body: dict[str, Any]) -> np.ndarray:
    """Rows of the file that a correction names: all, some lines, or some cells."""
    at = (rows["sha"] == str(body["sha256"])).to_numpy(copy=True)
    if body.get("lines") is not None:
        at &= rows["line"].isin([int(n) for n in body["lines"]]).to_numpy()
    if body.get("col") is not None and "col" in rows:
        at &= (rows["col"] == str(body["col"])).to_numpy()
    return at


def _note(rows: pd.DataFrame, at: np.ndarray, before: pd.Series, line: Decision) -> None:
    """Say in the note of each row what stood there first, and who put it right, why."""
    rows["note"] = rows["note"].astype(object)
    field, who, why = line.body["field"], line.who, line.body["reason"]
    old = rows.loc[at, "note"].fillna("").astype(str)
    first = before.fillna("empty").astype(str)
    said = f"{field} was " + first + f", corrected by {who}: {why}"
    rows.loc[at, "note"] = (old.where(old == "", old + "; ") + said).to_numpy()
