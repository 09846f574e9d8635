"""Readings of a gauge whose sign was turned round, told from parts that really are out of tolerance."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ingest.answers.processes import Question

MIRRORED_SLOPE = -0.3
"""Slope on the usual position pattern below which readings count as mirrored."""
FAINTEST = 0.35
"""Largest standard error of that slope that still tells a mirrored pattern from a usual one."""
PARTS_WITHOUT_PATTERN = 3


def sign_mirrors(
    rows: pd.DataFrame,
    value: NDArray[np.float64],
    target: NDArray[np.float64],
    lower: NDArray[np.float64],
    upper: NDArray[np.float64],
    doubted: NDArray[np.bool_],
) -> tuple[NDArray[np.bool_], tuple[Question, ...]]:
    """One operator's day whose part means all lie out of limits, but within them once mirrored at the master.

    Parts that really are out of tolerance look the same by their means, but not by their position pattern:
    where top or thrust usually read large they still do, and with the sign turned round they read small. So
    the usual pattern of the family decides; readings that keep it count as they are, and a person is asked.
    Where there is no pattern to go by, three parts or more are set aside and fewer are not.
    """
    found = np.zeros(len(rows), dtype=bool)
    set_size = rows["set_size"].to_numpy(dtype=float)
    able = np.isfinite(set_size) & np.isfinite(target) & (np.isfinite(lower) | np.isfinite(upper)) & ~doubted
    able &= (rows["role"] != "checks").to_numpy()
    if not able.any():
        return found, ()
    frame = pd.DataFrame(
        {
            "group": rows.groupby(["gauge", "operator", "day", "feat"], sort=False, dropna=False).ngroup(),
            "serial": rows["serial"],
            "value": value,
            "mirror": 2 * set_size - value,
            "lower": np.where(np.isnan(lower), -np.inf, lower),
            "upper": np.where(np.isnan(upper), np.inf, upper),
        },
        index=rows.index,
    )[able]
    parts = frame.groupby(["group", "serial"], sort=False).mean()
    out = (parts["value"] < parts["lower"]) | (parts["value"] > parts["upper"])
    back = (parts["mirror"] >= parts["lower"]) & (parts["mirror"] <= parts["upper"])
    verdict = (out & back).groupby(level="group").agg(["all", "size"])
    questions = []
    for group, size in verdict.loc[verdict["all"], "size"].items():
        at = frame.index[frame["group"] == group]
        slope = _pattern_slope(rows, value - target, at, frame.index)
        if slope < MIRRORED_SLOPE if slope is not None else size >= PARTS_WITHOUT_PATTERN:
            found[rows.index.get_indexer(at)] = True
            continue
        first = rows.loc[at[0]]
        questions.append(
            Question(
                "sign_or_size",
                f"All readings of {first['serial']} by {first['operator'] or 'one operator'} are out of limits, "
                "and within them with the sign turned round: is the part out, or was the gauge set the other "
                "way? The readings count as they are written.",
                receipt=int(first["receipt"]),
                line=int(first["line"]),
            )
        )
    return found, tuple(questions)


def _pattern_slope(
    rows: pd.DataFrame, deviation: NDArray[np.float64], at: pd.Index, able: pd.Index
) -> float | None:
    """How far some readings follow the usual position pattern: 1 as usual, -1 mirrored.

    Least-squares slope of the readings, less their part's mean, on the mean pattern of all other readings of
    feature and family. None with fewer than 10 other parts, or when the pattern is too faint to tell (a
    standard error of the slope above 0.35). Common practice, no source.
    """
    first = rows.loc[at[0]]
    alike = rows.loc[able, ["part", "slot", "feat", "fam"]].assign(y=deviation[rows.index.get_indexer(able)])
    alike = alike[(alike["feat"] == first["feat"]) & (alike["fam"] == first["fam"])]
    alike["y"] -= alike.groupby("part")["y"].transform("mean")
    others, here = alike.drop(index=at, errors="ignore"), alike.loc[alike.index.intersection(at)]
    if others["part"].nunique() < 10 or not len(here):
        return None
    pattern = others.groupby("slot")["y"].mean()
    noise = float((others["y"] - others["slot"].map(pattern)).std())
    x = here["slot"].map(pattern).fillna(0.0).to_numpy()
    strength = float(np.sum(x**2))
    if strength == 0 or noise > FAINTEST * np.sqrt(strength):
        return None
    return float(np.sum(x * here["y"].to_numpy()) / strength)
