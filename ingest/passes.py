"""Passes of parts through operations, from the job list, and which pass a reading belongs to."""

from __future__ import annotations

import numpy as np
import pandas as pd

LONG_AGO = pd.Timestamp("1900-01-01")
"""Stands for the start of a job whose start nobody wrote down: every reading comes after it."""


def passes_of(jobs: pd.DataFrame) -> pd.DataFrame:
    """One row per pass: serial, operation, machine, tool, family, pass, started, ended, note.

    A job list is often exported again once a job has ended. Rows with the same serial, operation and pass
    number are the same pass; the one that says most (ended, then started) counts. Where the list has no pass
    numbers, jobs are numbered by their start within serial and operation. The result depends on the content
    of the rows only, never on the order in which files came in.
    """
    rows = jobs.dropna(subset=["operation"]).copy()
    rows["begun"] = rows["started"].fillna(rows["ended"]).fillna(LONG_AGO)
    rows = rows.sort_values(
        ["serial", "operation", "begun", "ended", "machine", "sha", "line"],
        na_position="first",
        kind="stable",
    )
    unnumbered = rows["pass"].isna()
    if unnumbered.any():
        loose = (
            rows[unnumbered].drop_duplicates(["serial", "operation", "begun", "machine"], keep="last").copy()
        )
        loose["pass"] = loose.groupby(["serial", "operation"], sort=False).cumcount() + 1
        rows = pd.concat([rows[~unnumbered], loose])
    rows["pass"] = rows["pass"].astype("int64")
    rows["_told"] = rows["ended"].notna()
    rows = rows.sort_values(
        ["serial", "operation", "pass", "_told", "ended", "begun", "machine", "sha", "line"],
        na_position="first",
        kind="stable",
    )
    rows = rows.drop_duplicates(["serial", "operation", "pass"], keep="last")
    columns = [
        "serial",
        "operation",
        "machine",
        "tool",
        "family",
        "pass",
        "started",
        "ended",
        "begun",
        "note",
    ]
    return rows[columns].reset_index(drop=True)


def latest_pass(readings: pd.DataFrame, passes: pd.DataFrame, on_machine: bool) -> pd.DataFrame:
    """Latest pass begun at or before each reading.

    Parameters
    ----------
    readings : DataFrame
        Columns serial, operation, when and, with `on_machine`, machine; index is kept.
    passes : DataFrame
        From `passes_of`.
    on_machine : bool
        Look only among the passes on the reading's own machine.

    Returns
    -------
    DataFrame
        Index of `readings`; columns pass (0 = none begun yet) and machine of the pass.
    """
    by = ["serial", "operation", "machine"] if on_machine else ["serial", "operation"]
    empty = pd.DataFrame({"pass": 0, "pass_machine": None}, index=readings.index)
    if not len(readings) or not len(passes):
        return empty
    known = passes.dropna(subset=by)
    right = known[[*by, "begun", "pass"]].assign(pass_machine=known["machine"])
    right = right.sort_values(["begun", "pass"], kind="stable")
    left = readings[[*by, "when"]].assign(_at=np.arange(len(readings))).sort_values("when", kind="stable")
    joined = pd.merge_asof(left, right, left_on="when", right_on="begun", by=by, direction="backward")
    joined = joined.sort_values("_at", kind="stable")
    empty["pass"] = joined["pass"].fillna(0).astype("int64").to_numpy()
    empty["pass_machine"] = (
        joined["pass_machine"].astype(object).where(joined["pass"].notna(), None).to_numpy()
    )
    return empty
