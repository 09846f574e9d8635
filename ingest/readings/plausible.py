"""Readings that cannot be what they say: judged against the plan once family and job are known.

Every rule looks at the plan and at all readings of one gauge and day, never at what came in first.
A rule may set a whole group aside; none may hide a single part that is out of tolerance.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ingest.answers.processes import Question
from ingest.plans.limits import in_force
from ingest.plans.model import Plan
from ingest.plans.positions import Slots
from ingest.readings.mirrored import sign_mirrors
from ingest.readings.orders import order_questions
from ingest.readings.stuck import stuck_questions

TINY = 0.1
"""A deviation under this share of the gauge's step cannot have been read off it."""
SLIPS = {
    25.4: "25.4", 1 / 25.4: "1/25.4", 1000.0: "1000", 1 / 1000: "1/1000", 25_400.0: "25,400",
    1 / 25_400: "1/25,400", 1000 / 25.4: "39.37", 25.4 / 1000: "1/39.37", 10.0: "10", 0.1: "1/10",
}  # fmt: skip
"""Factors between units that get mixed up; tried on a value out of the believable window."""


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
        feat, fam, day, value, raw, set_size, gauge, operator, serial, role, receipt, line, col.
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
    _other_families(plan, features, families, feat, fam, day, value, kinds, hints)
    tiny = _unit_slips(plan, rows, value)
    kinds[tiny] = "unit_scale"
    mirrored, asked = sign_mirrors(rows, value, target, lower, upper, kinds != "")
    kinds[mirrored] = "sign_mirror"
    names = {key: feature.name for key, feature in plan.features.items()}
    stuck = stuck_questions(rows, features, names)
    return kinds, hints, (*asked, *order_questions(plan, rows, features, columns), *stuck)


def _other_families(
    plan: Plan,
    features: tuple[str, ...],
    families: tuple[str, ...],
    feat: NDArray[np.int64],
    fam: NDArray[np.int64],
    day: NDArray[np.int64],
    value: NDArray[np.float64],
    kinds: NDArray[Any],
    hints: NDArray[Any],
) -> None:
    """Values beyond belief for their own family that lie within the limits of just one other: mark them so."""
    far = np.flatnonzero(kinds == "implausible")
    for f in np.unique(feat[far]):
        at = far[feat[far] == f]
        within = np.zeros((len(at), len(plan.families)), dtype=bool)
        for code in range(len(plan.families)):  # families come before masters in the codes
            limits = in_force(plan, features[f], families, np.full(len(at), code), day[at])
            both = np.isfinite(limits.lower) & np.isfinite(limits.upper)
            within[:, code] = both & (value[at] >= limits.lower) & (value[at] <= limits.upper)
            within[:, code] &= fam[at] != code
        only = within.sum(axis=1) == 1
        kinds[at[only]] = "other_family"
        named = [plan.families[families[c]].name or families[c] for c in within[only].argmax(axis=1)]
        hints[at[only]] = named


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
