"""Passes of parts through operations, from the job list, and which pass a reading belongs to."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

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
    asked, listed = joint_codes(readings, known, by)
    right = pd.DataFrame(
        {
            "key": listed,
            "when": known["begun"].astype("datetime64[us]").to_numpy(),
            "pass": known["pass"].to_numpy(),
            "row": np.arange(len(known)),
        }
    ).sort_values(["when", "pass"], kind="stable")
    left = pd.DataFrame({"key": asked, "when": readings["when"].astype("datetime64[us]").to_numpy()})
    left = left.assign(at=np.arange(len(left))).sort_values("when", kind="stable")
    joined = pd.merge_asof(left, right, on="when", by="key", direction="backward")
    joined = joined.sort_values("at", kind="stable")
    row = joined["row"].fillna(-1).astype("int64").to_numpy()
    machines = np.array(
        [*known["machine"].astype(object).where(known["machine"].notna(), None), None], dtype=object
    )
    empty["pass"] = joined["pass"].fillna(0).astype("int64").to_numpy()
    empty["pass_machine"] = machines[row]
    return empty


def joint_codes(
    left: pd.DataFrame, right: pd.DataFrame, by: list[str]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """One number per distinct combination of columns, the same in both frames."""
    number = np.zeros(len(left) + len(right), dtype=np.int64)
    for column in by:
        values = np.concatenate([left[column].to_numpy(dtype=object), right[column].to_numpy(dtype=object)])
        code, distinct = pd.factorize(values, use_na_sentinel=False)
        number = pd.factorize(number * (len(distinct) + 1) + code)[0]
    return number[: len(left)], number[len(left) :]
