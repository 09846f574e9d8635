"""Gauge clocks that were never set to summer time."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ingest.answers.processes import Question

HOUR_MIN = 60.0
OTHER_DAYS = 5
"""Days of the gauge that must be there to tell a wrong clock from a habit of measuring before the job."""
HABIT = 0.2
"""Share of days up to which something is an exception and not this gauge's habit."""
EDGE = 0.05
SLACK_MIN = 5.0
"""Readings usually lie between these quantiles of the days' first and last, give or take some minutes."""


def clock_offsets(
    rows: pd.DataFrame, passes: pd.DataFrame
) -> tuple[NDArray[np.float64], tuple[Question, ...]]:
    """Minutes to add to the time of each reading whose gauge clock ran an hour behind.

    A gauge's day is taken to be an hour behind when every reading of every part lies before the start of its
    job, an hour more puts all of them where this gauge's readings usually lie before or after the end of a
    job, and the gauge hardly ever measures before the job (at most one day in five, with five other days to
    compare). Clocks never set to summer time do this.

    Parameters
    ----------
    rows : DataFrame
        serial, op, time, gauge, day, role, before.
    passes : DataFrame
        From `ingest.readings.passes.passes_of`.

    Returns
    -------
    offsets : (n,) array
        Minutes, 0 for most.
    questions : tuple of Question
        One per gauge and day put right.
    """
    offset = np.zeros(len(rows))
    ask = rows.loc[
        (rows["role"] == "readings") & rows["gauge"].notna() & ~rows["before"],
        ["serial", "op", "time", "gauge", "day", "receipt"],
    ]
    if not len(ask) or not len(passes):
        return offset, ()
    first = passes.sort_values("begun", kind="stable").drop_duplicates(["serial", "operation"])
    first = first.set_index(["serial", "operation"])[["begun", "ended"]]
    ask = ask.join(first, on=["serial", "op"]).dropna(subset=["begun", "ended"])
    ask["lag"] = (ask["time"] - ask["begun"]).dt.total_seconds() / 60
    ask["late"] = (ask["time"] - ask["ended"]).dt.total_seconds() / 60
    days = ask.groupby(["gauge", "day"], sort=False).agg(
        latest=("lag", "max"), low=("late", "min"), high=("late", "max"), receipt=("receipt", "min")
    )
    days["behind"] = days["latest"] < 0
    if not days["behind"].any() or days["behind"].all():
        return offset, ()
    sound = (
        days[~days["behind"]]
        .groupby(level="gauge")
        .agg(
            days=("low", "size"),
            low_usual=("low", lambda v: v.quantile(EDGE)),
            high_usual=("high", lambda v: v.quantile(1 - EDGE)),
        )
    )
    known = days[days["behind"]].join(sound, on="gauge").dropna(subset=["days"])
    behind = known.groupby(level="gauge")["behind"].transform("size")
    wrong = known[
        (known["days"] >= OTHER_DAYS)
        & (behind <= HABIT * (behind + known["days"]))
        & (known["low"] + HOUR_MIN >= known["low_usual"] - SLACK_MIN)
        & (known["high"] + HOUR_MIN <= known["high_usual"] + SLACK_MIN)
    ]
    if not len(wrong):
        return offset, ()
    at = pd.MultiIndex.from_frame(rows[["gauge", "day"]]).isin(wrong.index)
    offset[at & (rows["role"] == "readings").to_numpy()] = HOUR_MIN
    questions = tuple(
        Question(
            "clock_behind",
            f"The clock of {gauge} ran an hour behind on {np.datetime64(int(day), 'D')}: all readings lie "
            "before the start of their jobs. They are put in order an hour later; the times as written are kept.",
            receipt=int(receipt),
        )
        for (gauge, day), receipt in wrong["receipt"].items()  # type: ignore[misc]
    )
    return offset, questions
