"""Readings that cannot be what they say: judged against the plan once family and job are known.

Every rule looks at the plan and at all readings of one gauge and day, never at what came in first.
A rule may set a whole group aside; none may hide a single part that is out of tolerance.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ingest.board import Question
from ingest.limits import in_force
from ingest.plan import Plan
from ingest.positions import Slots

HOUR_MIN = 60.0
OTHER_DAYS = 5
"""Days of the gauge that must be there to tell a wrong clock from a habit of measuring before the job."""
HABIT = 0.2
TINY = 0.1
"""A deviation under this share of the gauge's step cannot have been read off it."""
ORDER_PARTS = 3
"""Parts of a file that must stand in another order before anybody is asked."""
SLIPS = {25.4: "25.4", 1 / 25.4: "1/25.4", 1000.0: "1000", 1 / 1000: "1/1000", 10.0: "10", 0.1: "1/10"}
"""Factors between units that get mixed up; tried on a value out of the believable window."""


def clock_offsets(
    rows: pd.DataFrame, passes: pd.DataFrame
) -> tuple[NDArray[np.float64], tuple[Question, ...]]:
    """Minutes to add to the time of each reading whose gauge clock ran an hour behind.

    A gauge's day is taken to be an hour behind when every reading of at least two parts lies before the start
    of its job, an hour more puts all of them behind it, and the gauge does not usually measure before the job
    (at most one day in five, with five other days to compare). Clocks never set to summer time do this.

    Parameters
    ----------
    rows : DataFrame
        serial, op, time, gauge, day, role, before.
    passes : DataFrame
        From `ingest.passes.passes_of`.

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
    first = passes.groupby(["serial", "operation"], sort=False)["begun"].min().rename("begun")
    ask = ask.join(first, on=["serial", "op"]).dropna(subset=["begun"])
    ask["lag"] = (ask["time"] - ask["begun"]).dt.total_seconds() / 60
    days = ask.groupby(["gauge", "day"], sort=False).agg(
        latest=("lag", "max"),
        earliest=("lag", "min"),
        parts=("serial", "nunique"),
        receipt=("receipt", "min"),
    )
    days["behind"] = days["latest"] < 0
    known = days.groupby(level="gauge")["behind"].agg(["sum", "size"])
    usual = known["sum"] / known["size"] <= HABIT
    steady = usual & (known["size"] > OTHER_DAYS)
    wrong = days[
        days["behind"]
        & (days["parts"] >= 2)
        & (days["earliest"] >= -HOUR_MIN)
        & steady.reindex(days.index.get_level_values("gauge")).to_numpy()
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


def value_doubts(
    plan: Plan,
    rows: pd.DataFrame,
    features: tuple[str, ...],
    families: tuple[str, ...],
    columns: dict[str, Slots],
) -> tuple[NDArray[Any], NDArray[Any], tuple[Question, ...]]:
    """Reason to doubt each value ("" for none), what it probably is, and questions for a person.

    Parameters
    ----------
    plan : Plan
    rows : DataFrame
        feat, fam, day, value, set_size, gauge, operator, serial, role.
    features, families : tuple of str
        Keys that the codes stand for.
    columns : dict of str to Slots

    Returns
    -------
    kinds, hints : (n,) object arrays
    questions : tuple of Question
    """
    kinds = np.full(len(rows), "", dtype=object)
    hints = np.full(len(rows), None, dtype=object)
    value = rows["value"].to_numpy(dtype=float)
    feat, fam, day = (rows[c].to_numpy() for c in ("feat", "fam", "day"))
    target, lower, upper = (np.full(len(rows), np.nan) for _ in range(3))
    window = np.full(len(rows), np.inf)
    for f, key in enumerate(features):
        at = np.flatnonzero(feat == f)
        if not len(at):
            continue
        limits = in_force(plan, key, families, fam[at], day[at])
        target[at], lower[at], upper[at] = limits.target, limits.lower, limits.upper
        reach = plan.features[key].plausible
        if reach is not None:
            window[at] = float(reach)
    far = np.abs(value - target) > window
    kinds[far] = "implausible"
    for i in np.flatnonzero(far):
        fits = [name for factor, name in SLIPS.items() if abs(value[i] * factor - target[i]) <= window[i]]
        hints[i] = fits[0] if fits else None
    tiny = _unit_slips(plan, rows, value)
    kinds[tiny] = "unit_scale"
    mirrored = _sign_mirrors(rows, value, target, lower, upper, kinds != "")
    kinds[mirrored] = "sign_mirror"
    return kinds, hints, _order_questions(rows, features, columns)


def _unit_slips(plan: Plan, rows: pd.DataFrame, value: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Deviations far below the gauge's own step: inches written in a column of thous, and the like.

    Zeros of the same gauge, operator and day go with them when most of the other deviations are impossible.
    """
    steps = {key: float(g.resolution) for key, g in plan.gauges.items() if g.resolution is not None}
    step = rows["gauge"].map(steps).to_numpy(dtype=float)
    off = np.abs(value - rows["set_size"].to_numpy(dtype=float))
    with np.errstate(invalid="ignore"):
        small = off < TINY * step
        impossible = small & (off > 1e-6 * step)
    if not impossible.any():
        return impossible
    groups = rows.groupby(["gauge", "operator", "day"], sort=False, dropna=False).ngroup().to_numpy()
    moved = np.bincount(groups, weights=~small & np.isfinite(off))
    slipped = np.bincount(groups, weights=impossible)
    bad = (slipped >= 3) & (slipped >= moved)
    return impossible | (small & bad[groups])


def _sign_mirrors(
    rows: pd.DataFrame,
    value: NDArray[np.float64],
    target: NDArray[np.float64],
    lower: NDArray[np.float64],
    upper: NDArray[np.float64],
    doubted: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """One operator's day whose part means all lie out of limits, but within them once mirrored at the master.

    Needs two parts or more: a single part out of tolerance is never hidden by this rule.
    """
    found = np.zeros(len(rows), dtype=bool)
    set_size = rows["set_size"].to_numpy(dtype=float)
    able = np.isfinite(set_size) & np.isfinite(target) & (np.isfinite(lower) | np.isfinite(upper)) & ~doubted
    able &= (rows["role"] != "checks").to_numpy()
    if not able.any():
        return found
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
    bad = verdict.index[verdict["all"] & (verdict["size"] >= 2)]
    found[np.flatnonzero(able)[frame["group"].isin(bad).to_numpy()]] = True
    return found


def _order_questions(
    rows: pd.DataFrame, features: tuple[str, ...], columns: dict[str, Slots]
) -> tuple[Question, ...]:
    """Files in which several parts were measured in another order of places than the gauge always keeps.

    The readings count: places may really have been measured in another order. But names may also have been
    exchanged, and only a person can tell; so it is a question, never an alarm.
    """
    ask = rows.loc[
        (rows["slot"] >= 0) & (rows["role"] == "readings"),
        ["receipt", "serial", "feat", "gauge", "time", "seq", "line", "slot", "col"],
    ].sort_values(["receipt", "feat", "serial", "time", "seq", "line"], na_position="first", kind="stable")
    if not len(ask):
        return ()
    key = ask[["receipt", "feat", "serial"]]
    same = (key == key.shift()).all(axis=1)
    turned = ask[same & (ask["slot"] < ask["slot"].shift())].assign(before=ask["slot"].shift())
    if not len(turned):
        return ()
    everyone = ask.groupby(["receipt", "feat", "gauge"], sort=False, dropna=False)["serial"].nunique()
    odd = turned.groupby(["receipt", "feat", "gauge"], sort=False, dropna=False)["serial"].nunique()
    of_gauge = ["feat", "gauge"]
    habit = (
        odd.groupby(level=of_gauge, dropna=False).sum() / everyone.groupby(level=of_gauge, dropna=False).sum()
    )
    found = []
    for (receipt, feat, gauge), parts in odd.items():  # type: ignore[misc]
        if parts < ORDER_PARTS or habit[(feat, gauge)] > HABIT:
            continue
        here = turned[(turned["receipt"] == receipt) & (turned["feat"] == feat)]
        pairs = here.groupby(["slot", "before"]).size()
        low, high = (columns[features[int(feat)]].positions[int(i)] for i in pairs.idxmax())  # type: ignore[arg-type]
        found.append(
            Question(
                "places_exchanged",
                f"On {parts} parts {high} stands before {low}, against the order this gauge always keeps: were "
                "the two places exchanged? The readings are used as they are written.",
                receipt=int(receipt),
                line=int(here["line"].min()),
            )
        )
    return tuple(found)
